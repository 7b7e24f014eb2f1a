"""What may come: the blend of all feeds and about a hundred error paths laid over it.

A path is that of one past moment for every quantity and every hour, so that wind, gust and
temperature stay together as they were; where past moments are few, prior paths stand beside them.
Axes as in ``history``, and N scenarios.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from watcher.forecasts import error_model, rain
from watcher.forecasts.history import AHEAD, History
from watcher.forecasts.spaces import DIRECTION, SPACES, WIND, Space, angle_deg, error, into, out_of
from watcher.weather.series import Floats

_MOST_PATHS = 120
_PRIOR_PATHS = 20
_FEWEST_HOURS = 12
"""A past moment with fewer hours known ahead gives no path."""


@dataclass(frozen=True)
class Scenarios:
    """Weather that may come, by the names of ``WeatherSeries``. [N, K] each; NaN where nothing is
    foretold. ``past_forecasts`` is how many past moments here stand behind each hour: fewer so far
    ahead as few of them were foretold or are measured yet. [K]"""

    values: Mapping[str, Floats]
    past_forecasts: NDArray[np.int64]


@dataclass(frozen=True)
class Outlook:
    """One quantity: what is expected [K], its spread [K], the standardized paths of past moments
    [J, K], and how an error lasts [K]. In the quantity's space."""

    expected: Floats
    spread: Floats
    paths: Floats
    left: Floats


def outlook(space: Space, history: History) -> Outlook:
    """Blend the feeds' forecasts of one quantity and learn what they are off by."""
    age = history.age_days
    feeds = next(iter(history.foretold.values())).shape[0]
    found = [_of_feed(space, history, feed) for feed in range(feeds)]
    spreads = np.stack([error_model.fit_spread(space, residuals, age) for _, residuals in found])
    present = np.stack([corrected for corrected, _ in found])  # [I, K]
    speaks = np.isfinite(present)
    by_skill = np.where(speaks, 1.0 / spreads**2, 0.0)
    residuals = _weighted(np.stack([r for _, r in found]), by_skill[:, None, :])
    spread = error_model.fit_spread(space, residuals, age)
    paths = residuals / spread
    return Outlook(
        _blended(space, present, by_skill), spread, paths, error_model.fit_kept(paths, age)
    )


def _of_feed(space: Space, history: History, feed: int) -> tuple[Floats, Floats]:
    """Return a feed's present forecast less its offset [K], and what that leaves of errors."""

    def foretold(name: str) -> Floats:
        return np.asarray(history.foretold[name][feed])

    off = error(space, history.measured.__getitem__, foretold)
    value = into(space, foretold)
    at = np.zeros_like(value) if space is DIRECTION else value
    offset = error_model.fit_offset(space, at, off, history.sun_hour, history.age_days)
    usual = offset.at(at, history.sun_hour)
    scale = angle_deg(foretold("wind_m_s")) if space is DIRECTION else np.ones_like(value)
    return (value + usual * scale)[-1], off - usual


def _weighted(values: Floats, weights: Floats) -> Floats:
    """Return the weighted mean over the first axis of what is known. NaN where nothing is."""
    known = np.isfinite(values)
    whole = np.where(known, weights, 0.0)
    total = whole.sum(axis=0)
    summed = (whole * np.where(known, values, 0.0)).sum(axis=0)
    return np.where(total > 0, summed / np.where(total > 0, total, 1.0), np.nan)


def _blended(space: Space, present: Floats, weights: Floats) -> Floats:
    if space is not DIRECTION:
        return _weighted(present, weights)
    angle = np.radians(present)
    east, north = _weighted(np.sin(angle), weights), _weighted(np.cos(angle), weights)
    return np.degrees(np.arctan2(east, north)) % 360.0


def scenarios(history: History, count: int, rng: np.random.Generator) -> Scenarios:
    """Return ``count`` scenarios of the present, the last moment of the history."""
    views = {space: outlook(space, history) for space in SPACES}
    wet = rain.outlook(history, rng)
    moments = _moments(views[WIND], history)
    real = _drawn(moments, count)
    values: dict[str, Floats] = {}
    wind = np.full((count, AHEAD.size), np.nan)
    for space, view in views.items():
        off = _paths(view.paths, view.left, real, count, rng)
        scale = view.spread
        if space is DIRECTION:
            scale = view.spread * angle_deg(wind)
        values[space.name] = out_of(space, view.expected + scale * off, wind)
        wind = values["wind_m_s"]
    values["dew_point_c"] = np.minimum(values["dew_point_c"], values["temp_c"])
    values["rain_mm_h"] = wet.amounts(_paths(wet.paths, wet.left, real, count, rng))
    behind = np.isfinite(views[WIND].paths[moments]).sum(axis=0, dtype=np.int64)
    return Scenarios(values, behind)


def _moments(wind: Outlook, history: History) -> np.ndarray:
    """Return the newest past moments whose wind is known for long enough to be a path."""
    known = np.isfinite(wind.paths[:-1][:, AHEAD]).sum(axis=1)
    return np.flatnonzero(known >= _FEWEST_HOURS)[-_MOST_PATHS:]


def _drawn(moments: np.ndarray, count: int) -> np.ndarray:
    """Return which past moment each of the first scenarios is of; the others are prior ones."""
    own = round(count * moments.size / (moments.size + _PRIOR_PATHS))
    if own <= moments.size:  # evenly over all of them
        return moments[np.linspace(0, moments.size - 1, own).round().astype(np.intp)]
    return np.resize(moments, own)


def _paths(
    paths: Floats, left: Floats, real: np.ndarray, count: int, rng: np.random.Generator
) -> Floats:
    """Return the error paths of the scenarios, moved to what is measured now. [N, K]"""
    prior = error_model.prior_paths(count, rng)
    own = np.full_like(prior, np.nan)
    own[: real.size] = paths[real]
    return error_model.shifted(error_model.completed(own, prior), paths[-1], left)
