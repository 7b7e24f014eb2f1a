"""One limit as one sentence, in the farm's units: value, bound, where it came from, room left."""

import math
from collections.abc import Collection, Sequence
from functools import cache

from watcher.farm import Farm
from watcher.farm.feeds import foretells, observes
from watcher.farm.geometry.bearings import side
from watcher.farm.models import DropletClass
from watcher.farm.origin import Origin
from watcher.farm.rules.mix import brought_by
from watcher.farm.source_entry import SourceEntry
from watcher.i18n.message import (
    Joined,
    Message,
    Name,
    Number,
    Param,
    ShownQuantity,
    say,
    say_n,
)
from watcher.judge.reasons import Reason
from watcher.limits.buffers import LeftStrip
from watcher.limits.catalogue import CATALOGUE, Limit
from watcher.limits.check import Knowledge
from watcher.limits.status import LimitState
from watcher.messages.drift import OPEN_BOOM, percent, up_to, whither
from watcher.messages.rules import rule_found, rule_sentence, whose_bound
from watcher.messages.vocabulary import DROPLET_WORDS, FINDING_WORDS, ORIGIN_WORDS, POINTS
from watcher.units import Kind, System, amount
from watcher.weather.inversion import Finding
from watcher.weather.quantities import BY_COLUMN, BY_NAME

_KINDS = {limit: entry.kind for limit, entry in CATALOGUE.items() if entry.kind is not None}
_NAMES = {limit: entry.name or entry.words for limit, entry in CATALOGUE.items()}
# What a title has room for.
_SHORT_NAMES = {limit: entry.short or entry.words for limit, entry in CATALOGUE.items()}
_MOST_DECIMALS = 1
_SAME = 1e-6
_TITLE_NAME = 16


class Speaker:
    """Puts the reasons of one farm into words."""

    def __init__(self, farm: Farm) -> None:
        self.farm = farm
        self.system: System = farm.config.farm.units
        self._side = cache(self._work_out_side)

    def reason(self, field: str, reason: Reason) -> Message:
        """Return one limit of a field as one sentence without its full stop."""
        if reason.rule is not None:
            return rule_sentence(self.farm.config, reason, reason.rule)
        if reason.stand is LimitState.UNKNOWN:
            if reason.deposits and not reason.deposits[0].estimated:
                return self._not_estimated(reason)
            return self._unknown(reason)
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

    def short(self, field: str, reason: Reason) -> Message:
        """Return what a title has room for: the limit and its value."""
        short = _SHORT_NAMES[reason.limit]
        if reason.stand is LimitState.UNKNOWN:
            return say("{limit} unknown", limit=short)
        if reason.limit in {Limit.NEIGHBOUR, Limit.NO_SPRAY}:
            return say("{who} downwind", who=_first(reason.neighbours, say("neighbour")))
        if reason.limit is Limit.DEPOSIT:
            exposed = [found.neighbour for found in reason.deposits]
            return say("drift onto {who}", who=_first(exposed, say("neighbours")))
        if _at_night(reason):
            return self._night(reason)
        if reason.limit in _KINDS and reason.limit not in {Limit.CLOCK, Limit.BEGIN}:
            value = self._show(reason, _nearer(reason))
            return say("{limit} {value}", limit=short, value=value)
        return self._found(reason)

    def _found(self, reason: Reason) -> Message:
        """Return what was found of a limit without a value to show."""
        if reason.rule is not None:
            return rule_found(self.farm.config, reason, reason.rule.rule)
        found = _FOUND.get(reason.limit)
        return _SHORT_NAMES[reason.limit] if found is None else found(reason)

    def side(self, reason: Reason) -> Message:
        """Return on which side of its bounds a limit is, in a word or two, without its value."""
        entry = CATALOGUE[reason.limit]
        word = entry.high_word if reason.value > reason.high else entry.low_word
        return word or _SHORT_NAMES[reason.limit]

    def comes_and_goes(self, reason: Reason) -> tuple[Message, ...]:
        """Return what a title says of a limit that is broken again and again, longest first."""
        if reason.limit is Limit.GUST:
            return (say("gusts come and go"),)
        name = _SHORT_NAMES[reason.limit]
        return (say("{limit} comes and goes", limit=name), say("comes and goes"))

    def sides(self, field: str, reason: Reason) -> tuple[Message, ...]:
        """Return what a title says of a broken limit, longest first.

        The bound goes first, then the unit; never the side or the number.
        """
        if reason.stand is LimitState.UNKNOWN:
            return (say("cannot see {limit}", limit=_SHORT_NAMES[reason.limit]),)
        if reason.limit in {Limit.NEIGHBOUR, Limit.NO_SPRAY} and reason.neighbours:
            who = Name(reason.neighbours[0], _TITLE_NAME)
            return (say("blowing to {who}", who=who),)
        too_high = reason.value > reason.high
        entry = CATALOGUE[reason.limit]
        words = entry.too_high if too_high else entry.too_low
        if words is None or _at_night(reason):
            return (self.short(field, reason),)
        bound = reason.high if too_high else reason.low
        side = say("{side} {value}", side=words, value=self._show(reason, bound))
        kind, places = _KINDS[reason.limit], self._places(reason, bound)
        exact = reason.known is Knowledge.EXACT
        if kind is Kind.DURATION or not exact or self._hides_side(reason, bound, places):
            return (side, self.side(reason))
        number = Number(f"{amount(reason.value, kind, self.system):.{places}f}")
        gaps: dict[str, Message] = {
            "side": words,
            "number": number,
            "bound": self._bound(reason, bound),
        }
        short = say("{side} {value}", side=words, value=number)
        if too_high:
            return (say("{side} {number}, max {bound}", **gaps), side, short)
        return (say("{side} {number}, min {bound}", **gaps), side, short)

    def _measured(self, _field: str, reason: Reason) -> Message:
        bound, limit = _nearer(reason), _NAMES[reason.limit]
        if reason.limit not in _KINDS:
            return say("{limit}: no rule on it", limit=limit)
        if math.isnan(reason.value):  # nobody needs it: a limit without its value is unknown
            return say("{limit} not measured, no bound", limit=limit)
        if reason.upper_from is not None:
            return self._upper_part(reason, reason.upper_from, bound)
        if math.isinf(bound):
            value = self._show(reason, bound)
            return say("{limit} {value}, no bound", limit=limit, value=value)
        return self._against(reason, bound)

    def _upper_part(self, reason: Reason, upper_from: float, bound: float) -> Message:
        """Return a wind that is near because it is in the upper part of its range."""
        gap: dict[str, Param] = {
            "calm": self._bound(reason, upper_from),
            "origin": ORIGIN_WORDS[reason.upper_origin],
        }
        if math.isinf(bound):
            value = self._show(reason, upper_from)
            return say(
                "{limit} {value}, marginal over {calm} ({origin})",
                limit=_NAMES[reason.limit],
                value=value,
                **gap,
            )
        line = self._against(reason, bound)
        return say("{line}; marginal over {calm} ({origin})", line=line, **gap)

    def _against(self, reason: Reason, bound: float) -> Message:
        """Return a value beside one of its bounds."""
        places = self._places(reason, bound)
        gap = {
            "limit": _name(reason),
            "value": self._show(reason, bound),
            "bound": self._bound(reason, bound),
            "origin": whose_bound(reason),
        }
        if self._hides_side(reason, bound, places):  # "just over" says how far it is
            if bound == reason.high:
                return say("{limit} {value}, at most {bound} ({origin})", **gap)
            return say("{limit} {value}, at least {bound} ({origin})", **gap)
        step = abs(reason.value - bound)
        gap["away"] = ShownQuantity(step, _step(_KINDS[reason.limit]), self.system, places)
        if reason.stand is LimitState.BROKEN:
            if reason.value > bound:
                return say("{limit} {value}, at most {bound} ({origin}): {away} over", **gap)
            return say("{limit} {value}, at least {bound} ({origin}): {away} short", **gap)
        if bound == reason.high:
            return say("{limit} {value}, at most {bound} ({origin}), {away} to spare", **gap)
        return say("{limit} {value}, at least {bound} ({origin}), {away} to spare", **gap)

    def _unknown(self, reason: Reason) -> Message:
        """Say that a limit is unknown, and which sources could tell what it lacks."""
        limit = _NAMES[reason.limit]
        if not reason.missing:
            return say("{limit} unknown: no value to rely on", limit=limit)
        entries = self.farm.config.sources.items()
        able = tuple(Name(source) for source, entry in entries if _may_tell(entry, reason.missing))
        if able:
            return say(
                "{limit} unknown: no value to rely on; see to {sources}",
                limit=limit,
                sources=Joined(able),
            )
        return say(
            "{limit} unknown: no value to rely on; no source gives the {quantity}",
            limit=limit,
            quantity=BY_COLUMN[reason.missing[0]].words,
        )

    def _daylight(self, field: str, reason: Reason) -> Message:
        """Time since sunrise or to sunset; at night negative, which nobody would say."""
        bound = _nearer(reason)
        if not _at_night(reason) or math.isinf(bound):
            return self._measured(field, reason)
        kept = ShownQuantity(bound, Kind.DURATION, self.system)
        night, origin = self._night(reason), ORIGIN_WORDS[reason.origin]
        if reason.limit is Limit.AFTER_SUNRISE:
            return say(
                "{night}: not until {kept} after it ({origin})",
                night=night,
                kept=kept,
                origin=origin,
            )
        return say(
            "{night}: not later than {kept} before it ({origin})",
            night=night,
            kept=kept,
            origin=origin,
        )

    def _night(self, reason: Reason) -> Message:
        away = ShownQuantity(-reason.value, Kind.DURATION, self.system)
        if reason.limit is Limit.AFTER_SUNRISE:
            return say("sunrise in {away}", away=away)
        return say("sunset {away} ago", away=away)

    def _show(self, reason: Reason, bound: float) -> Message:
        """Return the value, so that it is seen on which side of a bound it is."""
        kind = _KINDS[reason.limit]
        places = self._places(reason, bound)
        if not self._hides_side(reason, bound, places):
            value = ShownQuantity(reason.value, kind, self.system, places)
            return _bounded(value, reason.known)
        at = self._bound(reason, bound)
        if reason.value > bound:
            return say("just over {bound}", bound=at)
        return say("just under {bound}", bound=at)

    def _bound(self, reason: Reason, bound: float) -> Message:
        """Return a bound as its label prints it: no decimals that it has not."""
        kind = _KINDS[reason.limit]
        wanted = amount(bound, kind, self.system)
        exact = abs(wanted - round(wanted, kind.decimals)) < _SAME
        return ShownQuantity(
            bound, kind, self.system, kind.decimals if exact else kind.decimals + 1
        )

    def _hides_side(self, reason: Reason, bound: float, places: int) -> bool:
        if math.isinf(bound) or math.isclose(reason.value, bound, abs_tol=_SAME):
            return False
        kind = _KINDS[reason.limit]
        shown, wanted = (amount(v, kind, self.system) for v in (reason.value, bound))
        return f"{shown:.{places}f}" == f"{wanted:.{places}f}"

    def _places(self, reason: Reason, bound: float) -> int:
        """As few decimals as tell the value from its bound: 10.2 is over 10, "10" is not."""
        kind = _KINDS[reason.limit]
        shown = [bound] if reason.upper_from is None else [bound, reason.upper_from]
        for places in range(kind.decimals, _MOST_DECIMALS):
            if not any(self._hides_side(reason, one, places) for one in shown):
                return places
        return max(kind.decimals, _MOST_DECIMALS)

    def _neighbour(self, field: str, reason: Reason) -> Message:
        origin = ORIGIN_WORDS[reason.origin]
        if reason.stand is LimitState.HOLDS or not reason.neighbours:
            if reason.stand is LimitState.BROKEN:
                return say(
                    "a very susceptible neighbour in reach: calm wind only ({origin})",
                    origin=origin,
                )
            return say("no neighbour downwind that this wind is kept from")
        who = self._who(field, reason.neighbours[0], reason.value)
        if reason.stand is LimitState.BROKEN:
            return say("{who}: this wind may not go there ({origin})", who=who, origin=origin)
        return say("{who}: only calm wind may go there ({origin})", who=who, origin=origin)

    def _no_spray(self, field: str, reason: Reason) -> Message:
        if not reason.strips:
            return say("no neighbour downwind within its no-spray distance")
        deepest = reason.strips[0]
        who = self._who(field, deepest.neighbour, deepest.gap_m)
        if math.isinf(deepest.depth_m):
            return say(
                "{who}: nothing may be sprayed beside it with this setup ({origin})",
                who=who,
                origin=brought_by(deepest.of.of),
            )
        kept, origin = ShownQuantity(deepest.required_m, Kind.LENGTH, self.system), _whose(deepest)
        if reason.stand is LimitState.BROKEN:
            return say(
                "{who}: no-spray distance {kept} leaves nothing of the field ({origin})",
                who=who,
                kept=kept,
                origin=origin,
            )
        return say(
            "{who}: no-spray distance {kept} ({origin}); {strips}",
            who=who,
            kept=kept,
            origin=origin,
            strips=Joined(tuple(self._strip(field, strip) for strip in reason.strips), "; "),
        )

    def asked(self, field: str, strip: LeftStrip) -> Message:
        """Return what one buffer asks for, and what of it is left unsprayed."""
        return say(
            "{who}: no-spray distance {kept} ({origin}); {strips}",
            who=self._who(field, strip.neighbour, strip.gap_m),
            kept=ShownQuantity(strip.required_m, Kind.LENGTH, self.system),
            origin=_whose(strip),
            strips=self._strip(field, strip),
        )

    def _strip(self, field: str, strip: LeftStrip) -> Message:
        return say_n(
            "leave {depth} unsprayed on the {side} side: {n} pass, {area}",
            "leave {depth} unsprayed on the {side} side: {n} passes, {area}",
            strip.passes,
            depth=ShownQuantity(strip.depth_m, Kind.LENGTH, self.system),
            side=POINTS[self._side(field, strip.neighbour)],
            area=ShownQuantity(strip.area_m2, Kind.AREA, self.system, 2),
        )

    def _deposit(self, _field: str, reason: Reason) -> Message:
        if not reason.deposits or math.isinf(reason.deposits[0].tolerance_pct):
            return say("no neighbour that drift would harm")
        worst = reason.deposits[0]
        stands = say(
            "drift onto {who} {side}, {gap}: {share} of the rate, it stands {tolerance} ({origin})",
            who=Name(worst.neighbour),
            side=whither(worst.side),
            gap=ShownQuantity(worst.gap_m, Kind.LENGTH, self.system),
            share=up_to(worst.upper_pct),
            tolerance=percent(worst.tolerance_pct),
            origin=ORIGIN_WORDS[reason.origin],
        )
        return Joined((stands, OPEN_BOOM), "; ") if worst.as_open_boom else stands

    def _not_estimated(self, reason: Reason) -> Message:
        worst = next(e for e in reason.deposits if math.isnan(e.upper_pct))
        return say(
            "drift onto {who} {side}, {gap}: not estimated, as published curves are of booms; it "
            "stands {tolerance} ({origin})",
            who=Name(worst.neighbour),
            side=whither(worst.side),
            gap=ShownQuantity(worst.gap_m, Kind.LENGTH, self.system),
            tolerance=percent(worst.tolerance_pct),
            origin=ORIGIN_WORDS[worst.origin],
        )

    def _who(self, field: str, neighbour: str, gap_m: float) -> Message:
        where = whither(self._side(field, neighbour))
        if not math.isfinite(gap_m):
            return say("{who} downwind {side}", who=Name(neighbour), side=where)
        gap = ShownQuantity(gap_m, Kind.LENGTH, self.system)
        return say("{who} downwind {side}, {gap}", who=Name(neighbour), side=where, gap=gap)

    def _work_out_side(self, field: str, neighbour: str) -> str:
        ground = self.farm.ground
        return side(ground.fields[field], ground.neighbours[neighbour])


def _whose(strip: LeftStrip) -> Message:
    """Whose a buffer is."""
    buffer, origin = strip.of.buffer, ORIGIN_WORDS[strip.of.buffer.origin]
    if strip.of.of == f"neighbour {strip.neighbour}":  # the neighbour's own distance
        return origin
    parts = (origin, buffer.jurisdiction, brought_by(strip.of.of), buffer.citation)
    return Joined(tuple(part for part in parts if part))


def _may_tell(entry: SourceEntry, missing: Collection[str]) -> bool:
    """Whether a source could tell one of these quantities: a station, or a forecast of hours."""
    measured = {BY_NAME[quantity].column for quantity in entry.measures}
    return foretells(entry) or (observes(entry) and not measured.isdisjoint(missing))


def _first(names: Sequence[str], nobody: Message) -> Message:
    return Name(names[0], _TITLE_NAME) if names else nobody


def _name(reason: Reason) -> Message:
    """Return what a limit is called beside its value; of an estimate, whose it is."""
    if reason.estimate is None:
        return _NAMES[reason.limit]
    whose = say("your estimate") if reason.estimate is Origin.OWN else say("our estimate")
    return say("{limit} ({whose})", limit=_NAMES[reason.limit], whose=whose)


def _bounded(value: Message, known: Knowledge) -> Message:
    """Return a value as what it is: itself, or the most or the least that there may be."""
    if known is Knowledge.AT_MOST:
        return say("{value} or less", value=value)
    if known is Knowledge.AT_LEAST:
        return say("{value} or more", value=value)
    return value


def _at_night(reason: Reason) -> bool:
    return reason.limit in {Limit.AFTER_SUNRISE, Limit.BEFORE_SUNSET} and reason.value < 0


def _nearer(reason: Reason) -> float:
    """The bound that acted, or that the value is nearer to."""
    if reason.side is not None:
        return reason.low if reason.side == "low" else reason.high
    if reason.high - reason.value < reason.value - reason.low:
        return reason.high
    return reason.low if math.isfinite(reason.low) else reason.high


def _step(kind: Kind) -> Kind:
    return Kind.TEMPERATURE_STEP if kind is Kind.TEMPERATURE else kind


def _inversion_found(reason: Reason) -> Message:
    finding = Finding(int(reason.value))
    if finding is Finding.NONE:
        return say("no sign of an inversion")
    return say("inversion {finding}", finding=FINDING_WORDS[finding])


def _inversion(_field: str, reason: Reason) -> Message:
    found, origin = _inversion_found(reason), ORIGIN_WORDS[reason.origin]
    if Finding(int(reason.value)) is Finding.NONE:
        return found
    if reason.stand is LimitState.NEAR:
        return say("{inversion}: coarse drops only ({origin})", inversion=found, origin=origin)
    return say("{inversion} ({origin})", inversion=found, origin=origin)


def _droplets_found(reason: Reason) -> Message:
    if reason.stand is LimitState.BROKEN:
        return say("droplets too fine")
    return say("droplets {size}", size=DROPLET_WORDS[DropletClass(int(reason.value))])


def _droplets(_field: str, reason: Reason) -> Message:
    size, origin = DROPLET_WORDS[DropletClass(int(reason.value))], ORIGIN_WORDS[reason.origin]
    droplets = say("droplets {size}", size=size)
    in_wind = reason.limit is Limit.DROPLETS_IN_WIND
    if reason.stand is LimitState.HOLDS:
        if in_wind:
            return say("{droplets}: coarse enough for this wind", droplets=droplets)
        return say("{droplets}: coarse enough for this window", droplets=droplets)
    if in_wind:
        return say(
            "{droplets}: too fine for this wind ({origin})", droplets=droplets, origin=origin
        )
    return say("{droplets}: too fine for this window ({origin})", droplets=droplets, origin=origin)


_FOUND = {
    Limit.INVERSION: _inversion_found,
    Limit.DROPLETS: _droplets_found,
    Limit.DROPLETS_IN_WIND: _droplets_found,
}
