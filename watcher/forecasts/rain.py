"""Rain as yes or no with an amount: how likely each hour is wet, and paths of being wet or dry."""

from dataclasses import dataclass
from statistics import NormalDist

import numpy as np

from watcher.forecasts import error_model
from watcher.forecasts.history import History
from watcher.weather.series import Floats

WET_MM_H = 0.1
"""Gauges tell no less."""
_LEAST_AMOUNT_MM_H = 0.5
"""What falls in an hour that is wet though none was foretold (a choice, no source)."""
_CHANCE_WET, _CHANCE_DRY = 0.55, 0.05
"""Of rain in an hour for which it is foretold, or not, before the station says so (a choice)."""
_PRIOR_PAIRS = 20.0
_LEAST_CHANCE = 0.002
_GRID = np.linspace(0.0005, 0.9995, 2000)
_SCORES = np.array([NormalDist().inv_cdf(float(p)) for p in _GRID])


@dataclass(frozen=True)
class RainOutlook:
    """The chance that each hour is wet [K], the amount if so [K], and the ranks of past moments as
    normal scores [J, K], low ones wet; how a score lasts [K]."""

    chance: Floats
    amount_mm_h: Floats
    paths: Floats
    left: Floats

    def amounts(self, scores: Floats) -> Floats:
        """Return the rain of paths of scores: an hour is wet where its score is low enough."""
        wet = np.where(scores < _score(self.chance), self.amount_mm_h, 0.0)
        return np.where(np.isfinite(self.chance), wet, np.nan)


def outlook(history: History, rng: np.random.Generator) -> RainOutlook:
    """Return the chance of rain from all feeds: as they give it, else from their amounts."""
    amounts, chances = history.foretold["rain_mm_h"], history.foretold["rain_chance_pct"]
    came = history.measured["rain_mm_h"]
    wet = np.where(np.isnan(came), np.nan, came >= WET_MM_H)
    chance = _mean([_of_feed(a, c, wet, history) for a, c in zip(amounts, chances, strict=True)])
    # Where in its chance a wet or a dry hour lay nobody knows; one draw a moment, half way now.
    within = rng.random(len(history.at))[:, None]
    within[-1] = 0.5
    rank = np.where(wet == 1.0, chance * within, chance + (1.0 - chance) * within)
    paths = np.where(np.isnan(wet), np.nan, _score(rank))
    foretold = _mean(list(amounts[:, -1]))
    amount = np.maximum(np.where(np.isnan(foretold), 0.0, foretold), _LEAST_AMOUNT_MM_H)
    left = error_model.fit_kept(paths, history.age_days)
    return RainOutlook(chance[-1], amount, paths, left)


def _of_feed(amounts: Floats, chance_pct: Floats, wet: Floats, history: History) -> Floats:
    """Return a feed's chance of rain in every hour. [J, K]"""
    is_wet = np.where(np.isnan(amounts), np.nan, amounts >= WET_MM_H)
    by_amount = np.full(is_wet.shape, np.nan)
    for foretold, prior in ((1.0, _CHANCE_WET), (0.0, _CHANCE_DRY)):
        pairs = (is_wet == foretold) & np.isfinite(wet)
        counts = error_model.weight(history.age_days[pairs])
        hits = _PRIOR_PAIRS * prior + (counts * wet[pairs]).sum()
        by_amount[is_wet == foretold] = hits / (_PRIOR_PAIRS + counts.sum())
    chance = np.where(np.isnan(chance_pct), by_amount, chance_pct / 100.0)
    return np.clip(chance, _LEAST_CHANCE, 1.0 - _LEAST_CHANCE)


def _mean(arrays: list[Floats]) -> Floats:
    """Return the mean of what is known, NaN where nothing is."""
    stacked = np.stack(arrays)
    known = np.isfinite(stacked)
    total = np.where(known, stacked, 0.0).sum(axis=0)
    count = known.sum(axis=0)
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)


def _score(chance: Floats) -> Floats:
    return np.where(np.isnan(chance), np.nan, np.interp(chance, _GRID, _SCORES))
