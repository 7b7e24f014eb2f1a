"""Buffers: how much ground a label or law keeps unsprayed towards what is sensitive.

Required = the base, after the scheme's own reductions and minimum; what lies between the field and
what is sensitive and may count is the gap; what is left of one less the other is not sprayed.
A legal percent is law, not physics: nothing here changes what drifts.
"""

import math
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from typing import Annotated, Literal

from pydantic import Field

from watcher.farm.base import FarmModel, Name, Words
from watcher.farm.droplets import DropletClass, Droplets
from watcher.farm.rules.base import OfSprayers
from watcher.units import Kind, Percent, Pressure, SmallLength, Written

Distance = Annotated[float, Written(Kind.LENGTH, 0, 10_000)]


class Reduction(FarmModel):
    """One thing that makes a buffer smaller, where it is proven."""

    needs: Annotated[tuple[Words, ...], Field(min_length=1)]
    """What must be there: words a setup gives under measures, a field or neighbour under land."""
    percent: Percent | None = None
    """How much is taken off the base. [%]"""
    to: Distance | None = None
    """What the buffer becomes instead. [m]"""
    not_beside: tuple[Words, ...] = ()
    """Never beside these, of the neighbour's land."""
    pressure_most: Pressure | None = None
    """Counts only up to this pressure at the nozzle. [Pa]"""


class BufferRow(FarmModel):
    """One row of a label's table: what must be so for it, and the distance then."""

    base: Distance
    """The distance. [m]"""
    needs: tuple[Words, ...] = ()
    """What must be there, as for a reduction."""
    dose_most: Percent | None = None
    """Up to this share of the largest dose. [%]"""
    water_least: Distance | None = None
    """Beside water at least this wide. [m]"""
    finest: Droplets | None = None
    """With drops no finer than this."""
    boom_height_most: SmallLength | None = None
    """With the boom no higher than this. [m]"""
    drift_class: Percent | None = None
    """With equipment of at least this class in the scheme's own register. [%]"""


class Buffer(OfSprayers):
    """Ground that is kept unsprayed towards certain neighbours."""

    protects: Annotated[tuple[Name, ...], Field(min_length=1)]
    """Kinds of neighbours it protects, as the neighbours give them under kinds."""
    base: Distance | None = None
    """The distance; or give a table. [m]"""
    table: tuple[BufferRow, ...] = ()
    """Rows; the smallest distance whose row is proven counts. None proven: no spraying there."""
    sides: Literal["downwind", "all round", "along water"] = "downwind"
    """The sides it covers."""
    other_sides: Distance | None = None
    """A lesser distance on all sides that are not downwind. [m]"""
    field_line: Literal["treated edge", "last treated row", "boom end"] = "treated edge"
    """Where it is measured from."""
    sensitive_line: Literal["nearest edge", "top of bank", "water line", "plot limit"] = (
        "nearest edge"
    )
    """Where it is measured to; the neighbour's boundary is taken to be that line."""
    inside: Literal["anything", "unstated"] | tuple[Words, ...] = "unstated"
    """Land that may lie inside it; unstated, nothing but the field itself may."""
    reductions: tuple[Reduction, ...] = ()
    """What makes it smaller."""
    combine: Literal["add and cap", "replace", "all together", "none"] = "none"
    """How several go together: percents added, up to all of it; the smallest distance of any one;
    the distance only where all of them are proven; nothing reduces it."""
    floor: Distance = 0.0
    """Never less than this. [m]"""


@dataclass(frozen=True)
class Proven:
    """What is known of setup, field and neighbour. What is not there is not proven."""

    measures: Collection[str] = ()
    """What setup and field bring: measures and land in the farm file's words."""
    beside: Collection[str] = ()
    """The neighbour's land."""
    dose_share_pct: float | None = None
    water_width_m: float | None = None
    droplets: DropletClass | None = None
    boom_height_m: float | None = None
    drift_class_pct: float | None = None
    pressure_pa: float | None = None

    def has(self, needs: Iterable[str]) -> bool:
        """Return whether all of some needs are proven."""
        return set(needs) <= {*self.measures, *self.beside}


@dataclass(frozen=True)
class Arithmetic:
    """How a buffer comes to the distance it asks for. [m]"""

    base_m: float | None
    """None where no row of its table is proven: then it may not be sprayed beside it at all."""
    reduced_by: tuple[Reduction, ...]
    """The reductions that are proven and change it."""
    required_m: float | None
    """After its reductions and minimum."""


def arithmetic(buffer: Buffer, proven: Proven) -> Arithmetic:
    """Work out what a buffer asks for, and tell how."""
    base = _base(buffer, proven)
    if base is None:
        return Arithmetic(None, (), None)
    reductions = [r for r in buffer.reductions if _counts(r, proven)]
    least = min(buffer.floor, base)  # a minimum never makes a buffer larger than its base
    required = min(base, max(least, _reduced(buffer, base, reductions)))
    return Arithmetic(base, tuple(reductions) if required < base else (), required)


def required_m(buffer: Buffer, proven: Proven) -> float | None:
    """Return the distance a buffer asks for, after its own reductions and minimum. [m]

    None where it may not be sprayed beside it at all.
    """
    return arithmetic(buffer, proven).required_m


def _base(buffer: Buffer, proven: Proven) -> float | None:
    bases = [row.base for row in buffer.table if _fits(row, proven)]
    if buffer.base is not None:
        bases.append(buffer.base)
    return min(bases, default=None)


def _fits(row: BufferRow, proven: Proven) -> bool:
    at_most = (
        (proven.dose_share_pct, row.dose_most),
        (proven.boom_height_m, row.boom_height_most),
    )
    at_least = (
        (proven.water_width_m, row.water_least),
        (proven.droplets, row.finest),
        (proven.drift_class_pct, row.drift_class),
    )
    return (
        proven.has(row.needs)
        and all(most is None or (v is not None and v <= most) for v, most in at_most)
        and all(least is None or (v is not None and v >= least) for v, least in at_least)
    )


def _counts(reduction: Reduction, proven: Proven) -> bool:
    if reduction.pressure_most is not None and (
        proven.pressure_pa is None or proven.pressure_pa > reduction.pressure_most
    ):
        return False
    return proven.has(reduction.needs) and not set(reduction.not_beside) & set(proven.beside)


def _reduced(buffer: Buffer, base: float, proven: list[Reduction]) -> float:
    match buffer.combine:
        case "add and cap":
            percent = sum(r.percent or 0.0 for r in proven)  # over 100: the minimum stands
            return base * (1.0 - percent / 100.0)
        case "replace":
            return min((_alone(r, base) for r in proven), default=base)
        case "all together" if proven and len(proven) == len(buffer.reductions):
            return min(_alone(r, base) for r in proven)
    return base


def _alone(reduction: Reduction, base: float) -> float:
    if reduction.to is not None:
        return reduction.to
    return base * (1.0 - (reduction.percent or 0.0) / 100.0)


def largest_m(buffers: Iterable[Buffer], proven: Proven) -> float | None:
    """Return the largest distance of several buffers for one neighbour, each after its own rules.

    None where one of them may not be sprayed beside at all; 0 where there are none.
    """
    needed = [required_m(buffer, proven) for buffer in buffers]
    if any(m is None for m in needed):
        return None
    return max((m for m in needed if m is not None), default=0.0)


def gap_counted_m(buffer: Buffer, gap_m: float, between: Collection[str] | None) -> float:
    """Return how much of the gap to a neighbour may lie inside the buffer. [m]

    ``between`` is what the farm file says lies there; None where it does not say. What may lie
    inside is never guessed: a gap that is not known to count does not.
    """
    if buffer.inside == "anything":
        return gap_m
    if buffer.inside == "unstated" or between is None or not set(between) <= set(buffer.inside):
        return 0.0
    return gap_m


@dataclass(frozen=True)
class Strip:
    """Ground left unsprayed inside a field along an edge."""

    depth_m: float
    passes: int
    """Whole passes of the boom left out, where its end sections cannot be shut."""


_ROUNDING = 1e-6
"""Of a pass, and of a degree: feet turned into metres and back are not another pass."""


def strip(*, required: float, gap: float, boom_width: float) -> Strip:
    """Return what stays unsprayed where a buffer reaches further than the gap. [m] each"""
    depth = max(0.0, required - gap)
    return Strip(depth, math.ceil(depth / boom_width - _ROUNDING))


def downwind_edges(
    outward_deg: Iterable[float], *, wind_from_deg: float, swing_deg: float = 0.0
) -> tuple[bool, ...]:
    """Return which edges drift leaves through, by the bearings they face.

    With an oblique wind it leaves through two of a square's; ``swing_deg`` is how far to either
    side the wind may turn.
    """
    toward = wind_from_deg + 180.0
    apart = (abs((out - toward + 180.0) % 360.0 - 180.0) for out in outward_deg)
    return tuple(angle - swing_deg < 90.0 - _ROUNDING for angle in apart)
