"""An order of fields for each unit, and the best hours for an order.

A unit is a sprayer, or all that one driver has. An order says what comes after what; when each job
begins, and with which sprayer of the unit, follows from it, by looking from the last job backwards
for the start that is worth most together with all that comes after.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from watcher.planning.choices import Choices
from watcher.weather.series import Floats

Order = tuple[tuple[int, ...], ...]
"""Fields of each unit, first to last. [U]"""
Job = tuple[int, int]
"""A sprayer, and the index of a start."""
_LEAST_GAIN = 1e-9
_MOST_KEPT = 20_000
"""Ends of orders that are kept at once, of about a kilobyte a state each."""


@dataclass(frozen=True)
class Timed:
    """With what an order's jobs are done from when on, and what all of it is worth."""

    worth: float
    jobs: tuple[tuple[Job, ...], ...]


@dataclass(frozen=True)
class _Option:
    """A field with a sprayer in one state: what it is worth from each start. [B]"""

    sprayer: int
    state: int
    value: Floats


@dataclass(frozen=True)
class _Ahead:
    """What a field is worth with a sprayer in a state, with all that comes after it."""

    option: _Option
    worth: Floats
    """Begun at a start. [B]"""
    best: Floats
    """Begun at a start or later; minus infinity after the last one. [B + 1]"""


class Orders:
    """Orders of some choices; what is asked for again is worked out once."""

    def __init__(self, choices: Choices) -> None:
        self.choices = choices
        self._free: dict[tuple[int, int, int], NDArray[np.intp]] = {}
        self._ahead: dict[tuple[int, tuple[int, ...]], list[_Ahead]] = {}
        fields = range(len(choices.fields))
        self._options = [[self._of_field(unit, f) for f in fields] for unit in choices.driven]

    def _of_field(self, unit: Sequence[int], field: int) -> list[_Option]:
        found = []
        for k in unit:
            value, state = self.choices.value[k, field], self.choices.state[k, field]
            found += [
                _Option(k, int(g), np.where(state == g, value, -np.inf))
                for g in np.unique(state[np.isfinite(value)])
            ]
        return found

    def _after(self, sprayer: int, field: int, state: int) -> NDArray[np.intp]:
        key = sprayer, field, state
        if key not in self._free:
            self._free[key] = self.choices.free(*key)
        return self._free[key]

    def of_unit(self, unit: int, fields: Sequence[int]) -> tuple[float, tuple[Job, ...]]:
        """Return what a unit's order is worth at its best starts, and its jobs then.

        Minus infinity where not all of it can be done.
        """
        worth = self.worth(unit, fields)
        if not fields or not np.isfinite(worth):
            return worth, ()
        jobs, at = [], 0
        chosen = max(self._from(unit, tuple(fields)), key=lambda one: one.best[0])
        for place, field in enumerate(fields):
            k, start = chosen.option.sprayer, at + int(np.argmax(chosen.worth[at:]))
            jobs.append((k, start))
            later = self._from(unit, tuple(fields[place + 1 :]))
            if later:
                ready = [int(self._after(k, field, one.option.state)[start]) for one in later]
                at, chosen = max(
                    zip(ready, later, strict=True), key=lambda pair: pair[1].best[pair[0]]
                )
        return worth, tuple(jobs)

    def worth(self, unit: int, fields: Sequence[int]) -> float:
        """Return what a unit's order is worth at its best starts.

        Minus infinity where not all of it can be done.
        """
        if not fields:
            return 0.0
        ahead = self._from(unit, tuple(fields))
        return max((float(one.best[0]) for one in ahead), default=-np.inf)

    def _from(self, unit: int, fields: tuple[int, ...]) -> list[_Ahead]:
        """Return the first of some fields with all that comes after, in each state.

        Orders that are tried one after the other end alike: what an end is worth is kept.
        """
        if not fields:
            return []
        known = self._ahead.get((unit, fields))
        if known is None:
            after = self._from(unit, fields[1:])
            known = [
                self._with(option, fields[0], after if fields[1:] else None)
                for option in self._options[unit][fields[0]]
            ]
            if len(self._ahead) >= _MOST_KEPT:
                self._ahead.clear()
            self._ahead[unit, fields] = known
        return known

    def _with(self, option: _Option, field: int, after: Sequence[_Ahead] | None) -> _Ahead:
        worth = option.value
        if after is not None:
            ahead = [
                one.best[self._after(option.sprayer, field, one.option.state)] for one in after
            ]
            worth = worth + (np.max(ahead, axis=0) if ahead else -np.inf)
        best = np.full(len(worth) + 1, -np.inf)
        best[:-1] = np.maximum.accumulate(worth[::-1])[::-1]
        return _Ahead(option, worth, best)

    def timed(self, order: Order) -> Timed:
        """Return an order at its best starts."""
        parts = [self.of_unit(unit, fields) for unit, fields in enumerate(order)]
        return Timed(sum(worth for worth, _ in parts), tuple(jobs for _, jobs in parts))

    def greedy(self) -> Order:
        """Return the order of whoever always takes what brings most an hour next."""
        choices, units = self.choices, self.choices.driven
        left = np.ones(len(choices.fields), dtype=bool)
        at = [0] * len(units)
        last: list[tuple[int, int] | None] = [None] * len(units)
        order: list[list[int]] = [[] for _ in units]
        waiting = set(range(len(units)))
        while waiting and left.any():
            unit = min(waiting, key=lambda u: (at[u], u))
            best = max(
                (self._next(k, left, last[unit], at[unit]) for k in units[unit]),
                default=(-np.inf, 0, 0, 0),
            )
            rate, k, field, start = best
            if not np.isfinite(rate):
                waiting.discard(unit)
                continue
            order[unit].append(field)
            left[field] = False
            at[unit], last[unit] = start, (k, field)
        return tuple(tuple(fields) for fields in order)

    def _next(
        self, k: int, left: NDArray[np.bool_], last: tuple[int, int] | None, at: int
    ) -> tuple[float, int, int, int]:
        """Return the job with a sprayer that brings most an hour after a job: rate, k, f, b."""
        choices = self.choices
        now, ready = choices.starts[at], np.full(choices.state[k].shape, at)
        if last is not None:
            now = choices.ends_s[*last, at]
            first = np.zeros(len(choices.change_s), dtype=np.intp)
            for g in np.unique(choices.state[k]):
                first[g] = self._after(*last, int(g))[at]
            ready = first[choices.state[k]]
        may = (np.arange(len(choices.starts)) >= ready) & left[:, None]
        spent = np.where(may, choices.ends_s[k] - now, 1.0)
        rate = np.where(may, choices.value[k], -np.inf) / spent
        field, start = np.unravel_index(int(np.argmax(rate)), rate.shape)
        return float(rate[field, start]), k, int(field), int(start)

    def improved(self, order: Order, passes: int) -> Order:
        """Return the order after moving fields while that gains, each in every place."""
        for _ in range(passes):
            before = order
            for field in range(len(self.choices.fields)):
                order = self._moved(order, field)
            if order == before:
                break
        return order

    def with_the_rest(self, order: Order) -> Order:
        """Return an order with the fields it leaves out, each where it gains most and fits."""
        there = {field for fields in order for field in fields}
        for field in range(len(self.choices.fields)):
            if field not in there:
                order = self._moved(order, field)
        return order

    def _moved(self, order: Order, field: int) -> Order:
        """Return the order with a field where it gains most, left out where it gains nothing."""
        bare = tuple(tuple(f for f in fields if f != field) for fields in order)
        worths = [self.worth(unit, fields) for unit, fields in enumerate(bare)]
        stays = sum(self.worth(unit, fields) for unit, fields in enumerate(order))
        best, found = (stays, order) if np.isfinite(stays) else (-np.inf, bare)
        if sum(worths) > best + _LEAST_GAIN:
            best, found = sum(worths), bare
        for unit, fields in enumerate(bare):
            if not self._options[unit][field]:
                continue
            for place in range(len(fields) + 1):
                tried = (*fields[:place], field, *fields[place:])
                worth = sum(worths) - worths[unit] + self.worth(unit, tried)
                if worth > best + _LEAST_GAIN:
                    best, found = worth, (*bare[:unit], tried, *bare[unit + 1 :])
        return found
