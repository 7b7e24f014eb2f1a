"""Each neighbour of one field, setup and time: what may land on it, and what would mend it."""

from dataclasses import dataclass

import numpy as np

from watcher.farm.bearings import compass_point, side
from watcher.judge.judgement import Judgement
from watcher.judge.plan import Plan
from watcher.judge.status import Limit, Stand
from watcher.weather.drift import bearings, exposure
from watcher.weather.series import Floats

_MOST_SWATHS = 12


@dataclass(frozen=True)
class Exposed:
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

    @property
    def over(self) -> bool:
        """Whether the upper estimate passes what the neighbour stands."""
        return self.upper_pct > self.tolerance_pct


def exposed(judgement: Judgement, field: int, setup: int, time: int) -> list[Exposed]:
    """Every neighbour in reach, the worst first. Unknown wind or direction gives NaN deposits."""
    plan = judgement.plan
    strength = judgement.drift.strength
    up = float(strength.upper[field, setup, time])
    even = float(strength.expected[field, setup, time])
    beyond = bool(strength.extrapolated[field, setup, time])
    at = judgement.drift.at_reference
    found = [
        Exposed(
            neighbour=_name(plan, pair),
            side=_side(plan, pair),
            gap_m=float(plan.reach.gap_m[pair].min()),
            edge_pct=min(100.0, float(at.edge_pct[pair, time]) * even),
            strip_pct=min(100.0, float(at.strip_pct[pair, time]) * even),
            upper_pct=min(100.0, float(at.upper_pct[pair, time]) * up),
            tolerance_pct=float(plan.pair_tolerance_pct[pair]),
            extrapolated=beyond or bool(at.extrapolated[pair, time]),
        )
        for pair in np.flatnonzero(plan.reach.pair_field == field).tolist()
    ]
    return sorted(found, key=lambda e: (-e.upper_pct / e.tolerance_pct, -e.upper_pct, e.neighbour))


def _name(plan: Plan, pair: int) -> str:
    return list(plan.farm.told.neighbours)[int(plan.reach.pair_neighbour[pair])]


def _side(plan: Plan, pair: int) -> str:
    ground = plan.farm.ground
    field = plan.fields[plan.reach.pair_field[pair]]
    return side(ground.fields[field], ground.neighbours[_name(plan, pair)])


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
    return Mends(
        setups=_other_setups(judgement, field, setup, time),
        leave_swaths=_swaths_to_leave(judgement, field, setup, time, pairs),
        wind_from=_winds(judgement, field, setup, time, pairs),
    )


def _other_setups(judgement: Judgement, field: int, setup: int, time: int) -> tuple[str, ...]:
    plan = judgement.plan
    checked = next(c for c in judgement.checks if c.limit is Limit.DEPOSIT)
    stand = np.broadcast_to(checked.stand, judgement.instant.shape)[field, :, time]
    fitting = np.flatnonzero((stand >= Stand.NEAR) & plan.allowed[field])
    ordered = sorted(fitting, key=lambda s: plan.loss_pct[field, s])
    return tuple(plan.setups[s] for s in ordered if s != setup)


def _upper_share(judgement: Judgement, case: tuple[int, int, int], edges: Floats) -> Floats:
    """Worst upper estimate as a share of what is stood, from exposures [P, ...] of the pairs."""
    return np.asarray(edges.max(axis=0) * judgement.drift.strength.upper[case])


def _swaths_to_leave(
    judgement: Judgement, field: int, setup: int, time: int, pairs: np.ndarray
) -> int | None:
    plan, told = judgement.plan, judgement.plan.farm.told
    swath = told.sprayers[told.setups[plan.setups[setup]].sprayer].boom_width
    series = judgement.series.at(slice(time, time + 1))
    left = swath * np.arange(_MOST_SWATHS + 1)[:, None, None]
    along = bearings(
        gap_m=plan.reach.gap_m[pairs] + left,
        width_m=np.maximum(plan.reach.width_m[field] - left, swath),
    )
    at = exposure(
        along=along,
        wind_from_deg=series.wind_from_deg,
        spread_deg=plan.spread_deg(series),
    )
    share = at.upper_pct[..., 0] / plan.pair_tolerance_pct[pairs]
    enough = _upper_share(judgement, (field, setup, time), share.T) <= 1.0
    return int(np.argmax(enough)) if enough.any() else None


def _winds(
    judgement: Judgement, field: int, setup: int, time: int, pairs: np.ndarray
) -> tuple[str, ...]:
    plan = judgement.plan
    points = np.arange(0.0, 360.0, 45.0)
    spread = plan.spread_deg(judgement.series)[time]
    at = exposure(
        along=bearings(
            gap_m=plan.reach.gap_m[pairs],
            width_m=np.broadcast_to(plan.reach.width_m[field], (pairs.size, 360)),
        ),
        wind_from_deg=points,
        spread_deg=np.full(points.shape, spread),
    )
    share = at.upper_pct / plan.pair_tolerance_pct[pairs, None]
    fits = _upper_share(judgement, (field, setup, time), share) <= 1.0
    return tuple(compass_point(float(p)) for p in points[fits])
