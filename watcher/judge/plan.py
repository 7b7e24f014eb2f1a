"""The farm as arrays, made once: what every judgement of it reads.

Axes: F fields, K kinds of field, S setups, P pairs of a field and a neighbour within reach.
"""

from collections.abc import Hashable
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from watcher.farm import Farm
from watcher.farm.bearings import Reach, reach
from watcher.farm.limits import limits_for
from watcher.farm.models import (
    Downwind,
    DropletClass,
    FieldPlan,
    NozzleKind,
    Susceptibility,
    WeedPressure,
    Window,
)
from watcher.farm.nearness import stations_by_field
from watcher.judge.application import planned_duration
from watcher.judge.bounds import BoundArrays, bounds_by_limit
from watcher.judge.control import control_loss
from watcher.judge.status import Limit
from watcher.weather.drift import upper_bearings
from watcher.weather.series import Floats, WeatherSeries

Bools = NDArray[np.bool_]
N = TypeVar("N", bound=np.generic)


# Where the user has no tested figure; air induction at low pressure (common practice, no source).
_REDUCTION_PCT = {
    NozzleKind.FLAT_FAN: 0.0,
    NozzleKind.PRE_ORIFICE: 50.0,
    NozzleKind.TURBULENCE_CHAMBER: 50.0,
    NozzleKind.AIR_INDUCTION: 75.0,
}


@dataclass(frozen=True)
class Plan:
    """Everything about the farm the judgement needs, as arrays."""

    farm: Farm
    fields: tuple[str, ...]
    setups: tuple[str, ...]
    windows: tuple[Window, ...]
    """Each field's window with its own limits merged in. [F]"""
    reach: Reach

    @classmethod
    def of(cls, farm: Farm) -> "Plan":
        """Lay out a farm that passed its checks."""
        told = farm.told
        furthest = max((n.no_spray_distance for n in told.neighbours.values()), default=0.0)
        return cls(
            farm=farm,
            fields=tuple(told.fields),
            setups=tuple(told.setups),
            windows=tuple(
                limits_for(told.windows[f.window], f.limits) for f in told.fields.values()
            ),
            reach=reach(farm.ground, max(told.judging.reach, furthest)),
        )

    @cached_property
    def listens(self) -> dict[tuple[str, ...], tuple[str, ...]]:
        """Which fields listen to the stations in which order; the most fields' order first."""
        fields: dict[tuple[str, ...], tuple[str, ...]] = {}
        for field, stations in stations_by_field(self.farm).items():
            fields[stations] = (*fields.get(stations, ()), field)
        return dict(sorted(fields.items(), key=lambda item: -len(item[1])))

    def hears(self, field: str) -> tuple[str, ...]:
        """Return the stations that speak for a field, in their order."""
        return next(stations for stations, fields in self.listens.items() if field in fields)

    @property
    def _told(self) -> list[FieldPlan]:
        return [self.farm.told.fields[name] for name in self.fields]

    @cached_property
    def kind(self) -> NDArray[np.intp]:
        """Which kind each field is of, numbered in the order of their first fields. [F]

        To the limits fields of one kind differ in size and place only: a limit that asks for
        neither is checked once for all of them.
        """
        seen: dict[tuple[Hashable, ...], int] = {}
        asked = zip(self.windows, self._told, strict=True)
        return np.array(
            [seen.setdefault((w, f.canopy, f.target, f.weeds), len(seen)) for w, f in asked]
        )

    @cached_property
    def kinds(self) -> "Plan":
        """The first field of each kind [K], without its neighbours."""
        firsts = np.unique(self.kind, return_index=True)[1].tolist()
        told = self.reach
        return replace(
            self,
            fields=tuple(self.fields[f] for f in firsts),
            windows=tuple(self.windows[f] for f in firsts),
            reach=Reach(
                told.pair_field[:0], told.pair_neighbour[:0], told.gap_m[:0], told.width_m[firsts]
            ),
        )

    def of_fields(self, judged: NDArray[N]) -> NDArray[N]:
        """Hand out to the fields [F, S, T] what was judged once for each kind [K, S, T].

        What has a row for every field already, or one for all of them, stays as it is; where
        there are as many kinds as fields, they are the fields.
        """
        by_kind = judged.ndim == 3 and len(judged) == len(self.kinds.fields) < len(self.fields)
        return judged[self.kind] if by_kind else judged

    @cached_property
    def bounds(self) -> dict[Limit, BoundArrays]:
        """Bounds of every measured limit that at least one field has. [F] each"""
        return bounds_by_limit(self.windows, self.farm.told.judging)

    @cached_property
    def calm_top_m_s(self) -> Floats:
        """Upper end of the calm band. [F], m/s"""
        return self.bounds[Limit.WIND].high * self.farm.told.judging.calm_share

    @cached_property
    def allowed(self) -> Bools:
        """Which setups may be used on which field. [F, S]"""
        told = self._told
        return np.array([[not f.setups or s in f.setups for s in self.setups] for f in told])

    @cached_property
    def canopy_m(self) -> Floats:
        """Canopy height. [F], m"""
        return np.array([f.canopy for f in self._told])

    @cached_property
    def boom_m(self) -> Floats:
        """Boom height above the canopy. [S], m"""
        told = self.farm.told
        return np.array([told.sprayers[s.sprayer].boom_height for s in told.setups.values()])

    @cached_property
    def speed_m_s(self) -> Floats:
        """Forward speed. [S], m/s"""
        told = self.farm.told
        return np.array([told.sprayers[s.sprayer].speed for s in told.setups.values()])

    @cached_property
    def drift_reduction(self) -> Floats:
        """Share of the reference drift avoided, as told or by nozzle kind. [S], 0 to 1"""
        told = (
            _REDUCTION_PCT[s.nozzle] if s.drift_reduction is None else s.drift_reduction
            for s in self.farm.told.setups.values()
        )
        return np.array([percent / 100.0 for percent in told])

    @cached_property
    def duration_s(self) -> Floats:
        """Planned duration of the whole job: area over work rate, plus fills. [F, S], s"""
        told, ground = self.farm.told, self.farm.ground
        return np.array(
            [
                [
                    planned_duration(
                        area_m2=ground.area_m2(field),
                        sprayer=told.sprayers[setup.sprayer],
                        carrier_l_ha=setup.carrier,
                    )
                    for setup in told.setups.values()
                ]
                for field in self.fields
            ]
        )

    @cached_property
    def droplets(self) -> NDArray[np.int8]:
        """Droplet class. [S]"""
        return np.array([s.droplets for s in self.farm.told.setups.values()], dtype=np.int8)

    @cached_property
    def least_droplets(self) -> NDArray[np.int8]:
        """Least droplet class of the window. [F]"""
        rules = (w.droplets for w in self.windows)
        return np.array(
            [DropletClass.EXTREMELY_FINE if r is None else r.low for r in rules], np.int8
        )

    @cached_property
    def least_droplets_in_marginal_wind(self) -> NDArray[np.int8]:
        """Least droplet class in the marginal band. [F]"""
        return np.array([w.droplets_in_marginal_wind.low for w in self.windows], dtype=np.int8)

    @cached_property
    def tolerates_possible_inversion(self) -> Bools:
        """Whether a possible inversion leaves the field open at all. [F]"""
        return np.array([w.inversion.tolerate == "possible" for w in self.windows])

    @cached_property
    def loss_pct(self) -> Floats:
        """Loss of weed control, upper estimate. [F, S], %"""
        setups = self.farm.told.setups.values()
        return np.array(
            [[control_loss(s.droplets, s.carrier, f.target)[1] for s in setups] for f in self._told]
        )

    @cached_property
    def loss_tolerated_pct(self) -> Floats:
        """Loss of weed control the field stands. [F], %"""
        loss = self.farm.told.judging.control_loss
        by_pressure = {
            WeedPressure.CLEAN: loss.clean,
            WeedPressure.MODERATE: loss.moderate,
            WeedPressure.WEEDY: loss.weedy,
        }
        return np.array([by_pressure[f.weeds] for f in self._told])

    @cached_property
    def pair_susceptibility(self) -> tuple[Susceptibility, ...]:
        """How susceptible the neighbour of each pair is. [P]"""
        neighbours = list(self.farm.told.neighbours.values())
        return tuple(neighbours[n].susceptibility for n in self.reach.pair_neighbour)

    @cached_property
    def pair_in_reach(self) -> Bools:
        """Pairs near enough for the wind-direction rule; a no-spray distance may go further. [P]"""
        within: Bools = self.reach.gap_m.min(axis=1) <= self.farm.told.judging.reach
        return within

    @cached_property
    def pair_rule(self) -> tuple[Downwind, ...]:
        """What wind towards the neighbour the field's window allows. [P]"""
        rules = []
        for field, kind in zip(self.reach.pair_field, self.pair_susceptibility, strict=True):
            rule = self.windows[field].neighbours
            rules.append(
                {
                    Susceptibility.TOLERANT: Downwind.ANY,
                    Susceptibility.SUSCEPTIBLE: rule.susceptible,
                    Susceptibility.VERY_SUSCEPTIBLE: rule.very_susceptible,
                }[kind]
            )
        return tuple(rules)

    @cached_property
    def pair_no_spray_m(self) -> Floats:
        """The label's downwind no-spray distance of each pair. [P], m"""
        neighbours = list(self.farm.told.neighbours.values())
        return np.array([neighbours[n].no_spray_distance for n in self.reach.pair_neighbour])

    @cached_property
    def pair_tolerance_pct(self) -> Floats:
        """Deposit each pair's neighbour stands; infinite for tolerant ones. [P], % of field rate"""
        by_kind = self.farm.told.judging.tolerable_deposit
        defaults = {
            Susceptibility.TOLERANT: np.inf,
            Susceptibility.SUSCEPTIBLE: by_kind.susceptible,
            Susceptibility.VERY_SUSCEPTIBLE: by_kind.very_susceptible,
        }
        neighbours = list(self.farm.told.neighbours.values())
        told = (neighbours[n].tolerable_deposit for n in self.reach.pair_neighbour)
        kinds = self.pair_susceptibility
        return np.array([defaults[k] if t is None else t for t, k in zip(told, kinds, strict=True)])

    @cached_property
    def upper_along(self) -> NDArray[np.float32]:
        """The upper drift curve laid along every bearing of each pair. [P, 360], %"""
        reach = self.reach
        width = reach.width_m[reach.pair_field]
        return upper_bearings(gap_m=reach.gap_m, width_m=width).astype(np.float32)

    def spread_deg(self, series: WeatherSeries) -> Floats:
        """The direction's standard deviation, the farm's default where a source gives none. [T]"""
        default = self.farm.told.judging.direction_spread
        return np.where(np.isnan(series.wind_spread_deg), default, series.wind_spread_deg)

    @cached_property
    def needs_calm(self) -> Bools:
        """Fields that need the calm hours: weedy, or beside something susceptible. [F]"""
        weedy = [f.weeds is WeedPressure.WEEDY for f in self._told]
        return np.array(weedy) | self.beside_susceptible

    @cached_property
    def beside_susceptible(self) -> Bools:
        """Fields with a susceptible or very susceptible neighbour within reach. [F]"""
        beside = np.zeros(len(self.fields), dtype=bool)
        tolerant = [kind is Susceptibility.TOLERANT for kind in self.pair_susceptibility]
        beside[self.reach.pair_field[self.pair_in_reach & ~np.array(tolerant, dtype=bool)]] = True
        return beside
