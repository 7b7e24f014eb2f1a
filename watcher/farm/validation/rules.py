"""Rules that say nothing, that contradict each other, or that nobody could ever keep or judge."""

from collections.abc import Iterable, Iterator
from datetime import date

from watcher.farm.equipment import equipment_breaks
from watcher.farm.field_rules import rules_of
from watcher.farm.models import FarmFile, Setup, SprayerKind
from watcher.farm.problems import Problem, did_you_mean
from watcher.farm.read_file import Draft
from watcher.farm.rules.base import is_for
from watcher.farm.rules.buffers import Buffer
from watcher.farm.rules.calendar import ClockRule, DateRule, StageRule
from watcher.farm.rules.equipment import CarrierRule, DirectionBan, DropletRange
from watcher.farm.rules.kinds import Rule
from watcher.farm.rules.mix import Contradiction, Mix, RuleOf, brought_by, mix
from watcher.farm.rules.presets import PRESETS
from watcher.farm.rules.weather import (
    DeltaTRule,
    HumidityRule,
    InversionBan,
    RainAheadRule,
    TemperatureRule,
    WindRule,
)
from watcher.farm.validation_messages import Steps, assigned, dotted
from watcher.i18n.message import Message, Param, any_of, joined, say

_SIDED: tuple[tuple[type[Rule], tuple[str, ...]], ...] = (
    (WindRule, ("low", "high")),
    (TemperatureRule, ("low", "high")),
    (HumidityRule, ("low", "high")),
    (DeltaTRule, ("low", "high")),
    (CarrierRule, ("least", "most")),
    (DropletRange, ("finest", "coarsest")),
    (ClockRule, ("opens", "closes")),
    (DateRule, ("first", "last")),
    (StageRule, ("last", "until_stage", "days_after_planting")),
)


def rule_problems(draft: Draft) -> Iterator[Problem]:
    """Rules without a bound, buffers that are none, kinds and stages that nothing has."""
    for steps, rule in _rules(draft.config):
        yield from _unbounded(draft, steps, rule)
        yield from _unread(draft, steps, rule)
        yield from _kinds(draft, (*steps, "towards"), _towards(rule))
    for steps, buffer in _buffers(draft.config):
        yield from _buffer_problems(draft, steps, buffer)
        yield from _kinds(draft, (*steps, "protects"), buffer.protects)
    yield from _neighbours_without_kind(draft)


def mix_problems(draft: Draft) -> Iterator[Problem]:
    """Fields whose rules leave nothing between them, or that none of their setups can keep."""
    reported, units = set[Contradiction](), draft.config.farm.units
    for name, plan in draft.config.fields.items():
        setups = {
            s: draft.config.setups[s]
            for s in plan.setups or draft.config.setups
            if s in draft.config.setups
        }
        rules = rules_of(draft.config, name)
        apart = [
            mix((r for r in rules if is_for(r.rule, kind)), system=units).contradictions
            for kind in _kinds_of_sprayers(draft.config, setups.values())
        ]
        if all(apart):
            fresh = [c for found in apart for c in found if c not in reported]
            reported.update(fresh)
            for one in dict.fromkeys(fresh):
                yield _contradiction(draft, name, one)
        elif setups:
            yield from _no_setup(draft, name, mix(rules), setups)
        yield from _facts(draft, name, rules_of(draft.config, name))


def _kinds_of_sprayers(config: FarmFile, setups: Iterable[Setup]) -> set[SprayerKind]:
    """The kinds of the setups' sprayers; a boom where no setup can be read."""
    found = {config.sprayers[s.sprayer].kind for s in setups if s.sprayer in config.sprayers}
    return found or {SprayerKind.BOOM}


def expired(config: FarmFile, today: date) -> Iterator[tuple[Param, Message, Message]]:
    """Yield key, what is wrong and the mend for labels and rules no longer valid on a day."""
    for name, product in config.products.items():
        if product.valid_until is not None and product.valid_until < today:
            key = assigned(("products", name, "valid_until"), product.valid_until)
            yield (
                key,
                say("the label is no longer valid"),
                say("get the new label and copy it here"),
            )
    for steps, rule in (*_rules(config), *_buffers(config)):
        if rule.valid_until is not None and rule.valid_until < today:
            key = assigned((*steps, "valid_until"), rule.valid_until)
            mend = say("look up what holds now and change it, or take it out")
            yield key, say("the rule is no longer valid"), mend


def _rules(config: FarmFile) -> Iterator[tuple[Steps, Rule]]:
    for table in ("windows", "products"):
        for name, entry in getattr(config, table).items():
            for index, rule in enumerate(entry.rules):
                yield (table, name, "rules", index), rule


def _buffers(config: FarmFile) -> Iterator[tuple[Steps, Buffer]]:
    for table in ("windows", "products"):
        for name, entry in getattr(config, table).items():
            for index, buffer in enumerate(entry.buffers):
                yield (table, name, "buffers", index), buffer


def _unbounded(draft: Draft, steps: Steps, rule: Rule) -> Iterator[Problem]:
    for kind, sides in _SIDED:
        if isinstance(rule, kind) and all(getattr(rule, side) is None for side in sides):
            mend: Message = say("write {keys}", keys=any_of([joined([side]) for side in sides]))
            yield draft.problem(dotted(steps), say("names no bound"), mend)
    if isinstance(rule, InversionBan):
        hours = rule.before_sunset, rule.after_sunrise
        if rule.effect == "deemed hours" and None in hours:
            mend = say("write before_sunset and after_sunrise")
            yield draft.problem(dotted(steps), say("names no hours"), mend)
        if rule.effect != "deemed hours" and hours != (None, None):
            mend = say('take them out, or write effect = "deemed hours"')
            yield draft.problem(dotted(steps), say("hours mean nothing for this effect"), mend)
    if isinstance(rule, ClockRule) and rule.opens is not None and rule.opens == rule.closes:
        wrong, mend = say("opens and closes at once"), say("give it two times")
        yield draft.problem(dotted(steps), wrong, mend)
    if rule.valid_from and rule.valid_until and rule.valid_from > rule.valid_until:
        wrong, mend = say("is never valid"), say("check valid_from and valid_until")
        yield draft.problem(dotted(steps), wrong, mend)


def _unread(draft: Draft, steps: Steps, rule: Rule) -> Iterator[Problem]:
    if isinstance(rule, RainAheadRule) and rule.amount is None and rule.chance is None:
        wrong = say("names neither amount nor chance: nothing can be decided by it")
        mend = say('ask whoever wrote it what makes runoff, and write amount = "…", such as "6 mm"')
        yield draft.problem(dotted(steps), wrong, mend)


def _towards(rule: Rule) -> tuple[str, ...]:
    return rule.towards if isinstance(rule, DirectionBan) else ()


def _kinds(draft: Draft, steps: Steps, kinds: tuple[str, ...]) -> Iterator[Problem]:
    known = {k for n in draft.config.neighbours.values() for k in n.kinds}
    # A farm without any neighbour has nothing to protect; a word that fits none is a mistake.
    if not draft.config.neighbours or len(draft.names("neighbours")) > len(draft.config.neighbours):
        return
    if any(not n.kinds for n in draft.config.neighbours.values()):
        return  # reported once, at the neighbour
    for kind in kinds:
        if kind not in known:
            wrong, mend = (
                say("no neighbour is of this kind"),
                did_you_mean(kind, known, say("kinds")),
            )
            yield draft.problem(assigned(steps, kind), wrong, mend)


def _neighbours_without_kind(draft: Draft) -> Iterator[Problem]:
    asked = [*_buffers(draft.config)]
    bans = [s for s, rule in _rules(draft.config) if isinstance(rule, DirectionBan)]
    presets = any(PRESETS[name].buffers for name in draft.config.farm.presets)
    if not asked and not bans and not presets:
        return
    for name, neighbour in draft.config.neighbours.items():
        if not neighbour.kinds:
            words = sorted({k for _, b in asked for k in b.protects}) or ["water"]
            wrong = say("has no kinds, and labels or laws protect some kinds of neighbours")
            mend = say(
                'add kinds = ["{kind}"], or a kind of its own that none of them protects',
                kind=words[0],
            )
            yield draft.problem(dotted(("neighbours", name)), wrong, mend)


def _buffer_problems(draft: Draft, steps: Steps, buffer: Buffer) -> Iterator[Problem]:
    key = dotted(steps)
    if (buffer.base is None) == (not buffer.table):
        wrong = say("has both base and table") if buffer.table else say("has no distance")
        yield draft.problem(key, wrong, say("write base, or the rows of a table"))
    if buffer.reductions and buffer.combine == "none":
        wrong = say("nothing says how they combine")
        mend = say('write combine = "add and cap", "replace" or "all together", or take them out')
        yield draft.problem(dotted((*steps, "reductions")), wrong, mend)
    for index, reduction in enumerate(buffer.reductions):
        place = dotted((*steps, "reductions", index))
        if (reduction.percent is None) == (reduction.to is None):
            wrong, mend = say("must name one of percent and to"), say("write one of them")
            yield draft.problem(place, wrong, mend)
        elif buffer.combine == "add and cap" and reduction.percent is None:
            wrong, mend = say("percents are added, and it names none"), say("write percent")
            yield draft.problem(place, wrong, mend)
    if buffer.other_sides is not None and buffer.sides != "downwind":
        wrong = say("means nothing for a buffer on all sides")
        yield draft.problem(dotted((*steps, "other_sides")), wrong, say("take it out"))


def _contradiction(draft: Draft, field: str, found: Contradiction) -> Problem:
    key = dotted(("fields", field))
    if found.one == found.other:
        wrong = say("{one} contradicts itself: {what}", one=brought_by(found.one), what=found.what)
        return draft.problem(key, wrong, say("correct it"))
    wrong = say(
        "{one} and {other} leave nothing: {what}",
        one=brought_by(found.one),
        other=brought_by(found.other),
        what=found.what,
    )
    mend = say("no setup is legal: they may not be sprayed in one tank")
    return draft.problem(key, wrong, mend)


def _no_setup(
    draft: Draft, field: str, together: Mix, setups: dict[str, Setup]
) -> Iterator[Problem]:
    """A field none of whose setups keeps what its rules ask of the equipment."""
    why = {
        name: [
            say("{who} asks for {lack}", who=brought_by(rule.of), lack=lack)
            for rule, lack in equipment_breaks(draft.config, setup, together.rules)
        ]
        for name, setup in setups.items()
    }
    if any(not lacks for lacks in why.values()):
        return
    asked = joined((joined([name, lacks[0]], ": ") for name, lacks in why.items()), "; ")
    yield draft.problem(
        dotted(("fields", field, "setups")),
        say("can never be sprayed: no setup keeps the rules of its window and products"),
        say("mend or allow a setup. {asked}", asked=asked),
    )


def _facts(draft: Draft, name: str, rules: tuple[RuleOf, ...]) -> Iterator[Problem]:
    """Facts a field must tell for its rules to be judged at all."""
    plan = draft.config.fields[name]
    counting = [
        rule_of.of
        for rule_of in rules
        if isinstance(rule_of.rule, StageRule) and rule_of.rule.days_after_planting is not None
    ]
    if counting and plan.planted is None:
        who = brought_by(counting[0])
        wrong = say("{who} counts days after planting: planted is missing", who=who)
        mend = say("add planted = the day it was planted")
        yield draft.problem(dotted(("fields", name)), wrong, mend)
