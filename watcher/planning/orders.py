"""An order of fields for each sprayer, and the best hours for an order.

An order says what comes after what; when each job begins follows from it, by looking from the last
job backwards for the start that is worth most together with all that comes after.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from watcher.planning.choices import Choices
from watcher.weather.series import Floats

Order = tuple[tuple[int, ...], ...]
"""Fields of each sprayer, first to last. [K]"""
_LEAST_GAIN = 1e-9


@dataclass(frozen=True)
class Timed:
    """When an order's jobs begin, as indices of the starts, and what all of it is worth."""

    worth: float
    starts: tuple[tuple[int, ...], ...]


class Orders:
    """Orders of some choices, with the free starts worked out once."""

    def __init__(self, choices: Choices) -> None:
        self.choices = choices
        groups = len(choices.change_s)
        self._free = [choices.free(group) for group in range(groups)]

    def of_sprayer(self, sprayer: int, fields: Sequence[int]) -> tuple[float, tuple[int, ...]]:
        """Return what a sprayer's order is worth at its best starts, and these.

        Minus infinity where not all of it can be done.
        """
        choices, count = self.choices, len(self.choices.starts)
        ahead: Floats = np.zeros(count + 1)  # worth of what comes after, free from a start on
        best_from: list[NDArray[np.intp]] = []
        for place in range(len(fields) - 1, -1, -1):
            field = fields[place]
            after = fields[place + 1] if place + 1 < len(fields) else field
            free = self._free[choices.group[after]][sprayer, field]
            worth = choices.value[sprayer, field] + ahead[free]
            # The best start at or after each start: the maximum from the end on.
            best = np.maximum.accumulate(worth[::-1])[::-1]
            chosen = np.where(worth >= best, np.arange(count), count)
            chosen = np.minimum.accumulate(chosen[::-1])[::-1]
            best_from.append(chosen)
            ahead = np.append(best, -np.inf)
        worth_of_all = float(ahead[0]) if fields else 0.0
        if not np.isfinite(worth_of_all):
            return -np.inf, ()
        starts, at = [], 0
        for place, chosen in zip(range(len(fields)), reversed(best_from), strict=True):
            start = int(chosen[at])
            starts.append(start)
            if place + 1 < len(fields):
                free = self._free[choices.group[fields[place + 1]]]
                at = int(free[sprayer, fields[place], start])
        return worth_of_all, tuple(starts)

    def timed(self, order: Order) -> Timed:
        """Return an order at its best starts."""
        parts = [self.of_sprayer(k, fields) for k, fields in enumerate(order)]
        return Timed(sum(worth for worth, _ in parts), tuple(starts for _, starts in parts))

    def greedy(self) -> Order:
        """Return the order of whoever always takes what brings most an hour next."""
        choices = self.choices
        sprayers, fields, count = choices.value.shape
        left = np.ones(fields, dtype=bool)
        at, last = [0] * sprayers, [-1] * sprayers
        order: list[list[int]] = [[] for _ in range(sprayers)]
        waiting = set(range(sprayers))
        while waiting and left.any():
            k = min(waiting, key=lambda k: (at[k], k))
            now = choices.starts[at[k]] if at[k] < count else np.inf
            ready = np.full(fields, at[k])
            if last[k] >= 0:
                ready = np.array(
                    [self._free[g][k, last[k], at[k]] for g in range(len(self._free))]
                )[choices.group]
                now = choices.ends_s[k, last[k], at[k]]
            may = (np.arange(count) >= ready[:, None]) & left[:, None]
            spent = np.where(may, choices.ends_s[k] - now, 1.0)
            rate = np.where(may, choices.value[k], -np.inf) / spent
            field, start = np.unravel_index(int(np.argmax(rate)), rate.shape)
            if not np.isfinite(rate[field, start]):
                waiting.discard(k)
                continue
            order[k].append(int(field))
            left[field] = False
            at[k], last[k] = int(start), int(field)
        return tuple(tuple(fields) for fields in order)

    def improved(self, order: Order, passes: int) -> Order:
        """Return the order after moving fields while that gains, each in every place."""
        for _ in range(passes):
            before = order
            for field in range(self.choices.value.shape[1]):
                order = self._moved(order, field)
            if order == before:
                break
        return order

    def with_the_rest(self, order: Order) -> Order:
        """Return an order with the fields it leaves out, each where it gains most and fits."""
        there = {field for fields in order for field in fields}
        for field in range(self.choices.value.shape[1]):
            if field not in there:
                order = self._moved(order, field)
        return order

    def _moved(self, order: Order, field: int) -> Order:
        """Return the order with a field where it gains most, left out where it gains nothing."""
        bare = tuple(tuple(f for f in fields if f != field) for fields in order)
        worths = [self.of_sprayer(k, fields)[0] for k, fields in enumerate(bare)]
        stays = sum(self.of_sprayer(k, fields)[0] for k, fields in enumerate(order))
        best, found = (stays, order) if np.isfinite(stays) else (-np.inf, bare)
        if sum(worths) > best + _LEAST_GAIN:
            best, found = sum(worths), bare
        for k, fields in enumerate(bare):
            if not np.isfinite(self.choices.value[k, field]).any():
                continue
            for place in range(len(fields) + 1):
                tried = (*fields[:place], field, *fields[place:])
                worth = sum(worths) - worths[k] + self.of_sprayer(k, tried)[0]
                if worth > best + _LEAST_GAIN:
                    best, found = worth, (*bare[:k], tried, *bare[k + 1 :])
        return found
