"""Buffers on the ground: how deep a strip each field leaves unsprayed beside each neighbour."""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from watcher.farm.field_rules import buffers_towards, proven
from watcher.farm.origin import Force
from watcher.farm.rules.base import is_for
from watcher.farm.rules.buffers import Arithmetic, arithmetic, gap_counted_m, required_m, strip
from watcher.farm.rules.mix import BufferOf
from watcher.limits.catalogue import Limit
from watcher.limits.check import Checked, Stands
from watcher.limits.downwind import per_field
from watcher.limits.farm_arrays import Bools, FarmArrays
from watcher.limits.status import LimitState
from watcher.weather.series import Floats

_NOTHING_LEFT = 0.01
"""A strip that leaves less than this share of a field leaves nothing to spray."""


@dataclass(frozen=True)
class LeftStrip:
    """Ground left unsprayed in a field beside one neighbour."""

    neighbour: str
    required_m: float
    gap_m: float
    """From the field to the neighbour, where they are nearest."""
    depth_m: float
    passes: int
    area_m2: float
    of: BufferOf
    """The buffer that asks for the most."""
    how: Arithmetic
    """How it comes to that."""
    gap_counted_m: float
    """So much of the gap may lie inside it."""


@dataclass(frozen=True)
class BufferArrays:
    """The strips of each pair of field and neighbour. [P, S], m; infinite: no spraying beside it"""

    plan: FarmArrays
    downwind_m: Floats
    """While the neighbour lies downwind."""
    always_m: Floats
    """Whichever way the wind blows."""
    asking: NDArray[np.object_]
    """The buffer that asks for the deepest strip; None without one."""
    required_m: Floats
    """What it asks for, after its reductions."""

    @classmethod
    def of(cls, plan: FarmArrays) -> "BufferArrays":
        """Work them out for every pair and setup; all of it is in the farm file."""
        shape = (plan.reach.pair_field.size, len(plan.setups))
        arrays = cls(
            plan,
            np.zeros(shape),
            np.zeros(shape),
            np.full(shape, None, dtype=object),
            np.zeros(shape),
        )
        for pair, (field, neighbour) in enumerate(pairs(plan)):
            found = [
                b
                for b in buffers_towards(plan.farm.config, field, neighbour)
                if b.buffer.force is not Force.ADVICE
            ]
            for one in found:
                arrays._put(pair, field, neighbour, one)
        return arrays

    def _put(self, pair: int, field: str, neighbour: str, of: BufferOf) -> None:
        config, buffer = self.plan.farm.config, of.buffer
        beside = config.neighbours[neighbour]
        gap = float(self.plan.reach.gap_m[pair].min())
        counted = gap_counted_m(buffer, gap, beside.between)
        for number, setup in enumerate(config.setups.values()):
            if not is_for(buffer, config.sprayers[setup.sprayer].kind):
                continue
            needed = required_m(buffer, proven(config, field, setup, beside))
            depth = np.inf if needed is None else 0.0 if gap >= needed else needed - counted
            lesser = 0.0
            if buffer.other_sides is not None and needed is not None:
                other = min(buffer.other_sides, needed)
                lesser = 0.0 if gap >= other else other - counted
            always = lesser if buffer.sides == "downwind" else depth
            at = pair, number
            if self.asking[at] is None or depth > self.downwind_m[at]:
                self.asking[at] = of
                self.required_m[at] = np.inf if needed is None else needed
            self.downwind_m[at] = max(self.downwind_m[at], depth)
            self.always_m[at] = max(self.always_m[at], always)

    @cached_property
    def asked(self) -> bool:
        """Whether any buffer protects any neighbour in reach."""
        return any(asks is not None for asks in self.asking.ravel().tolist())

    @cached_property
    def downwind_shuts(self) -> Bools:
        """Whether the strip downwind leaves nothing of the field. [P, S]"""
        return self._shuts(self.downwind_m)

    @cached_property
    def always_shuts(self) -> Bools:
        """Whether the strip on all sides leaves nothing of the field. [P, S]"""
        return self._shuts(self.always_m)

    def _shuts(self, depth_m: Floats) -> Bools:
        shut = np.isinf(depth_m)
        for pair, setup in np.argwhere((depth_m > 0) & ~shut).tolist():
            field = self.plan.farm.ground.area_m2(pairs(self.plan)[pair][0])
            left = self.area_m2(pair, float(depth_m[pair, setup]))
            shut[pair, setup] = field - left <= _NOTHING_LEFT * field
        return shut

    @cached_property
    def always_share(self) -> Floats:
        """The share of each field that is left unsprayed whichever way the wind blows. [F, S]

        None of it where that is all: such a field is not open, however long it would take.
        """
        share = np.zeros((len(self.plan.fields), self.always_m.shape[1]))
        own = np.argwhere((self.always_m > 0) & ~self.always_shuts)
        for f, setup in {(int(self.plan.reach.pair_field[p]), int(s)) for p, s in own}:
            strips = [
                self.ground(p, float(self.always_m[p, setup]))
                for p, s in own.tolist()
                if s == setup and self.plan.reach.pair_field[p] == f
            ]
            field = self.plan.farm.ground.area_m2(self.plan.fields[f])
            left_out = float(shapely.union_all(strips).area) / field
            share[f, setup] = left_out if left_out < 1.0 - _NOTHING_LEFT else 0.0
        return share

    def ground(self, pair: int, depth_m: float) -> BaseGeometry:
        """Return the ground of a strip of some depth beside the neighbour of a pair. [m]"""
        field, neighbour = pairs(self.plan)[pair]
        gap = float(self.plan.reach.gap_m[pair].min())
        return self.plan.farm.ground.beside(field, neighbour, gap + depth_m)

    def area_m2(self, pair: int, depth_m: float) -> float:
        """Return the ground of a strip of some depth beside the neighbour of a pair."""
        return float(self.ground(pair, depth_m).area)

    def strip(self, pair: int, setup: int, depth_m: float) -> LeftStrip:
        """Return a strip in words' reach: whose, how deep, how many passes, how much ground."""
        plan, config = self.plan, self.plan.farm.config
        boom = config.sprayers[config.setups[plan.setups[setup]].sprayer].boom_width
        finite = np.isfinite(depth_m)
        field, neighbour = pairs(plan)[pair]
        of, beside = self.asking[pair, setup], config.neighbours[neighbour]
        gap = float(plan.reach.gap_m[pair].min())
        rigged = config.setups[plan.setups[setup]]
        return LeftStrip(
            neighbour=neighbour,
            required_m=float(self.required_m[pair, setup]),
            gap_m=gap,
            depth_m=depth_m,
            passes=strip(required=depth_m, gap=0.0, boom_width=boom).passes if finite else 0,
            area_m2=self.area_m2(pair, depth_m) if finite else np.inf,
            of=of,
            how=arithmetic(of.buffer, proven(config, field, rigged, beside)),
            gap_counted_m=gap_counted_m(of.buffer, gap, beside.between),
        )


def pairs(plan: FarmArrays) -> list[tuple[str, str]]:
    """Return the names of field and neighbour of every pair within reach. [P]"""
    neighbours = list(plan.farm.config.neighbours)
    both = zip(plan.reach.pair_field.tolist(), plan.reach.pair_neighbour.tolist(), strict=True)
    return [(plan.fields[f], neighbours[n]) for f, n in both]


def strips_m(plan: FarmArrays, gap: Floats, known: Bools) -> Floats:
    """Return how deep a strip each pair leaves. [P, S, T], m; NaN where that hangs on the wind.

    ``gap`` [P, T] is the distance downwind, infinite where the neighbour does not lie there.
    """
    buffers = plan.buffers
    downwind = np.isfinite(gap)[:, None, :] & known
    hangs = ~known & (buffers.downwind_m > buffers.always_m)[:, :, None]
    depth = np.where(downwind, np.fmax(buffers.downwind_m, buffers.always_m)[:, :, None], 0.0)
    depth = np.maximum(depth, buffers.always_m[:, :, None])
    return np.where(hangs, np.nan, depth)


def buffer_limit(plan: FarmArrays, gap: Floats, known: Bools) -> Iterator[Checked]:
    """Yield the deepest strip each field leaves: near while something of it can be sprayed."""
    buffers = plan.buffers
    if not buffers.asked:
        return
    depth = strips_m(plan, gap, known)
    downwind = np.isfinite(gap)[:, None, :] & known
    shut = buffers.always_shuts[:, :, None] | (downwind & buffers.downwind_shuts[:, :, None])
    stand: Stands = np.where(depth > 0, LimitState.NEAR, LimitState.HOLDS).astype(np.int8)
    stand[np.isnan(depth)] = LimitState.UNKNOWN
    stand[np.broadcast_to(shut, stand.shape)] = LimitState.BROKEN
    worst = per_field(plan, np.minimum, stand, LimitState.HOLDS)
    deepest = per_field(plan, np.maximum, np.nan_to_num(depth, nan=0.0, posinf=np.inf), 0.0)
    value = np.where(worst == LimitState.UNKNOWN, np.nan, deepest)
    room = np.array([-1.0, np.nan, 0.0, np.inf])[worst]
    none = np.asarray(np.nan)
    yield Checked(Limit.NO_SPRAY, value, none, np.asarray(0.0), room, worst)
