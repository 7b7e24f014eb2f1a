"""What a rule of a label or law comes to, as one sentence: value, height, bound, whose, where."""

import math

from watcher.farm.equipment import equipment_breaks
from watcher.farm.models import FarmFile
from watcher.farm.origin import Force, Origin
from watcher.farm.rules.calendar import ClockRule, DateRule, StageRule
from watcher.farm.rules.day_time import DayTime
from watcher.farm.rules.equipment import BulletinRule, PointsRule
from watcher.farm.rules.kinds import Rule
from watcher.farm.rules.mix import STRICT_HEIGHT_M, Noted, Reading, RuleOf, brought_by
from watcher.farm.rules.weather import (
    DayHighRule,
    InversionBan,
    RainAheadRule,
    SoilRule,
    WindRule,
)
from watcher.i18n.message import Message, Number, ShownQuantity, any_of, joined, say, say_n
from watcher.judge.reasons import Reason
from watcher.limits.catalogue import CATALOGUE, Limit
from watcher.limits.check import Knowledge
from watcher.limits.status import LimitState
from watcher.messages.vocabulary import ORIGIN_WORDS
from watcher.units import Kind, System

_UNKNOWN: dict[Limit, Message] = {
    Limit.DAY_HIGH: say("hours of the day are missing"),
    Limit.RAIN_AHEAD: say("the forecast does not reach that far, or gives no chance of rain"),
    Limit.SOIL: say("write in the farm file how the soil is today"),
    Limit.DATES: say("write in the farm file when it was planted and which stage is seen"),
    Limit.CALM_DUTY: say("too little wind: find out whether there is an inversion"),
    Limit.INVERSION: say("find out whether there is one"),
    Limit.PAPERS: say("write in the farm file what the field holds and when you looked it up"),
}


def rule_sentence(config: FarmFile, reason: Reason, rule_of: RuleOf) -> Message:
    """Return how a rule stands as one sentence without its full stop."""
    found = rule_found(config, reason, rule_of.rule)
    return say("{found} ({whose})", found=found, whose=whose(rule_of))


def whose_bound(reason: Reason) -> Message:
    """Return where the bound of a reason comes from."""
    if reason.rule is not None:
        return whose(reason.rule)
    return origin_words(reason.origin, derived=reason.derived)


def origin_words(origin: Origin, *, derived: bool) -> Message:
    """Return where a bound comes from; ``derived``: it follows from that of the wind."""
    words = ORIGIN_WORDS[origin]
    return say("{origin}, from the wind's bound", origin=words) if derived else words


def whose(rule_of: RuleOf) -> Message:
    """Return whose a rule is: origin, place, who brings it and where it is written."""
    rule = rule_of.rule
    parts = (
        ORIGIN_WORDS[rule.origin],
        say("advice") if rule.force is Force.ADVICE else None,
        rule.jurisdiction,
        brought_by(rule_of.of),
        rule.citation,
    )
    return joined(part for part in parts if part)


def rule_found(config: FarmFile, reason: Reason, rule: Rule) -> Message:
    """Return how a rule stands, without whose it is."""
    if reason.stand is LimitState.UNKNOWN:
        why = _UNKNOWN.get(reason.limit, say("no value to rely on"))
        return say("{limit} unknown: {why}", limit=CATALOGUE[reason.limit].words, why=why)
    if reason.limit is Limit.EQUIPMENT:
        return _equipment(config, rule)
    if reason.limit is Limit.CALM_DUTY:
        return say("wind enough for not having to look for an inversion")
    return _without_value(reason, rule) or _measured(config.farm.units, reason, rule)


def _without_value(reason: Reason, rule: Rule) -> Message | None:
    """What has no value to show; None for the others."""
    match rule:
        case ClockRule():
            return _clock(reason, rule)
        case DateRule() | StageRule():
            return _dates(reason, rule)
        case PointsRule() | BulletinRule():
            return _papers(reason, rule)
        case SoilRule():
            return _soil(rule)
        case InversionBan():
            return _inversion(reason, rule)
    return None


def _measured(system: System, reason: Reason, rule: Rule) -> Message:
    kind = CATALOGUE[reason.limit].kind or Kind.PERCENT
    value: Message = ShownQuantity(reason.value, kind, system, _places(kind, system))
    if reason.known is Knowledge.AT_MOST:
        value = say("{value} or less", value=value)
    if reason.known is Knowledge.AT_LEAST:
        value = say("{value} or more", value=value)
    found: Message = say("{limit} {value}", limit=CATALOGUE[reason.limit].words, value=value)
    if (place := _height(reason, rule, system)) is not None:
        found = say("{found} {place}", found=found, place=place)
    low = reason.value - reason.low < reason.high - reason.value
    bound = reason.low if low else reason.high
    if isinstance(rule, RainAheadRule):
        return _rain_ahead(found, rule, system)
    if math.isinf(bound):
        return found
    at = ShownQuantity(bound, kind, system, 1)
    if low:
        found = say("{found}, at least {bound}", found=found, bound=at)
    else:
        found = say("{found}, at most {bound}", found=found, bound=at)
    if isinstance(rule, DayHighRule) and rule.acreage_share is not None and reason.value > bound:
        found = say(
            "{found} for more than {share} of the ground not yet treated; count it yourself",
            found=found,
            share=ShownQuantity(rule.acreage_share, Kind.PERCENT, system),
        )
    if reason.limit is Limit.GUST and isinstance(rule, WindRule) and rule.gusts == "unstated":
        found = say("{found}, gusts counted as nothing says they are not", found=found)
    return found


def _height(reason: Reason, rule: Rule, system: System) -> Message | None:
    if not isinstance(rule, WindRule):
        return None
    if rule.height == "boom":
        return say("at the boom")
    if rule.height == "unstated":
        if reason.limit is Limit.WIND and math.isfinite(reason.low):
            return say("at the boom (no height is named)")
        height = ShownQuantity(STRICT_HEIGHT_M, Kind.LENGTH, system)
        return say("at {height} (no height is named)", height=height)
    return say("at {height}", height=ShownQuantity(rule.height, Kind.LENGTH, system, 1))


def _clock(reason: Reason, rule: ClockRule) -> Message:
    hours = _hours(rule)
    if reason.limit is not Limit.BEGIN:
        return say("spraying is allowed {hours}", hours=hours)
    if rule.binds != "end":
        return say("a job may begin {hours}", hours=hours)
    if reason.stand >= LimitState.NEAR:
        return say("the job must be finished in the hours {hours}: it fits", hours=hours)
    return say(
        "the job must be finished in the hours {hours}: a whole job no longer fits", hours=hours
    )


def _hours(rule: ClockRule) -> Message:
    opens = say("from {time}", time=_time(rule.opens)) if rule.opens else None
    closes = say("until {time}", time=_time(rule.closes)) if rule.closes else None
    return joined((side for side in (opens, closes) if side), " ")


def _time(at: DayTime) -> Message:
    if at.clock is not None:
        return Number(f"{at.clock:%H:%M}")
    event = say("sunrise") if at.event == "sunrise" else say("sunset")
    if not at.after_s:
        return event
    minutes = round(abs(at.after_s) / 60)
    away = Number(f"{minutes} min" if minutes % 60 else f"{minutes // 60} h")
    if at.after_s > 0:
        return say("{span} after {event}", span=away, event=event)
    return say("{span} before {event}", span=away, event=event)


def _dates(reason: Reason, rule: DateRule | StageRule) -> Message:
    if isinstance(rule, DateRule):
        first = say("from {day}", day=str(rule.first)) if rule.first else None
        last = say("to {day}", day=str(rule.last)) if rule.last else None
        days = joined((side for side in (first, last) if side), " ")
        if rule.means == "allowed":
            return say("allowed {days}", days=days)
        return say("closed {days}", days=days)
    ends: list[Message] = [joined([str(rule.last)])] if rule.last else []
    ends += [joined([rule.until_stage])] if rule.until_stage else []
    if rule.days_after_planting is not None:
        ends.append(
            say_n("{n} day after planting", "{n} days after planting", rule.days_after_planting)
        )
    last_time = any_of(ends)
    if reason.stand is LimitState.BROKEN:
        return say("time for it over: {ends}, whichever is first", ends=last_time)
    return say("time for it ends: {ends}, whichever is first", ends=last_time)


def _papers(reason: Reason, rule: PointsRule | BulletinRule) -> Message:
    if isinstance(rule, PointsRule):
        held = Number(f"{reason.value:.0f}")
        return say("runoff points {held}, at least {required}", held=held, required=rule.required)
    return say_n(
        "bulletin looked up on {day}, good for {n} day",
        "bulletin looked up on {day}, good for {n} days",
        rule.good_for_days,
        day=str(rule.looked_up_on),
    )


_SOIL_WORDS: dict[str, Message] = {
    "field capacity": say("field capacity"),
    "saturated": say("saturated"),
    "frozen": say("frozen"),
}


def reading_line(noted: Noted) -> Message:
    """Return what a label or a law leaves open, how it is read until then, and what to write."""
    return say("{who}: {reading}", who=brought_by(noted.of), reading=_READINGS[noted.reading])


_READINGS: dict[Reading, Message] = {
    Reading.GUSTS: say(
        "it does not say whether gusts count, and they do until you write gusts of its wind rule"
    ),
    Reading.HEIGHT: say(
        "it does not say at which height its wind is meant: the high bound is judged at 10 m, the "
        "low one at the boom, until you write height of its wind rule"
    ),
    Reading.ADJACENT: say(
        "what is adjacent nobody can tell from a map: every neighbour of its kinds in reach is, "
        "until you write adjacent of the neighbour"
    ),
    Reading.AMOUNT: say(
        "it names no amount of rain, and nothing is decided until you write amount of its rule"
    ),
    Reading.INVERSION: say(
        "whether there is an inversion the operator has to find out before each start"
    ),
    Reading.INSIDE: say(
        "it does not say what may lie inside its buffer: what lies between counts for nothing, "
        "until you write inside of it"
    ),
}


def _rain_ahead(found: Message, rule: RainAheadRule, system: System) -> Message:
    """Return what rain is foretold against an amount, a chance, or both."""
    found = say("{found} within {span} of the end", found=found, span=_ahead(rule.within))
    if rule.amount is not None:
        most = ShownQuantity(rule.amount, Kind.RAIN, system, _places(Kind.RAIN, system))
        found = say("{found}, at most {bound}", found=found, bound=most)
    if rule.chance is not None:
        chance = ShownQuantity(rule.chance, Kind.PERCENT, system)
        found = say("{found}, chance of rain at most {chance}", found=found, chance=chance)
    return found


def _places(kind: Kind, system: System) -> int:
    """Return the decimals a value of a rule is shown with: an inch of rain is a lot."""
    return 2 if kind is Kind.RAIN and system == "us" else 1


def _ahead(span_s: float) -> Number:
    """Return how long a rule looks ahead: whole hours as they are written, others to a tenth."""
    return Number(f"{round(span_s / 3600, 1):g} h")


def _soil(rule: SoilRule) -> Message:
    state = _SOIL_WORDS[rule.not_at]
    if rule.with_rain_within is None:
        return say("soil: not at {state}", state=state)
    return say(
        "soil: not at {state} with rain foretold within {span}",
        state=state,
        span=_ahead(rule.with_rain_within),
    )


def _inversion(reason: Reason, rule: InversionBan) -> Message:
    if reason.stand is not LimitState.BROKEN:
        return say("no sign of an inversion")
    if rule.effect == "deemed hours":
        return say("inversion deemed to be there at this hour, or likely")
    return say("inversion likely")


def _equipment(config: FarmFile, rule: Rule) -> Message:
    rules = [RuleOf("", rule)]
    lacks = [lack for s in config.setups.values() for _, lack in equipment_breaks(config, s, rules)]
    if not lacks:
        return say("equipment as it asks for")
    return say("asks for {lack}", lack=lacks[0])
