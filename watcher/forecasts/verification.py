"""What forecasts were wrong by: bias and root mean square error, and what the station takes off.

An error is what was foretold less what was measured, so a bias over 0 is a forecast too high (the
sign of the WMO's guidelines on verification; value from memory). Forecasts of one day hang
together: of fewer than ``FEWEST_DAYS`` days of a group nothing is shown.
Axes as in ``history``: I feeds, J moments, K hours.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from watcher.forecasts.history import DAY_S, PATH_H, History
from watcher.forecasts.scores import FEWEST_DAYS, Bar, Bools, by_days
from watcher.forecasts.station_now import begun_at_station
from watcher.weather.series import Floats, Site, WeatherSeries
from watcher.weather.wind import CALM_M_S

QUANTITIES = ("wind_m_s", "gust_m_s", "wind_from_deg", "temp_c", "dew_point_c")
LEADS_H = ((1, 6), (7, 24), (25, 48))
"""Bands of the hours ahead, both ends counted."""
BEGUN_H = (1, 3, 6, 12)
"""Hours ahead at which it is shown what beginning at the station does."""
_OF_THE_DAY = (PATH_H >= 1) & (PATH_H <= 24)
HOURS_TOGETHER = 3
POINTS = 8
_DRAWS = 200

Groups = NDArray[np.int64]
Values = Mapping[str, Floats]


@dataclass(frozen=True)
class Off:
    """What a forecast was off by, in the quantity's own unit; NaN where days are too few."""

    bias: float
    """The mean error: over 0 it foretold too much."""
    rms: float
    days: int

    @property
    def known(self) -> bool:
        """Whether there were days enough."""
        return self.days >= FEWEST_DAYS


@dataclass(frozen=True)
class BegunAtStation:
    """The error of the forecast as given, and of the one begun at the station."""

    given: Off
    begun: Off
    saved: Bar
    """The share of the root mean square error taken off, with its bar over draws of days; under 0
    it is added to."""

    @property
    def known(self) -> bool:
        """Whether there were days enough."""
        return self.given.known


@dataclass(frozen=True)
class Verified:
    """One feed's errors by quantity: by lead (``LEADS_H``), by local hours (8 of 3 h), by where the
    wind was foretold from (8 points from north), and as begun at the station (``BEGUN_H``)."""

    by_lead: Mapping[str, Sequence[Off]]
    by_hour: Mapping[str, Sequence[Off]]
    by_point: Mapping[str, Sequence[Off]]
    begun: Mapping[str, Sequence[BegunAtStation]]


def errors(name: str, foretold: Values, measured: Values) -> Floats:
    """Return what was foretold less what was measured, of equal shapes; NaN where either lacks.

    Directions are the shorter way round, in degrees, clockwise over 0; a calm has none.
    """
    off = foretold[name] - measured[name]
    if name != "wind_from_deg":
        return np.asarray(off)
    calm = (foretold["wind_m_s"] < CALM_M_S) | (measured["wind_m_s"] < CALM_M_S)
    return np.where(calm, np.nan, (off + 180.0) % 360.0 - 180.0)


def grouped(off: Floats, groups: Groups, days: Groups, count: int) -> tuple[Off, ...]:
    """Return bias and root mean square of errors by group, 0 … ``count`` - 1.

    ``groups`` and ``days`` have the shape of the errors; a group below 0 is left out.
    """
    return tuple(off_of(off[groups == one], days[groups == one]) for one in range(count))


def off_of(off: Floats, days: Groups) -> Off:
    """Return bias and root mean square of errors that are known. Arrays of one shape."""
    known = np.isfinite(off)
    on = int(np.unique(days[known]).size)
    if on < FEWEST_DAYS:
        return Off(float("nan"), float("nan"), on)
    return Off(float(off[known].mean()), float(np.sqrt(np.mean(off[known] ** 2))), on)


def verified(history: History, hour: Groups) -> list[Verified]:
    """Return every feed's errors. ``hour`` [J, K] is the hour of the farm's day, 0 to 23.

    By lead, feed stands against feed on the same hours: those of which every feed that ever gave
    the quantity on days enough gave it.
    """
    same = {name: alike(name, history) for name in QUANTITIES}
    return [_of_feed(history, feed, hour, same) for feed in range(feeds_of(history))]


def feeds_of(history: History) -> int:
    """Return how many feeds there are."""
    return len(next(iter(history.foretold.values())))


def foretold_by(history: History, feed: int) -> dict[str, Floats]:
    """Return what one feed foretold. [J, K] each"""
    return {name: values[feed] for name, values in history.foretold.items()}


def days_of(history: History) -> Groups:
    """Return the day of the moment of every hour: forecasts of one day hang together. [J, K]"""
    return np.broadcast_to(history.at[:, None] // DAY_S, history.times.shape)


def lead_bands(history: History) -> Groups:
    """Return the place in ``LEADS_H`` of every hour; -1 outside all. [J, K]"""
    band = np.full(PATH_H.shape, -1)
    for number, (first, last) in enumerate(LEADS_H):
        band[(first <= PATH_H) & (last >= PATH_H)] = number
    return np.broadcast_to(band, history.times.shape)


def alike(name: str, history: History) -> Bools:
    """Return the hours of which all feeds that give a quantity gave it. [J, K]"""
    known = [
        np.isfinite(errors(name, foretold_by(history, i), history.measured))
        for i in range(feeds_of(history))
    ]
    days = days_of(history)
    telling = [one for one in known if np.unique(days[one]).size >= FEWEST_DAYS]
    return np.logical_and.reduce(telling) if telling else np.zeros(days.shape, dtype=np.bool_)


def _of_feed(history: History, feed: int, hour: Groups, same: Mapping[str, Bools]) -> Verified:
    foretold, days = foretold_by(history, feed), days_of(history)
    off = {name: errors(name, foretold, history.measured) for name in QUANTITIES}
    bands = lead_bands(history)
    point = _points(foretold)
    return Verified(
        {
            n: grouped(np.where(same[n], o, np.nan), bands, days, len(LEADS_H))
            for n, o in off.items()
        },
        {
            n: grouped(
                o, np.where(_OF_THE_DAY, hour // HOURS_TOGETHER, -1), days, 24 // HOURS_TOGETHER
            )
            for n, o in off.items()
        },
        {n: grouped(o, np.where(_OF_THE_DAY, point, -1), days, POINTS) for n, o in off.items()},
        _begun(foretold, off, history, days),
    )


def _points(foretold: Values) -> Groups:
    """Return the point of the compass the wind is foretold from, 0 north; -1 in calm or unknown."""
    blowing = np.isfinite(foretold["wind_from_deg"]) & (foretold["wind_m_s"] >= CALM_M_S)
    turned = np.where(blowing, foretold["wind_from_deg"], 0.0)
    return np.where(blowing, np.round(turned / (360.0 / POINTS)).astype(np.int64) % POINTS, -1)


def _begun(
    foretold: Values, off: Values, history: History, days: Groups
) -> Mapping[str, Sequence[BegunAtStation]]:
    """Return errors as given and as begun at the station, of the hours of which both are known."""
    changed = begun(foretold, history)
    lead = np.broadcast_to(PATH_H, days.shape)
    found = {}
    for name in QUANTITIES:
        moved = errors(name, {**foretold, **changed}, history.measured)
        both = np.isfinite(changed[name]) & np.isfinite(off[name]) & np.isfinite(moved)
        of = [both & (lead == hours) for hours in BEGUN_H]
        found[name] = tuple(_compared(off[name][at], moved[at], days[at]) for at in of)
    return found


def _compared(given: Floats, moved: Floats, days: Groups) -> BegunAtStation:
    as_given, as_begun = off_of(given, days), off_of(moved, days)
    if as_given.days < FEWEST_DAYS:
        return BegunAtStation(as_given, as_begun, Bar(float("nan"), float("nan"), float("nan")))

    def saved(at: NDArray[np.intp]) -> float:
        before = float(np.sum(given[at] ** 2))
        return 1.0 - float(np.sqrt(np.sum(moved[at] ** 2) / before)) if before > 0 else np.nan

    return BegunAtStation(as_given, as_begun, by_days(saved, days, draws=_DRAWS))


def begun(foretold: Values, history: History) -> dict[str, Floats]:
    """Return one feed's forecasts [J, K] as the watch would have begun them at the station.

    What was measured is the mean of the last whole hour; the watch goes by the minutes of it, so
    this is a little careful. NaN up to hour 0 and where nothing was measured then.
    """
    here = Site(0.0, history.longitude)  # the place tells nothing here: all is of one station
    now = int(np.flatnonzero(PATH_H == 0)[0])
    ahead = slice(now + 1, None)
    found = {name: np.full(history.times.shape, np.nan) for name in QUANTITIES}
    for row, times in enumerate(history.times):
        given = WeatherSeries.of(times, here, "", {n: foretold[n][row] for n in QUANTITIES})
        mast = WeatherSeries.of(
            times[now : now + 1],
            here,
            "",
            {n: history.measured[n][row, now : now + 1] for n in QUANTITIES},
        )
        speaks = {n: mast for n in QUANTITIES if np.isfinite(getattr(mast, n)[0])}
        if "dew_point_c" in speaks:
            speaks["humidity_pct"] = mast
        changed = begun_at_station(given.at(ahead), given, speaks)
        for name in speaks.keys() & changed.keys() & found.keys():
            found[name][row, ahead] = changed[name]
    return found


def least_off(name: str, history: History) -> tuple[int, Bar] | None:
    """Return the feed that was least off in the first day, and how much less than the next best.

    The difference of root mean squares on the same hours with its bar over draws of days. ``None``
    where fewer than two feeds are known on days enough.
    """
    same = alike(name, history) & _OF_THE_DAY
    days = days_of(history)[same]
    if np.unique(days).size < FEWEST_DAYS:
        return None
    squares = {}
    for feed in range(feeds_of(history)):
        off = errors(name, foretold_by(history, feed), history.measured)[same]
        if np.isfinite(off).all():
            squares[feed] = off**2
    if len(squares) < 2:
        return None
    best, second = sorted(squares, key=lambda feed: float(squares[feed].mean()))[:2]

    def less(at: NDArray[np.intp]) -> float:
        return float(np.sqrt(squares[second][at].mean()) - np.sqrt(squares[best][at].mean()))

    return best, by_days(less, days, draws=_DRAWS)
