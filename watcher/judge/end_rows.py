"""Which sides of a field to spray first in this wind, and which to leave for another one.

Sides that face a neighbour who minds are sprayed first while the air is calm or moves away from
it: it may turn or rise. A side whose neighbour the wind reaches now is left for an hour of the
forecast. (That end rows beside a susceptible crop are sprayed first is common practice, no source.)

Each neighbour is split by the sides that face it, and each part is judged by the limits the whole
judgement goes by.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from enum import IntEnum, auto

import numpy as np
from numpy.typing import NDArray

from watcher.farm.geometry.bearings import compass_point, gap, sides
from watcher.farm.geometry.facing import faced
from watcher.judge.judgement import Judgement
from watcher.judge.neighbour_deposits import swaths_to_leave
from watcher.limits.check import Stands
from watcher.limits.downwind import gap_downwind, sector
from watcher.limits.drift import stood
from watcher.limits.farm_arrays import Bools
from watcher.limits.neighbours import direction_stand, no_spray_share
from watcher.limits.status import Band, LimitState, Status
from watcher.weather.drift import swung, upper_bearings, upper_exposure
from watcher.weather.series import Floats

ALL_ROUND = "all round"
"""In place of a side: round a yard inside the field."""


class Why(IntEnum):
    """How the wind treats what lies before a side. Up to CALM it may be sprayed."""

    NOBODY = auto()
    """Nobody who minds is in reach of it."""
    AWAY = auto()
    """The wind moves away from the neighbour, or along it, and it stands what lands."""
    CALM = auto()
    """The air moves there, but it is calm and the neighbour stands what lands."""
    TOO_MUCH = auto()
    """More would land than it stands."""
    DOWNWIND = auto()
    """The wind blows there."""
    NOT_CALM = auto()
    """Beside this neighbour only calm air will do, whichever way it moves."""
    NO_SPRAY = auto()
    """It lies downwind within the label's no-spray distance."""
    STILL = auto()
    """Still air goes anywhere."""
    UNKNOWN = auto()


class Turn(IntEnum):
    """When a side has its turn."""

    FIRST = auto()
    ANY_TIME = auto()
    LEAVE = auto()


@dataclass(frozen=True)
class EndRow:
    """One side of a field and its turn."""

    side: str
    """The side as a point of the compass, or ``ALL_ROUND``."""
    length_m: float
    turn: Turn
    why: Why
    neighbour: str | None = None
    """The neighbour that decides; None where nobody minds."""
    distance_m: float = np.nan
    changes_at: int | None = None
    """A side to spray first: when the forecast ends that. One to leave: when the field is open and
    the side may be sprayed. None where neither is in sight. [epoch seconds]"""
    then: Why | None = None
    """How the wind treats it from then on."""
    wind_from_then: str | None = None
    """Where the wind comes from then, as a point of the compass."""
    leave_swaths: int | None = None
    """For a side to leave where only the deposit forbids it: swaths to leave if one cannot wait."""


Case = tuple[int, int, int]
"""Field, setup and time, as indices."""


@dataclass(frozen=True)
class _Part:
    """What of a neighbour a side faces, from the moment on. Arrays [T]"""

    pair: int
    name: str
    distance_m: float
    gap_m: Floats
    """How it lies along every bearing. [360]"""
    why: NDArray[np.int8]
    share: Floats
    """The upper estimate as a share of what it stands."""
    worst: float
    """That share now, if the wind blew straight at it."""
    swaths_help: bool
    """Whether nothing but the deposit can forbid it now."""


@dataclass(frozen=True)
class _Front:
    """A side and everything before it that minds. Sides of one point of the compass are one."""

    side: str
    outward_deg: float
    length_m: float
    parts: tuple[_Part, ...]

    @property
    def why(self) -> NDArray[np.int8]:
        """The gravest of its parts. [T]"""
        found: NDArray[np.int8] = np.max([p.why for p in self.parts], axis=0)
        return found

    @property
    def decides(self) -> _Part:
        """The part that decides at the moment."""
        return max(self.parts, key=lambda p: (p.why[0], np.nan_to_num(p.share[0]), p.worst, p.name))


def end_rows(judgement: Judgement, field: int, setup: int, time: int) -> tuple[EndRow, ...]:
    """Order the sides of a field for one setup and time: spray first, any time, leave.

    First the side that the forecast closes soonest; of those to leave, the one it opens soonest.
    """
    case = field, setup, time
    wind = float(np.nan_to_num(judgement.series.wind_from_deg[time]))
    rows = [(front, _row(judgement, front, case)) for front in _fronts(judgement, case)]
    return tuple(row for _, row in sorted(rows, key=lambda found: _place(found, wind)))


_AHEAD_DEG = 17.3
"""Begin so far left of the wind: no wind that anyone writes down lies on the edge of the order."""


def _place(found: tuple[_Front, EndRow], wind_from_deg: float) -> tuple[float, ...]:
    front, row = found
    worst = front.decides.worst if front.parts else 0.0
    # Rounded, and what is equal then by the wind: a turned farm in a turned wind is no other farm.
    alike = float(f"{worst:.3g}")
    aside = round(front.outward_deg - wind_from_deg + _AHEAD_DEG, 3) % 360
    return (row.turn, np.inf if row.changes_at is None else row.changes_at, -alike, aside)


def _fronts(judgement: Judgement, case: Case) -> Iterator[_Front]:
    plan, field = judgement.plan, case[0]
    ground, within = plan.farm.ground, plan.farm.config.judging.reach
    shape = ground.fields[plan.fields[field]]
    straight = sides(shape)
    before: dict[str, list[_Part]] = {s.point: [] for s in straight}
    minding = np.isfinite(plan.pair_tolerance_pct) | (plan.pair_no_spray_m > 0)
    near = (plan.reach.pair_field == field) & plan.pair_in_reach & minding
    for pair in np.flatnonzero(near).tolist():
        name = list(ground.neighbours)[plan.reach.pair_neighbour[pair]]
        for seen in faced(shape, straight, ground.neighbours[name], within):
            side = seen.side.point if seen.side else ALL_ROUND
            part = _part(judgement, case, pair, (name, seen.distance_m, gap(shape, seen.part)))
            before.setdefault(side, []).append(part)
    for point, parts in before.items():
        alike = [s for s in straight if s.point == point]
        outward = alike[0].outward_deg if alike else 0.0
        yield _Front(point, outward, sum(s.length_m for s in alike), tuple(parts))


def _part(judgement: Judgement, case: Case, pair: int, lies: tuple[str, float, Floats]) -> _Part:
    """Judge a part of a neighbour: ``lies`` is its name, how far off, and its gaps."""
    plan, (field, setup, time) = judgement.plan, case
    gap_m = lies[2]
    share, worst = _shares(judgement, case, pair, gap_m)
    arc = sector(plan, judgement.series.at(slice(time, None)))
    downwind = gap_downwind(gap_m[None], arc)
    reached = downwind <= plan.farm.config.judging.reach
    band = judgement.boom.band[field, setup, time:]
    rule = direction_stand(
        plan, np.array([pair]), downwind=reached, known=arc.known, band=band[None, None]
    )[0, 0]
    kept = no_spray_share(
        downwind,
        need_m=plan.pair_no_spray_m[[pair]],
        nearest_m=np.array([gap_m.min()]),
        known=arc.known,
    )[0]
    why = _why(share, kept, rule, reached[0], band)
    helps = bool(why[0] < Why.NO_SPRAY and rule[0] >= LimitState.NEAR)
    return _Part(pair, *lies, why, share, worst, helps)


def _shares(judgement: Judgement, case: Case, pair: int, gap_m: Floats) -> tuple[Floats, float]:
    """What may land on it as a share of what it stands, from the time on and straight at it now."""
    plan, (field, setup, time) = judgement.plan, case
    strength = judgement.drift.upper[field, setup, time:]
    along = upper_bearings(gap_m=gap_m, width_m=plan.reach.width_m[field])
    directions = judgement.drift.directions.at(slice(time, None))
    upper = upper_exposure(swung_pct=swung(along), directions=directions)
    tolerance = plan.pair_tolerance_pct[pair]
    straight_at_it = stood(along.max() * strength[:1], tolerance)
    share = stood(upper * strength, tolerance)
    if not plan.drift_estimated[setup]:
        share = np.where(upper == 0.0, 0.0, np.nan)
    return share, float(straight_at_it[0])


def _why(
    share: Floats, kept: Floats, rule: Stands, reached: Bools, band: NDArray[np.int8]
) -> NDArray[np.int8]:
    """The first that holds of each time, gravest first. [T]"""
    unknown = (
        np.isnan(share) | np.isnan(kept) | (rule == LimitState.UNKNOWN) | (band == Band.UNKNOWN)
    )
    cases = {
        Why.UNKNOWN: unknown,
        Why.STILL: band == Band.STILL,
        Why.NO_SPRAY: kept < 1.0,
        Why.DOWNWIND: reached & (band != Band.CALM),
        Why.TOO_MUCH: share > 1.0,
        Why.NOT_CALM: rule == LimitState.BROKEN,
        Why.CALM: reached,
    }
    return np.select(list(cases.values()), list(cases), Why.AWAY).astype(np.int8)


def _row(judgement: Judgement, front: _Front, case: Case) -> EndRow:
    if not front.parts:
        return EndRow(front.side, front.length_m, Turn.ANY_TIME, Why.NOBODY)
    why, decides = front.why, front.decides
    first = bool(why[0] <= Why.CALM)
    at = _changes(judgement, why, case, first=first)
    row = EndRow(
        side=front.side,
        length_m=front.length_m,
        turn=Turn.FIRST if first else Turn.LEAVE,
        why=Why(int(why[0])),
        neighbour=decides.name,
        distance_m=decides.distance_m,
        leave_swaths=None if first else _swaths(judgement, front, case),
    )
    if at is None:
        return row
    then = case[2] + at
    return replace(
        row,
        changes_at=int(judgement.series.times[then]),
        then=Why(int(why[at])),
        wind_from_then=compass_point(float(judgement.series.wind_from_deg[then])),
    )


def _changes(judgement: Judgement, why: NDArray[np.int8], case: Case, *, first: bool) -> int | None:
    """How many times from the moment on a side's turn changes; None: not within the horizon."""
    field, setup, time = case
    times = judgement.series.times[time:]
    ahead = np.searchsorted(times, times[0] + judgement.plan.farm.config.judging.horizon)
    fits = why <= Why.CALM
    if first:
        changed = ~fits & (why != Why.UNKNOWN)
    else:
        changed = fits & (judgement.status[field, setup, time:] >= Status.MARGINAL)
    return next(iter(np.flatnonzero(changed[:ahead]).tolist()), None)


def _swaths(judgement: Judgement, front: _Front, case: Case) -> int | None:
    if not all(p.swaths_help for p in front.parts):
        return None
    tolerance = judgement.plan.pair_tolerance_pct[[p.pair for p in front.parts]]
    gaps = np.stack([p.gap_m for p in front.parts])
    return swaths_to_leave(judgement, case, gap_m=gaps, tolerance_pct=tolerance)
