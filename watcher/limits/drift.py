"""What of the spray may land at each neighbour, against what the neighbour stands."""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from watcher.farm.models import SprayerKind
from watcher.limits.boom_wind import above_canopy
from watcher.limits.catalogue import Limit
from watcher.limits.check import Checked, bounded
from watcher.limits.downwind import per_field
from watcher.limits.farm_arrays import Bools, FarmArrays
from watcher.weather.drift import (
    REFERENCE_WIND_HEIGHT_M,
    Directions,
    Strength,
    strength,
    upper_exposure,
    upper_strength,
)
from watcher.weather.series import Floats, WeatherSeries

_THROWN_M = 30.0
"""The fan of an air-blast throws spray so far to all sides, a choice of ours: nearer than that no
wind clears a neighbour. [m]"""
_PAIRS_AT_A_TIME = 4096
"""A few MB a block: every direction the wind may have is laid over it in turn."""


@dataclass(frozen=True)
class Drift:
    """How hard each setup drifts, and how exposed each field's neighbours lie, at each time.

    Deposits factor: a pair's deposit is its exposure [P, T] times its field's strength [F, S, T].
    Only the upper estimate is judged; the others are worked out for the case that is asked about.
    """

    plan: FarmArrays
    series: WeatherSeries
    obukhov_m: Floats
    """How the air is layered, NaN where nothing tells of it. [T]"""

    @cached_property
    def upper(self) -> Floats:
        """How hard each setup drifts by the upper estimate, against the curves. [F, S, T]"""
        plan = self.plan
        of_kinds = upper_strength(
            wind_m_s=self._wind_m_s,
            boom_height_m=plan.boom_m[None, :, None],
            speed_m_s=plan.speed_m_s[None, :, None],
            spray=plan.spray_drift.at((None, slice(None), None)),
        )
        return plan.of_fields(of_kinds)

    @cached_property
    def upper_pct(self) -> Floats:
        """The upper deposit at strength 1 on each pair's neighbour. [P, T], % of the rate"""
        along = self.plan.upper_along
        directions, which = self._different_directions
        upper = np.empty((len(along), len(self.series)))
        for start in range(0, len(along), _PAIRS_AT_A_TIME):
            block = slice(start, start + _PAIRS_AT_A_TIME)
            exposure = upper_exposure(swung_pct=along[block], directions=directions)
            upper[block] = exposure[:, which]
        return upper

    @cached_property
    def _different_directions(self) -> tuple[Directions, np.ndarray]:
        """Every wind's direction once, and which of them blows at each time.

        Of scenarios in whole degrees a few hundred differ, of many thousand times.
        """
        winds = np.stack([self.series.wind_from_deg, self.plan.spread_deg(self.series)])
        different, which = np.unique(
            np.where(np.isnan(winds), -1.0, winds), axis=1, return_inverse=True
        )
        from_deg, spread = np.where(different < 0, np.nan, different)
        return Directions.of(wind_from_deg=from_deg, spread_deg=spread), which.ravel()

    @cached_property
    def directions(self) -> Directions:
        """Where the wind blows at each time. [T]"""
        spread = self.plan.spread_deg(self.series)
        return Directions.of(wind_from_deg=self.series.wind_from_deg, spread_deg=spread)

    def strength(self, field: int, setup: int, time: int) -> Strength:
        """How hard one setup drifts on one field at one time."""
        plan = self.plan
        return strength(
            wind_m_s=self._wind_m_s[plan.kind[field], 0, time],
            boom_height_m=plan.boom_m[setup],
            speed_m_s=plan.speed_m_s[setup],
            spray=plan.spray_drift.at(setup),
        )

    @cached_property
    def _wind_m_s(self) -> Floats:
        """Wind at the height of the drift trials, above each kind's canopy. [K, 1, T]"""
        place = above_canopy(self.plan.kinds, np.array([REFERENCE_WIND_HEIGHT_M]))
        share = place.wind_share(self.series.site, self.obukhov_m)
        return np.asarray(share * self.series.wind_m_s)


def stood(deposit_pct: Floats, tolerance_pct: Floats) -> Floats:
    """A deposit as a share of what is stood: 1 is all of it. Broadcast; NaN in gives NaN.

    Nothing is no share of nothing, anything is an infinite one.
    """
    out = np.where(np.isnan(deposit_pct), np.nan, np.where(deposit_pct > 0, np.inf, 0.0))
    return np.divide(deposit_pct, tolerance_pct, out=out, where=np.asarray(tolerance_pct) > 0)


def thrown_pairs(plan: FarmArrays) -> Bools:
    """Return onto whom each setup may throw its spray whatever the wind. [P, S]"""
    near = plan.reach.gap_m.min(axis=1, initial=np.inf) <= _THROWN_M
    blast = [kind is SprayerKind.AIR_BLAST for kind in plan.sprayer_kinds]
    return np.asarray(near[:, None] & np.array(blast, dtype=bool))


def _thrown_at(plan: FarmArrays, minds: Bools) -> Bools:
    """Whether a setup throws at somebody who minds. [F, S, 1]"""
    thrown = thrown_pairs(plan) & minds[:, None]
    return np.asarray(per_field(plan, np.logical_or, thrown, nobody=False)[:, :, None])


def deposit_limit(plan: FarmArrays, drifting: Drift) -> Iterator[Checked]:
    """Yield the upper estimate at the worst exposed neighbour as a share of what it stands."""
    minds = np.isfinite(plan.pair_tolerance_pct)
    if not minds.any():
        return
    share = stood(drifting.upper_pct, plan.pair_tolerance_pct[:, None])
    worst = per_field(plan, np.maximum, share, 0.0)
    # A field without such a neighbour has nothing to mind, whatever is known of the wind.
    beside = per_field(plan, np.logical_or, minds, nobody=False)
    value = np.where(beside[:, None, None], worst[:, None, :] * drifting.upper, 0.0)
    if not plan.drift_estimated.all():
        blank = np.where(_thrown_at(plan, minds) | (worst != 0.0)[:, None, :], np.nan, 0.0)
        value = np.where(plan.drift_estimated[None, :, None], value, blank)
    one = np.asarray(1.0)
    yield bounded(
        Limit.DEPOSIT,
        value,
        low=np.asarray(-np.inf),
        high=one,
        scale=one,
        margin=np.asarray(plan.farm.config.judging.margin),
    )
