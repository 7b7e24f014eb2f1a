"""The farm as arrays, made once: what every judgement of it reads.

Axes: F fields, K kinds of field, S setups, P pairs of a field and a neighbour within reach.
"""

import dataclasses
from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, TypeVar

import numpy as np
from numpy.typing import NDArray

from watcher.farm import Farm
from watcher.farm.field_limits import limits_for
from watcher.farm.field_rules import buffers_of, rules_of
from watcher.farm.geometry.bearings import Reach, reach
from watcher.farm.models import (
    Downwind,
    DropletClass,
    DropletRule,
    FarmFile,
    FieldPlan,
    Neighbour,
    Setup,
    SprayerKind,
    Susceptibility,
    WeedPressure,
    Window,
)
from watcher.farm.origin import Force, Origin
from watcher.farm.rules.calendar import ClockRule
from watcher.farm.rules.equipment import DirectionBan
from watcher.farm.rules.mix import RuleOf
from watcher.farm.rules.weather import (
    CalmDutyRule,
    DayHighRule,
    InversionBan,
    RainAheadRule,
    SoilRule,
)
from watcher.farm.station_selection import stations_by_field
from watcher.limits.application import planned_duration
from watcher.limits.bound_arrays import BoundArrays, bounds_by_limit
from watcher.limits.catalogue import Limit
from watcher.limits.retardants import class_for_own_rules, covering_class, drift_left
from watcher.limits.weed_control import LostControl, control_loss
from watcher.weather.drift import swung, upper_bearings
from watcher.weather.series import Floats, WeatherSeries
from watcher.weather.spray_quality import SprayDrift
from watcher.weather.wind_profile import BLENDING_M, Surface, layer_height

if TYPE_CHECKING:
    from watcher.limits.buffers import BufferArrays

Bools = NDArray[np.bool_]
N = TypeVar("N", bound=np.generic)


def _of_rules(name: str, field: FieldPlan, rules: Iterable[RuleOf]) -> tuple[Hashable, ...]:
    """What of a field its rules are judged by."""
    alone = any(
        isinstance(r.rule, RainAheadRule | InversionBan | CalmDutyRule)
        or (isinstance(r.rule, ClockRule) and r.rule.binds == "end")
        for r in rules
    )
    stages = tuple(sorted(field.stages.items()))
    soil = (field.soil, field.soil_on)
    # By how long its job takes or what its operator found: by nothing it shares with others.
    own = name if alone else None
    return (field.products, field.planted, stages, field.stages_on, field.points, soil, own)


def _furthest_m(config: FarmFile) -> float:
    """How far the furthest rule or buffer of a farm looks for neighbours. [m]"""
    far = [n.no_spray_distance for n in config.neighbours.values()]
    for field in config.fields:
        for _, buffer in buffers_of(config, field):
            far += [row.base for row in buffer.table]
            far.append(buffer.base or 0.0)
        for _, rule in rules_of(config, field):
            if isinstance(rule, DirectionBan) and rule.nearness != "adjacent":
                far.append(rule.nearness)
    return max(far, default=0.0)


def _bans(rule: DirectionBan, neighbour: Neighbour, gap_m: float) -> bool:
    """Whether a rule bans wind towards a neighbour so far off."""
    if not set(rule.towards) & set(neighbour.kinds):
        return False
    if rule.nearness == "adjacent":
        return neighbour.adjacent is not False
    return bool(gap_m <= rule.nearness)


@dataclass(frozen=True)
class FarmArrays:
    """Everything about the farm the judgement needs, as arrays."""

    farm: Farm
    fields: tuple[str, ...]
    setups: tuple[str, ...]
    windows: tuple[Window, ...]
    """Each field's window with its own limits merged in. [F]"""
    reach: Reach
    left: Mapping[str, float] = dataclasses.field(default_factory=dict)
    """Of fields sprayed in part, the share that is still to be sprayed: jobs are of that."""
    pumped_min: float = np.inf
    """For how long what is in the tanks has been going round; unless given, longer than any drift
    retardant that the pump wears is worth counting on. [min]"""

    @classmethod
    def of(cls, farm: Farm) -> "FarmArrays":
        """Lay out a farm that passed its checks."""
        config = farm.config
        return cls(
            farm=farm,
            fields=tuple(config.fields),
            setups=tuple(config.setups),
            windows=tuple(
                limits_for(config.windows[f.window], f.limits) for f in config.fields.values()
            ),
            reach=reach(farm.ground, max(config.judging.reach, _furthest_m(config))),
        )

    def only(self, fields: Sequence[str]) -> "FarmArrays":
        """Return the plan of some of the fields, in its own order."""
        kept = np.array([f for f, name in enumerate(self.fields) if name in fields], np.intp)
        if kept.size == len(self.fields):
            return self
        reach = self.reach
        pairs = np.isin(reach.pair_field, kept)
        return replace(
            self,
            fields=tuple(self.fields[f] for f in kept),
            windows=tuple(self.windows[f] for f in kept),
            reach=Reach(
                np.searchsorted(kept, reach.pair_field[pairs]),
                reach.pair_neighbour[pairs],
                reach.gap_m[pairs],
                reach.width_m[kept],
            ),
        )

    def leaving(self, left: Mapping[str, float]) -> "FarmArrays":
        """Return the plan whose jobs are of what is left of some fields; the last one is kept."""
        if left == self.left:
            return self
        key = tuple(sorted(left.items()))
        if key not in self._partly:
            self._partly.clear()
            self._partly[key] = replace(self, left=dict(left))
        return self._partly[key]

    @cached_property
    def _partly(self) -> dict[tuple[tuple[str, float], ...], "FarmArrays"]:
        return {}

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
    def _setups(self) -> list[Setup]:
        return list(self.farm.config.setups.values())

    @property
    def _plans(self) -> list[FieldPlan]:
        return [self.farm.config.fields[name] for name in self.fields]

    @cached_property
    def kind(self) -> NDArray[np.intp]:
        """Which kind each field is of, numbered in the order of their first fields. [F]

        To the limits fields of one kind differ in size (within a factor of four) and place only: a
        limit that asks for neither is checked once for all of them.
        """
        seen: dict[tuple[Hashable, ...], int] = {}
        asked = zip(
            self.fields, self.windows, self._plans, self.rules, self.layer_m.tolist(), strict=True
        )
        return np.array(
            [
                seen.setdefault(
                    (w, f.canopy, layer, f.target, f.weeds, *_of_rules(name, f, rules)), len(seen)
                )
                for name, w, f, rules, layer in asked
            ]
        )

    @cached_property
    def kinds(self) -> "FarmArrays":
        """The first field of each kind [K], without its neighbours."""
        firsts = np.unique(self.kind, return_index=True)[1].tolist()
        reach = self.reach
        return replace(
            self,
            fields=tuple(self.fields[f] for f in firsts),
            windows=tuple(self.windows[f] for f in firsts),
            reach=Reach(
                reach.pair_field[:0],
                reach.pair_neighbour[:0],
                reach.gap_m[:0],
                reach.width_m[firsts],
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
    def rules(self) -> tuple[tuple[RuleOf, ...], ...]:
        """Every field's rules: of law, its window and what is in its tank. [F]"""
        return tuple(rules_of(self.farm.config, name) for name in self.fields)

    @cached_property
    def rules_look_ahead_s(self) -> float:
        """How far beyond the end of a job the rules of any field look. [s]"""
        ahead = [0.0]
        for _, rule in (rule_of for rules in self.rules for rule_of in rules):
            match rule:
                case RainAheadRule(within=within):
                    ahead.append(within)
                case SoilRule(with_rain_within=within) if within is not None:
                    ahead.append(within)
                case DayHighRule(day=day):
                    ahead.append(86_400.0 if day == "same day" else 2 * 86_400.0)
        return max(ahead)

    @cached_property
    def bounds(self) -> dict[Limit, BoundArrays]:
        """Bounds of every measured limit that at least one field has. [F] each"""
        return bounds_by_limit(self.windows, self.farm.config.judging)

    @cached_property
    def allowed(self) -> Bools:
        """Which setups may be used on which field. [F, S]"""
        fields = self._plans
        return np.array([[not f.setups or s in f.setups for s in self.setups] for f in fields])

    @cached_property
    def canopy_m(self) -> Floats:
        """Canopy height. [F], m"""
        return np.array([f.canopy for f in self._plans])

    @cached_property
    def layer_m(self) -> Floats:
        """How high over each field the wind is the field's own. [F], m

        Of half a square field's width, in steps of a factor of two, so that fields of about one
        size stay of one kind: a step is worth 5 % of the wind over a crop of 0.9 m.
        """
        area = np.array([self.farm.ground.area_m2(name) for name in self.fields])
        over = Surface.of_canopy(self.canopy_m)
        height = layer_height(fetch_m=0.5 * np.sqrt(area), over=over)
        return np.asarray(BLENDING_M * 2.0 ** np.round(np.log2(height / BLENDING_M)))

    @cached_property
    def surface(self) -> Surface:
        """What the wind blows over on each field. [F] each"""
        return Surface.of_canopy(self.canopy_m)

    @cached_property
    def boom_m(self) -> Floats:
        """Boom height above the canopy. [S], m"""
        config = self.farm.config
        return np.array([config.sprayers[s.sprayer].boom_height for s in config.setups.values()])

    @cached_property
    def speed_m_s(self) -> Floats:
        """Forward speed. [S], m/s"""
        config = self.farm.config
        return np.array([config.sprayers[s.sprayer].speed for s in config.setups.values()])

    @cached_property
    def spray_drift(self) -> SprayDrift:
        """How hard each setup's spray drifts against the reference nozzle. [S]

        By its tested reduction or its droplet class, with what a retardant saves.
        """
        tested = [np.nan if s.drift_reduction is None else s.drift_reduction for s in self._setups]
        return SprayDrift.of(droplets=self.droplets, reduction=np.array(tested) / 100.0).times(
            [drift_left(s, pumped_min=self.pumped_min) for s in self._setups]
        )

    @cached_property
    def duration_s(self) -> Floats:
        """Planned duration of the whole job, or of what is left: area over work rate, plus fills.

        [F, S], s
        """
        config = self.farm.config
        return np.array(
            [
                [
                    planned_duration(
                        area_m2=float(area_m2),
                        sprayer=config.sprayers[setup.sprayer],
                        carrier_l_ha=setup.carrier,
                    )
                    for setup, area_m2 in zip(config.setups.values(), row, strict=True)
                ]
                for row in self.to_spray_m2
            ]
        )

    @cached_property
    def to_spray_m2(self) -> Floats:
        """The ground a job sprays: a field, or what is left of it, less some strips. [F, S], m2

        Those that stay unsprayed whichever way the wind blows; what the wind of the hour asks for
        is known on the day only.
        """
        ground = self.farm.ground
        area = np.array([ground.area_m2(f) * self.left.get(f, 1.0) for f in self.fields])
        return area[:, None] * (1.0 - self.buffers.always_share)

    @cached_property
    def sprayer_kinds(self) -> tuple[SprayerKind, ...]:
        """The kind of each setup's sprayer. [S]"""
        sprayers = self.farm.config.sprayers
        return tuple(sprayers[s.sprayer].kind for s in self._setups)

    @cached_property
    def drift_estimated(self) -> Bools:
        """Setups whose drift published curves tell of at all. [S]"""
        return np.array([kind.has_boom for kind in self.sprayer_kinds], dtype=bool)

    @cached_property
    def hood_not_counted(self) -> Bools:
        """Setups under a hood whose drift is that of an open boom, as nothing tested is given. [S]

        What a hood saves hangs on its make, the droplets and the distance: up to 86 % of fine and
        56 % of medium drops within 31 m, nothing of coarser ones (Foster et al. 2018, as
        summarised). No share of that is safe to count on for a hood nobody has tested.
        """
        return np.array(
            [
                kind is SprayerKind.HOODED_BOOM and setup.drift_reduction is None
                for kind, setup in zip(self.sprayer_kinds, self._setups, strict=True)
            ],
            dtype=bool,
        )

    @cached_property
    def droplets(self) -> NDArray[np.int8]:
        """Droplet class of the nozzles. [S]"""
        return np.array([s.droplets for s in self._setups], dtype=np.int8)

    @cached_property
    def droplets_for_own_rules(self) -> NDArray[np.int8]:
        """Droplet class with what a retardant makes of it, for minima of the grower's own. [S]"""
        own = [class_for_own_rules(s, pumped_min=self.pumped_min) for s in self._setups]
        return np.array(own, dtype=np.int8)

    def droplets_for(self, rules: Iterable[DropletRule | None]) -> NDArray[np.int8]:
        """Return the droplet class that each field's rule is held against. [F, S]"""
        return np.array(
            [
                self.droplets_for_own_rules
                if rule is not None and rule.origin in {Origin.OWN, Origin.DEFAULT}
                else self.droplets
                for rule in rules
            ]
        )

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
    def losses(self) -> tuple[tuple[LostControl, ...], ...]:
        """Loss of weed control of every field with every setup. [F][S]"""
        config = self.farm.config
        own = config.judging.loss_by_mode
        tanks = [
            [config.products[p] for p in f.products if p in config.products] for f in self._plans
        ]
        modes = [[p.mode for p in tank if p.retardant is None] for tank in tanks]
        return tuple(
            tuple(
                control_loss(covering_class(s), s.carrier, f.target, m, own) for s in self._setups
            )
            for f, m in zip(self._plans, modes, strict=True)
        )

    @cached_property
    def loss_pct(self) -> Floats:
        """Loss of weed control, upper estimate. [F, S], %"""
        return np.array([[loss.high_pct for loss in losses] for losses in self.losses])

    @cached_property
    def loss_tolerated_pct(self) -> Floats:
        """Loss of weed control the field stands. [F], %"""
        loss = self.farm.config.judging.control_loss
        by_pressure = {
            WeedPressure.CLEAN: loss.clean,
            WeedPressure.MODERATE: loss.moderate,
            WeedPressure.WEEDY: loss.weedy,
        }
        return np.array([by_pressure[f.weeds] for f in self._plans])

    def loss_origin(self, field: int) -> Origin:
        """Return whose the loss is that a field stands."""
        return Origin.of_key(self.farm.config.judging.control_loss, self._plans[field].weeds.value)

    @cached_property
    def pair_susceptibility(self) -> tuple[Susceptibility, ...]:
        """How susceptible the neighbour of each pair is. [P]"""
        neighbours = list(self.farm.config.neighbours.values())
        return tuple(neighbours[n].susceptibility for n in self.reach.pair_neighbour)

    @cached_property
    def pair_in_reach(self) -> Bools:
        """Pairs near enough for the wind-direction rule; a no-spray distance may go further. [P]"""
        within: Bools = self.reach.gap_m.min(axis=1) <= self.pair_reach_m
        return within

    @cached_property
    def pair_reach_m(self) -> Floats:
        """How far the neighbour of each pair counts as being downwind. [P], m"""
        usual = self.farm.config.judging.reach
        return np.where(self.bans_direction, max(usual, _furthest_m(self.farm.config)), usual)

    @cached_property
    def pair_rule(self) -> tuple[Downwind, ...]:
        """What wind towards the neighbour the field's window allows. [P]"""
        rules = []
        pairs = zip(
            self.reach.pair_field, self.pair_susceptibility, self.bans_direction, strict=True
        )
        for field, kind, banned in pairs:
            if banned:
                rules.append(Downwind.NEVER)
                continue
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
    def buffers(self) -> "BufferArrays":
        """What labels and laws keep unsprayed beside each neighbour in reach."""
        from watcher.limits.buffers import BufferArrays  # noqa: PLC0415  (is made of this)

        return BufferArrays.of(self)

    @cached_property
    def pair_no_spray_m(self) -> Floats:
        """The distance labels and laws ask for downwind, of the setup that needs most. [P], m"""
        required = np.where(self.buffers.downwind_m > 0, self.buffers.required_m, 0.0)
        most: Floats = required.max(axis=1, initial=0.0)
        return most

    @cached_property
    def bans_direction(self) -> Bools:
        """Pairs where a rule bans any wind that blows towards the neighbour. [P]"""
        neighbours = list(self.farm.config.neighbours.values())
        bans = [
            [r for _, r in rules if isinstance(r, DirectionBan) and r.force is not Force.ADVICE]
            for rules in self.rules
        ]
        reach = self.reach
        nearest = reach.gap_m.min(axis=1, initial=np.inf)
        pairs = zip(reach.pair_field, reach.pair_neighbour, nearest, strict=True)
        return np.array(
            [any(_bans(rule, neighbours[n], gap) for rule in bans[f]) for f, n, gap in pairs],
            dtype=bool,
        )

    @cached_property
    def pair_tolerance_pct(self) -> Floats:
        """Deposit each pair's neighbour stands; infinite for tolerant ones. [P], % of field rate"""
        by_kind = self.farm.config.judging.tolerable_deposit
        defaults = {
            Susceptibility.TOLERANT: np.inf,
            Susceptibility.SUSCEPTIBLE: by_kind.susceptible,
            Susceptibility.VERY_SUSCEPTIBLE: by_kind.very_susceptible,
        }
        neighbours = list(self.farm.config.neighbours.values())
        given = (neighbours[n].tolerable_deposit for n in self.reach.pair_neighbour)
        kinds = self.pair_susceptibility
        return np.array(
            [defaults[k] if t is None else t for t, k in zip(given, kinds, strict=True)]
        )

    def tolerance_origin(self, pair: int) -> Origin:
        """Return whose the deposit is that the neighbour of a pair stands."""
        neighbours = list(self.farm.config.neighbours.values())
        if neighbours[self.reach.pair_neighbour[pair]].tolerable_deposit is not None:
            return Origin.OWN
        kind = self.pair_susceptibility[pair].value.replace(" ", "_")
        return Origin.of_key(self.farm.config.judging.tolerable_deposit, kind)

    @cached_property
    def upper_along(self) -> NDArray[np.float32]:
        """The upper drift curve laid along every bearing of each pair, swung. [P, 360], %"""
        reach = self.reach
        width = reach.width_m[reach.pair_field]
        along = upper_bearings(gap_m=reach.gap_m, width_m=width).astype(np.float32)
        return np.asarray(swung(along), dtype=np.float32)

    def spread_deg(self, series: WeatherSeries) -> Floats:
        """The direction's standard deviation, the farm's default where a source gives none. [T]"""
        default = self.farm.config.judging.direction_spread
        return np.where(np.isnan(series.wind_spread_deg), default, series.wind_spread_deg)

    @cached_property
    def needs_calm(self) -> Bools:
        """Fields that need the calm hours: weedy, or beside something susceptible. [F]"""
        weedy = [f.weeds is WeedPressure.WEEDY for f in self._plans]
        return np.array(weedy) | self.beside_susceptible

    @cached_property
    def beside_susceptible(self) -> Bools:
        """Fields with a susceptible or very susceptible neighbour within reach. [F]"""
        beside = np.zeros(len(self.fields), dtype=bool)
        tolerant = [kind is Susceptibility.TOLERANT for kind in self.pair_susceptibility]
        beside[self.reach.pair_field[self.pair_in_reach & ~np.array(tolerant, dtype=bool)]] = True
        return beside
