"""What a quantity's errors are like here: offset, spread, how they hang together, and their paths.

All of it is a prior that the station's own errors take over from: with none at all it already says
something, and every pair of forecast and measurement counts for a sixth, as errors hang together.
Axes as in ``history``: J moments, K hours.
"""

from dataclasses import dataclass

import numpy as np

from watcher.forecasts.history import KNOWN, PATH_H
from watcher.forecasts.spaces import Space
from watcher.weather.series import Floats

_HALF_LIFE_DAYS = 30.0
_SHARE_OF_A_PAIR = 1.0 / 6.0
_PRIOR_PAIRS = 20.0
_BANDS_H = (6, 24, 48)
"""Leads up to which a spread of its own is learned; the last band is of all beyond."""
_KEPT_AT_ONCE, _KEPT_AN_HOUR = 0.75, 0.9
_MOST_OFF = 3.0
"""An error now further off than this counts as this much. [standard deviations]"""
_NUGGET = 0.02

LEAD_H = np.maximum(PATH_H, 0)
_BAND = np.searchsorted(_BANDS_H, LEAD_H)


def weight(age_days: Floats) -> Floats:
    """Return what a pair counts for by its age."""
    return _SHARE_OF_A_PAIR * 0.5 ** (age_days / _HALF_LIFE_DAYS)


@dataclass(frozen=True)
class Offset:
    """What a feed is usually off by: constant, by its own value and by the hour of the day."""

    factors: Floats  # [4]
    middle: float
    """The mean of what it foretold, from which its own value counts."""

    def at(self, foretold: Floats, sun_hour: Floats) -> Floats:
        """Return the offset expected of forecasts; NaN for missing ones."""
        return _terms(foretold - self.middle, sun_hour) @ self.factors


def fit_offset(
    space: Space, foretold: Floats, errors: Floats, sun_hour: Floats, age_days: Floats
) -> Offset:
    """Learn a feed's offset by a Bayesian linear regression. Arrays [J, K]"""
    counted = np.isfinite(errors) & np.isfinite(foretold)
    middle = float(foretold[counted].mean()) if counted.any() else 0.0
    terms = _terms(foretold[counted] - middle, sun_hour[counted])
    noise = np.broadcast_to(space.prior_spread(LEAD_H), errors.shape)[counted]
    by = (weight(age_days[counted]) / noise**2)[:, None]
    prior = np.diag(1.0 / np.maximum(np.array(space.offset), 1e-6) ** 2)
    factors = np.linalg.solve(terms.T @ (by * terms) + prior, (by * terms).T @ errors[counted])
    return Offset(np.asarray(factors, np.float64), middle)


def _terms(foretold: Floats, sun_hour: Floats) -> Floats:
    return np.stack([np.ones_like(foretold), foretold, np.cos(sun_hour), np.sin(sun_hour)], axis=-1)


def fit_spread(space: Space, residuals: Floats, age_days: Floats) -> Floats:
    """Return the standard deviation of what the offset leaves, by lead. [J, K] in, [K] out"""
    prior = space.prior_spread(LEAD_H)
    counted = np.isfinite(residuals)
    counts = np.where(counted, weight(age_days), 0.0)
    squares = counts * np.where(counted, residuals / prior, 0.0) ** 2
    every = (_PRIOR_PAIRS + squares.sum()) / (_PRIOR_PAIRS + counts.sum())
    of_band = np.bincount(_BAND, squares.sum(axis=0), minlength=len(_BANDS_H) + 1)
    in_band = np.bincount(_BAND, counts.sum(axis=0), minlength=len(_BANDS_H) + 1)
    share = (_PRIOR_PAIRS * every + of_band) / (_PRIOR_PAIRS + in_band)
    return np.asarray(prior * np.sqrt(share)[_BAND])


def kept(hours: Floats) -> Floats:
    """Return how much of an error is expected to be left so many hours later or earlier."""
    return np.where(hours == 0, 1.0, _KEPT_AT_ONCE * _KEPT_AN_HOUR ** np.abs(hours))


def fit_kept(paths: Floats, age_days: Floats) -> Floats:
    """Return how much of a standardized error is left after 0, 1, … hours. [J, K] in, [K] out"""
    counts = np.where(np.isfinite(paths), weight(age_days), 0.0)
    known = np.where(np.isfinite(paths), paths, 0.0)
    lags = np.arange(PATH_H.size, dtype=np.float64)
    left = kept(lags)
    for lag in range(1, lags.size):
        both = np.sqrt(counts[:, lag:] * counts[:, : lags.size - lag])
        together = (both * known[:, lag:] * known[:, : lags.size - lag]).sum()
        left[lag] = (_PRIOR_PAIRS * left[lag] + together) / (_PRIOR_PAIRS + both.sum())
    return np.clip(left, -1.0, 1.0)


def prior_paths(count: int, rng: np.random.Generator) -> Floats:
    """Return standardized error paths as general experience has them. [count, K]"""
    slow = rng.standard_normal((count, PATH_H.size))
    step = np.sqrt(1.0 - _KEPT_AN_HOUR**2)
    for hour in range(1, PATH_H.size):
        slow[:, hour] = _KEPT_AN_HOUR * slow[:, hour - 1] + step * slow[:, hour]
    quick = rng.standard_normal(slow.shape)
    return np.asarray(np.sqrt(_KEPT_AT_ONCE) * slow + np.sqrt(1.0 - _KEPT_AT_ONCE) * quick)


def completed(paths: Floats, prior: Floats) -> Floats:
    """Return paths [N, K] with their unknown hours filled from prior ones, near their known ones.

    An unknown hour is the prior path's, moved by what the nearest known hour is off from it.
    """
    out = np.where(np.isfinite(paths), paths, prior)
    hours = np.arange(paths.shape[1])
    for row in np.flatnonzero(~np.isfinite(paths).all(axis=1)):
        known = np.flatnonzero(np.isfinite(paths[row]))
        if known.size:
            after = np.clip(np.searchsorted(known, hours), 0, known.size - 1)
            before = np.maximum(after - 1, 0)
            nearer = np.abs(known[before] - hours) <= np.abs(known[after] - hours)
            nearest = known[np.where(nearer, before, after)]
            moved = kept((hours - nearest).astype(np.float64))
            filled = prior[row] + moved * (paths[row, nearest] - prior[row, nearest])
            out[row] = np.where(np.isfinite(paths[row]), paths[row], filled)
    return out


def shifted(paths: Floats, now: Floats, left: Floats) -> Floats:
    """Return paths moved to what the station says right now, the less the further ahead. [N, K]

    ``now`` [K] is the standardized error in the hours known, NaN elsewhere; ``left`` how much of
    one is left after 0, 1, … hours. It is the usual correction of one normal variable by others.
    """
    at = np.flatnonzero(np.isfinite(now) & KNOWN)
    if not at.size:
        return paths
    between = np.abs(at[:, None] - at)
    among = left[between] + _NUGGET * np.eye(at.size)
    to_each = left[np.abs(np.arange(paths.shape[1])[:, None] - at)]
    by = np.linalg.solve(among, to_each.T)  # [A, K]
    off = np.clip(now[at], -_MOST_OFF, _MOST_OFF) - paths[:, at]
    out: Floats = paths + off @ by
    return out
