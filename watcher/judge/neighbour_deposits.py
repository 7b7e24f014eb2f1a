"""Each neighbour of one field, setup and time: what may land on it, and what would mend it."""

from dataclasses import dataclass

import numpy as np

from watcher.farm.geometry.bearings import compass_point, facing
from watcher.farm.origin import Origin
from watcher.judge.judgement import Judgement
from watcher.limits.catalogue import Limit
from watcher.limits.drift import stood, thrown_pairs
from watcher.limits.farm_arrays import Bools, FarmArrays
from watcher.limits.status import LimitState
from watcher.weather.drift import (
    Deposit,
    Directions,
    bearings,
    exposure,
    swung,
    upper_bearings,
    upper_exposure,
)
from watcher.weather.series import Floats

_MOST_SWATHS = 12


@dataclass(frozen=True)
class NeighbourDeposit:
    """One neighbour's share of the spray, in percent of the field's rate."""

    neighbour: str
    side: str
    """Side of the field that faces it."""
    gap_m: float
    """From field to neighbour where they are nearest."""
    edge_pct: float
    """Expected at its nearest edge."""
    strip_pct: float
    """Expected mean over its first metres."""
    upper_pct: float
    """Upper estimate at its nearest edge: what is judged."""
    tolerance_pct: float
    """What it stands; infinite for a tolerant neighbour."""
    extrapolated: bool
    """Whether this lies outside what the published curves were seen for."""
    origin: Origin
    """Whose the share is that it stands."""
    estimated: bool = True
    """Whether any curve tells of such a sprayer; else nothing is known of what may land."""
    as_open_boom: bool = False
    """Whether it is estimated as if there were no hood."""

    @property
    def share(self) -> float:
        """The upper estimate as a share of what the neighbour stands."""
        return float(stood(np.asarray(self.upper_pct), np.asarray(self.tolerance_pct)))

    @property
    def over(self) -> bool:
        """Whether the upper estimate passes what the neighbour stands."""
        return self.share > 1.0


def neighbour_deposits(
    judgement: Judgement, field: int, setup: int, time: int
) -> list[NeighbourDeposit]:
    """Every neighbour in reach, the worst first. Unknown wind or direction gives NaN deposits."""
    plan = judgement.plan
    pairs = np.flatnonzero(plan.reach.pair_field == field)
    landing = _landing(judgement, pairs, field, time).scaled(
        judgement.drift.strength(field, setup, time)
    )
    # Where no curve tells of the sprayer only this is known: that nothing blows there.
    estimated = bool(plan.drift_estimated[setup])
    blank = np.where(thrown_pairs(plan)[pairs, setup] | (landing.upper_pct != 0.0), np.nan, 0.0)
    edge, strip, upper = (
        (landing.edge_pct, landing.strip_pct, landing.upper_pct)
        if estimated
        else (blank, blank, blank)
    )
    found = [
        NeighbourDeposit(
            neighbour=_name(plan, pair),
            side=facing(plan.reach.gap_m[pair]),
            gap_m=float(plan.reach.gap_m[pair].min()),
            edge_pct=float(edge[i]),
            strip_pct=float(strip[i]),
            upper_pct=float(upper[i]),
            estimated=estimated,
            as_open_boom=bool(plan.hood_not_counted[setup]),
            tolerance_pct=float(plan.pair_tolerance_pct[pair]),
            extrapolated=bool(landing.extrapolated[i]),
            origin=plan.tolerance_origin(pair),
        )
        for i, pair in enumerate(pairs.tolist())
    ]
    return sorted(found, key=lambda e: (-e.share, -e.upper_pct, e.neighbour))


def _landing(judgement: Judgement, pairs: np.ndarray, field: int, time: int) -> Deposit:
    """Deposits on some pairs of a field at a time, at strength 1. [P] each"""
    plan = judgement.plan
    return exposure(
        along=bearings(gap_m=plan.reach.gap_m[pairs], width_m=plan.reach.width_m[field]),
        directions=judgement.drift.directions.at(time),
    )


@dataclass(frozen=True)
class DownwindCurve:
    """Deposit against distance straight downwind of a field. [D] each, metres and % of its rate"""

    distance_m: Floats
    expected_pct: Floats
    upper_pct: Floats


def downwind_curve(
    judgement: Judgement, field: int, setup: int, time: int, distance_m: Floats
) -> DownwindCurve:
    """What would land at each distance if the wind held its mean direction. NaN where unknown."""
    plan = judgement.plan
    wind_from = judgement.series.wind_from_deg[time]
    toward = round(float(np.nan_to_num(wind_from)) + 180.0) % 360
    along = bearings(gap_m=distance_m, width_m=plan.reach.width_m[field, toward])
    at = Deposit(along.edge_pct, along.strip_pct, along.upper_pct, along.extrapolated).scaled(
        judgement.drift.strength(field, setup, time)
    )
    known = np.isfinite(wind_from) and plan.drift_estimated[setup]
    edge, upper = (np.where(known, pct, np.nan) for pct in (at.edge_pct, at.upper_pct))
    return DownwindCurve(distance_m, edge, upper)


def _name(plan: FarmArrays, pair: int) -> str:
    return list(plan.farm.config.neighbours)[int(plan.reach.pair_neighbour[pair])]


@dataclass(frozen=True)
class Mends:
    """What would bring every neighbour's deposit under what it stands. Empty where nothing does."""

    setups: tuple[str, ...]
    """Other setups of the field that would do in this wind, least loss of control first."""
    leave_swaths: int | None
    """Swaths to leave unsprayed along the sides that face them; None where none would do."""
    wind_from: tuple[str, ...]
    """Points of the compass the wind may come from at this speed."""


def mends(judgement: Judgement, field: int, setup: int, time: int) -> Mends:
    """Look for what would open a field that drift onto a neighbour closes."""
    plan = judgement.plan
    pairs = np.flatnonzero((plan.reach.pair_field == field) & np.isfinite(plan.pair_tolerance_pct))
    if not pairs.size or not np.isfinite(judgement.series.wind_from_deg[time]):
        return Mends((), None, ())
    if thrown_pairs(plan)[pairs, setup].any():  # neither a wind nor a strip helps
        return Mends(_other_setups(judgement, field, setup, time), None, ())
    return Mends(
        setups=_other_setups(judgement, field, setup, time),
        leave_swaths=swaths_to_leave(
            judgement,
            (field, setup, time),
            gap_m=plan.reach.gap_m[pairs],
            tolerance_pct=plan.pair_tolerance_pct[pairs],
        ),
        wind_from=_winds(judgement, field, setup, time, pairs),
    )


def _other_setups(judgement: Judgement, field: int, setup: int, time: int) -> tuple[str, ...]:
    plan = judgement.plan
    checked = next(c for c in judgement.checks if c.limit is Limit.DEPOSIT)
    stand = np.broadcast_to(checked.stand, judgement.instant.shape)[field, :, time]
    fitting = np.flatnonzero((stand >= LimitState.NEAR) & plan.allowed[field])
    ordered = sorted(fitting, key=lambda s: plan.loss_pct[field, s])
    return tuple(plan.setups[s] for s in ordered if s != setup)


def swaths_to_leave(
    judgement: Judgement, case: tuple[int, int, int], *, gap_m: Floats, tolerance_pct: Floats
) -> int | None:
    """Fewest swaths to leave unsprayed beside neighbours for all of them to stand what lands.

    ``case`` is field, setup and time; ``gap_m`` [P, 360] how the neighbours lie, ``tolerance_pct``
    [P] what they stand. None where not even the most that anyone would leave is enough.
    """
    field, setup, time = case
    plan, config = judgement.plan, judgement.plan.farm.config
    swath = config.sprayers[config.setups[plan.setups[setup]].sprayer].boom_width
    left = swath * np.arange(_MOST_SWATHS + 1)[:, None, None]
    width = np.maximum(plan.reach.width_m[field] - left, swath)
    upper = upper_exposure(
        swung_pct=swung(upper_bearings(gap_m=gap_m + left, width_m=width)),
        directions=judgement.drift.directions.at(time),
    )
    enough = _all_stand(judgement, case, upper.T, tolerance_pct)
    return int(np.argmax(enough)) if enough.any() else None


def _all_stand(
    judgement: Judgement, case: tuple[int, int, int], upper_pct: Floats, tolerance_pct: Floats
) -> Bools:
    """Whether all the neighbours [P] stand their upper estimates at strength 1 [P, ...]."""
    if judgement.plan.drift_estimated[case[1]]:
        landing = upper_pct * judgement.drift.upper[case]
    else:  # what no curve tells of is stood by nobody it may blow to
        landing = np.where(upper_pct == 0.0, 0.0, np.inf)
    share = stood(landing, tolerance_pct[:, None])
    return np.asarray(share.max(axis=0) <= 1.0)


def _winds(
    judgement: Judgement, field: int, setup: int, time: int, pairs: np.ndarray
) -> tuple[str, ...]:
    plan = judgement.plan
    points = np.arange(0.0, 360.0, 45.0)
    spread = plan.spread_deg(judgement.series)[time]
    upper = upper_exposure(
        swung_pct=plan.upper_along[pairs],
        directions=Directions.of(wind_from_deg=points, spread_deg=spread),
    )
    fits = _all_stand(judgement, (field, setup, time), upper, plan.pair_tolerance_pct[pairs])
    return tuple(compass_point(float(p)) for p in points[fits])
