"""What a plan may choose from, as arrays: each field with each sprayer at each start.

Axes: K sprayers, F fields, B starts, G states: a sprayer at a place, with something in its tank and
tips on. Nothing has to be changed between jobs of one state.
"""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from watcher.weather.series import Floats, Seconds

BROKEN_COSTS = 0.25
"""A job that breaks off costs this share of what a finished one is worth: product, time and a
second visit (a choice)."""
LATER_COSTS_AN_HOUR = 0.002
"""Of two hours alike the earlier one is taken."""


def worth_by_chance(worth: Floats | float, chance: Floats | float) -> Floats:
    """Return what jobs are worth by the chance that they hold, or by whether they held (1 or 0)."""
    return np.asarray(worth * (chance - BROKEN_COSTS * (1.0 - chance)))


@dataclass(frozen=True)
class Choices:
    """Jobs that may be planned."""

    sprayers: tuple[str, ...]
    fields: tuple[str, ...]
    starts: Seconds
    """Epoch seconds, growing. The first is now. [B]"""
    chance: Floats
    """That a job holds to its end; NaN where not known, 0 where it may not be done. [K, F, B]"""
    duration_s: Floats
    """[K, F, B]"""
    worth: Floats
    """What a field is worth when it is sprayed at a start; of a part so much less. [K, F, B]"""
    state: NDArray[np.intp]
    """The state a sprayer is in during a job; no two sprayers have one in common. [K, F, B]"""
    change_s: Floats
    """From the end of a job in one state until a job in another can begin. [G, G]"""
    units: tuple[tuple[int, ...], ...] = ()
    """Sprayers that are never at work at once, as one driver has them; each alone when empty."""

    @cached_property
    def value(self) -> Floats:
        """What a job is worth by its chance; minus infinity where it may not be planned. [K, F, B]

        A plan's expected worth is the sum over its jobs, so that no copies of scenarios are needed.
        """
        chance = np.nan_to_num(self.chance, nan=0.0)
        gained = worth_by_chance(self.worth, chance)
        gained = gained - LATER_COSTS_AN_HOUR * (self.starts - self.starts[0]) / 3600.0
        return np.where(gained > 0.0, gained, -np.inf)

    @cached_property
    def ends_s(self) -> Floats:
        """When a job is over. [K, F, B]"""
        return self.starts + self.duration_s

    @cached_property
    def driven(self) -> tuple[tuple[int, ...], ...]:
        """The units; what is in none of them stands still."""
        return self.units or tuple((k,) for k in range(len(self.sprayers)))

    def free(self, sprayer: int, field: int, after: int) -> NDArray[np.intp]:
        """Return the first start for a job in a state after a job from each start. [B]

        B where there is none.
        """
        ready = self.ends_s[sprayer, field] + self.change_s[self.state[sprayer, field], after]
        return np.asarray(np.searchsorted(self.starts, ready), dtype=np.intp)

    def without(self, barred: NDArray[np.bool_]) -> "Choices":
        """Return the choices less what is barred. [K, F, B]"""
        return replace(self, chance=np.where(barred, 0.0, self.chance))

    def only(self, sprayers: NDArray[np.intp]) -> "Choices":
        """Return the choices of some of the sprayers, each alone."""
        return replace(
            self,
            sprayers=tuple(self.sprayers[k] for k in sprayers),
            chance=self.chance[sprayers],
            duration_s=self.duration_s[sprayers],
            worth=self.worth[sprayers],
            state=self.state[sprayers],
            units=(),
        )
