"""One limit as one sentence, in the farm's units: value, bound, where it came from, room left."""

import math
from functools import cache

from watcher.alerts.wording.drift import percent, up_to, whither
from watcher.alerts.wording.words import name
from watcher.farm import Farm
from watcher.farm.bearings import side
from watcher.farm.models import DropletClass
from watcher.judge.reasons import Reason
from watcher.judge.status import Limit, Stand
from watcher.units import Kind, System, amount, show
from watcher.weather.inversion import Finding

_KINDS = {
    Limit.WIND: Kind.SPEED,
    Limit.GUST: Kind.SPEED,
    Limit.TEMPERATURE: Kind.TEMPERATURE,
    Limit.DELTA_T: Kind.TEMPERATURE_STEP,
    Limit.HUMIDITY: Kind.PERCENT,
    Limit.RAIN_AFTER: Kind.DURATION,
    Limit.RAIN_BEFORE: Kind.DURATION,
    Limit.AFTER_SUNRISE: Kind.DURATION,
    Limit.BEFORE_SUNSET: Kind.DURATION,
    Limit.CONTROL: Kind.PERCENT,
}
_NAMES = {Limit.CONTROL: "loss of weed control", Limit.DROPLETS_IN_WIND: "droplets"}
# What a title has room for.
_SHORT_NAMES = {
    Limit.RAIN_AFTER: "rain-free",
    Limit.RAIN_BEFORE: "dry for",
    Limit.AFTER_SUNRISE: "sun up for",
    Limit.BEFORE_SUNSET: "sunset in",
    Limit.CONTROL: "control loss",
    Limit.DEPOSIT: "drift",
    Limit.NEIGHBOUR: "neighbour",
    Limit.NO_SPRAY: "no-spray distance",
    Limit.DROPLETS_IN_WIND: "droplets",
}
_MOST_DECIMALS = 2


class Speaker:
    """Puts the reasons of one farm into words."""

    def __init__(self, farm: Farm) -> None:
        self.farm = farm
        self.system: System = farm.told.farm.units
        self._side = cache(self._work_out_side)

    def reason(self, field: str, reason: Reason) -> str:
        """Return one limit of a field as one sentence without its full stop."""
        if reason.stand is Stand.UNKNOWN:
            return f"{_name_of(reason.limit)} unknown: no value to rely on"
        return {
            Limit.NEIGHBOUR: self._neighbour,
            Limit.NO_SPRAY: self._no_spray,
            Limit.DEPOSIT: self._deposit,
            Limit.INVERSION: _inversion,
            Limit.DROPLETS: _droplets,
            Limit.DROPLETS_IN_WIND: _droplets,
            Limit.AFTER_SUNRISE: self._daylight,
            Limit.BEFORE_SUNSET: self._daylight,
        }.get(reason.limit, self._measured)(field, reason)

    def short(self, field: str, reason: Reason) -> str:
        """Return what a title has room for: the limit and its value."""
        short = _SHORT_NAMES.get(reason.limit, reason.limit.value)
        if reason.stand is Stand.UNKNOWN:
            return f"{short} unknown"
        if reason.limit in {Limit.NEIGHBOUR, Limit.NO_SPRAY}:
            who = name(reason.neighbours[0], 16) if reason.neighbours else "neighbour"
            return f"{who} downwind"
        if reason.limit is Limit.DEPOSIT:
            who = name(reason.exposed[0].neighbour, 16) if reason.exposed else "neighbours"
            return f"drift onto {who}"
        if _at_night(reason):
            return self._night(reason)
        if reason.limit in _KINDS:
            return f"{short} {self._show(reason, reason.value, _nearer(reason))}"
        return self.reason(field, reason).split(":")[0].split(" (")[0]

    def _measured(self, _field: str, reason: Reason) -> str:
        bound = _nearer(reason)
        if math.isnan(reason.value):  # nobody needs it: a limit without its value is unknown
            return f"{_name_of(reason.limit)} not measured, no bound"
        said = f"{_name_of(reason.limit)} {self._show(reason, reason.value, bound)}"
        if math.isinf(bound):
            return f"{said}, no bound"
        step = abs(reason.value - bound)
        room = show(step, _step(_KINDS[reason.limit]), self.system, self._places(reason, bound))
        if reason.stand is not Stand.BROKEN:
            left = f"{room} of room"
        else:
            left = f"{room} {'over' if reason.value > bound else 'under'}"
        return f"{said}, bound {self._bare(reason, bound)} ({reason.origin}), {left}"

    def _daylight(self, field: str, reason: Reason) -> str:
        """Time since sunrise or to sunset; at night negative, which nobody would say."""
        bound = _nearer(reason)
        if not _at_night(reason) or math.isinf(bound):
            return self._measured(field, reason)
        kept = show(bound, Kind.DURATION, self.system)
        if reason.limit is Limit.AFTER_SUNRISE:
            rule = f"not until {kept} after it"
        else:
            rule = f"not later than {kept} before it"
        return f"{self._night(reason)}: {rule} ({reason.origin})"

    def _night(self, reason: Reason) -> str:
        away = show(-reason.value, Kind.DURATION, self.system)
        if reason.limit is Limit.AFTER_SUNRISE:
            return f"sunrise in {away}"
        return f"sunset {away} ago"

    def _show(self, reason: Reason, value: float, bound: float) -> str:
        return show(value, _KINDS[reason.limit], self.system, self._places(reason, bound))

    def _bare(self, reason: Reason, bound: float) -> str:
        number = amount(bound, _KINDS[reason.limit], self.system)
        return f"{number:.{self._places(reason, bound)}f}".removesuffix(".0")

    def _places(self, reason: Reason, bound: float) -> int:
        """As few decimals as tell the value from its bound: 10.2 is over 10, "10" is not."""
        kind = _KINDS[reason.limit]
        if math.isinf(bound):
            return kind.decimals
        shown, wanted = (amount(v, kind, self.system) for v in (reason.value, bound))
        for places in range(kind.decimals, _MOST_DECIMALS):
            if shown == wanted or f"{shown:.{places}f}" != f"{wanted:.{places}f}":
                return places
        return _MOST_DECIMALS

    def _neighbour(self, field: str, reason: Reason) -> str:
        if reason.stand is Stand.HOLDS or not reason.neighbours:
            if reason.stand is Stand.BROKEN:
                return f"a very susceptible neighbour in reach: calm wind only ({reason.origin})"
            return "no neighbour downwind that this wind is kept from"
        who = self._who(field, reason.neighbours[0], reason.value)
        rule = "only calm wind may go there"
        if reason.stand is Stand.BROKEN:
            rule = "this wind may not go there"
        return f"{who}: {rule} ({reason.origin})"

    def _no_spray(self, field: str, reason: Reason) -> str:
        told = self.farm.told.neighbours
        needing = [n for n in reason.neighbours if told[n].no_spray_distance > 0]
        if reason.stand is not Stand.BROKEN or not needing:
            return "no neighbour downwind within its no-spray distance"
        need = told[needing[0]].no_spray_distance
        # With one such neighbour downwind the share judged is its own.
        gap = reason.value * need if len(needing) == 1 else math.inf
        kept = show(need, Kind.LENGTH, self.system)
        return f"{self._who(field, needing[0], gap)}: no-spray distance {kept} ({reason.origin})"

    def _deposit(self, _field: str, reason: Reason) -> str:
        if not reason.exposed or math.isinf(reason.exposed[0].tolerance_pct):
            return "no neighbour that drift would harm"
        worst = reason.exposed[0]
        far = show(worst.gap_m, Kind.LENGTH, self.system)
        return (
            f"drift onto {name(worst.neighbour)} {whither(worst.side)}, {far}: "
            f"{up_to(worst.upper_pct)} of the rate, "
            f"it stands {percent(worst.tolerance_pct)} ({reason.origin})"
        )

    def _who(self, field: str, neighbour: str, gap_m: float) -> str:
        where = whither(self._side(field, neighbour))
        far = f", {show(gap_m, Kind.LENGTH, self.system)}" if math.isfinite(gap_m) else ""
        return f"{name(neighbour)} downwind {where}{far}"

    def _work_out_side(self, field: str, neighbour: str) -> str:
        ground = self.farm.ground
        return side(ground.fields[field], ground.neighbours[neighbour])


def _name_of(limit: Limit) -> str:
    return _NAMES.get(limit, limit.value)


def _at_night(reason: Reason) -> bool:
    return reason.limit in {Limit.AFTER_SUNRISE, Limit.BEFORE_SUNSET} and reason.value < 0


def _nearer(reason: Reason) -> float:
    """The bound the value is nearer to, or that it broke."""
    if reason.high - reason.value < reason.value - reason.low:
        return reason.high
    return reason.low if math.isfinite(reason.low) else reason.high


def _step(kind: Kind) -> Kind:
    return Kind.TEMPERATURE_STEP if kind is Kind.TEMPERATURE else kind


def _inversion(_field: str, reason: Reason) -> str:
    finding = Finding(int(reason.value))
    if finding is Finding.NONE:
        return "no sign of an inversion"
    said = f"inversion {finding.name.lower()}"
    if reason.stand is Stand.NEAR:
        return f"{said}: coarse drops only ({reason.origin})"
    return f"{said} ({reason.origin})"


def _droplets(_field: str, reason: Reason) -> str:
    said = f"droplets {DropletClass(int(reason.value)).words}"
    what = "this wind" if reason.limit is Limit.DROPLETS_IN_WIND else "this window"
    if reason.stand is Stand.HOLDS:
        return f"{said}: coarse enough for {what}"
    return f"{said}: too fine for {what} ({reason.origin})"
