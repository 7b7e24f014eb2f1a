"""What lies between two jobs of a driver: the way, the rinsing, other tips, another sprayer."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from watcher.farm import Farm
from watcher.farm.models import FarmFile, FieldPlan, Setup
from watcher.weather.series import Floats

Tank = tuple[str, ...]
Tips = tuple[object, ...]


@dataclass(frozen=True)
class SprayerState:
    """A sprayer in a job: where it is, what is in its tank, which tips are on."""

    sprayer: str
    place: int
    tank: Tank
    setup: str
    """A setup with the tips that are on; empty where they are not known."""


def tank_of(field: FieldPlan) -> Tank:
    """Return what is in the tank for a field; its window stands in where no products are named."""
    return field.products or (field.window,)


def tips_of(setup: Setup) -> Tips:
    """Return what tells the tips of setups apart: nozzle, size, listed name and droplets."""
    return setup.nozzle, setup.nozzle_size, setup.listed_nozzle, setup.droplets


def tips_s(config: FarmFile, on: str, wanted: str) -> float:
    """Return how long it takes from the tips of a setup to those of another of its sprayer. [s]

    What is not known costs nothing.
    """
    setups = config.setups
    if not {on, wanted} <= setups.keys() or tips_of(setups[on]) == tips_of(setups[wanted]):
        return 0.0
    return config.sprayers[setups[wanted].sprayer].tips_changed_in(wanted)


class BetweenJobs:
    """The states that sprayers are in on a farm, and what lies between them."""

    def __init__(self, farm: Farm, fields: Sequence[str]) -> None:
        self._config = farm.config
        self._ways = _Ways(farm, fields)
        self._numbers: dict[tuple[str, int, Tank, Tips | None], int] = {}
        self._states: list[SprayerState] = []

    def state(self, sprayer: str, field: str, setup: str) -> int:
        """Return the number of the state that a sprayer is in during a job."""
        known = self._config.setups.get(setup)
        place, tank = self._ways.place[field], tank_of(self._config.fields[field])
        key = sprayer, place, tank, None if known is None else tips_of(known)
        if key not in self._numbers:
            self._numbers[key] = len(self._states)
            self._states.append(SprayerState(sprayer, place, tank, "" if known is None else setup))
        return self._numbers[key]

    @property
    def change_s(self) -> Floats:
        """From the end of a job in one state until a job in another can begin. [G, G]

        What is in the tank of a sprayer that another was driven before, and which tips it has on,
        is not remembered: where it may be something else, that counts as if it were.
        """
        planning, every = self._config.planning, self._states
        sprayer, tank = (_numbered([getattr(s, key) for s in every]) for key in ("sprayer", "tank"))
        place = np.array([state.place for state in every])
        same = sprayer[:, None] == sprayer
        rinse_s = planning.clean_out * (tank[:, None] != tank)
        setups = list(dict.fromkeys(state.setup for state in every))
        tips = np.array([[tips_s(self._config, a, b) for b in setups] for a in setups])
        on = np.array([setups.index(state.setup) for state in every])
        changes_s = np.where(same, rinse_s + tips[on[:, None], on], 0.0)
        standing_s = np.where(same, rinse_s, 0.0).max(axis=0)
        standing_s += np.where(same, tips[on[:, None], on], 0.0).max(axis=0)
        changes_s += np.where(same, 0.0, planning.other_sprayer + standing_s)
        return np.asarray(self._ways.way_s[place[:, None], place] + changes_s)


def _numbered(values: Sequence[object]) -> NDArray[np.intp]:
    """Return the number of each value, alike for those that are alike."""
    numbers: dict[object, int] = {}
    return np.array([numbers.setdefault(value, len(numbers)) for value in values], dtype=np.intp)


class _Ways:
    """Places of fields that lie together, and the ways between them."""

    def __init__(self, farm: Farm, fields: Sequence[str]) -> None:
        config = farm.config.planning
        middles = np.array([[c.x, c.y] for c in (farm.ground.fields[f].centroid for f in fields)])
        apart = np.hypot(*(middles[:, None] - middles).T)
        given = {
            frozenset(way.between): _takes(way.takes, way.distance, config.road_speed)
            for way in config.ways
        }
        members: list[list[int]] = []
        for f, name in enumerate(fields):  # joined to the first place that is near enough
            for place in members:
                near = apart[place[0], f] <= config.together
                if near and not any(frozenset((name, fields[m])) in given for m in place):
                    place.append(f)
                    break
            else:
                members.append([f])
        self.place: Mapping[str, int] = {
            fields[f]: number for number, place in enumerate(members) for f in place
        }
        """The place of each field."""
        heads = [place[0] for place in members]
        self.way_s = config.detour * apart[np.ix_(heads, heads)] / config.road_speed
        """Between places; what is entered takes the place of the straight line. [P, P]"""
        entered: dict[tuple[int, int], float] = {}
        for ends, takes_s in given.items():
            if ends <= self.place.keys():
                one, other = sorted(self.place[name] for name in ends)
                entered[one, other] = min(takes_s, entered.get((one, other), np.inf))
        for (one, other), takes_s in entered.items():
            self.way_s[one, other] = self.way_s[other, one] = takes_s


def _takes(takes_s: float | None, distance_m: float | None, speed_m_s: float) -> float:
    return takes_s if takes_s is not None else (distance_m or 0.0) / speed_m_s
