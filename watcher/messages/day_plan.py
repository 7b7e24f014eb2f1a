"""The plan of the day in words: its steps and loads, what is left out, what other orders lose."""

from collections.abc import Iterator, Mapping, Sequence

from watcher.farm.dose import Dose
from watcher.farm.models import Sprayer
from watcher.i18n.message import (
    NOTHING,
    Message,
    Name,
    Sentence,
    ShownQuantity,
    WallTime,
    joined,
    say,
    say_n,
)
from watcher.judge.ranking import Ranking
from watcher.limits.application import Loads, loads
from watcher.limits.status import Status
from watcher.messages.chances import basis, tenths
from watcher.messages.reasons import Speaker
from watcher.messages.text import Text, headline_of
from watcher.messages.vocabulary import LIMIT_WORDS
from watcher.messages.words import span
from watcher.planning.day_plan import NotPlanned, PlanLoss, PlanStep, Wish
from watcher.planning.kept_plan import PlanChanged, PlanNow, RefusedWish
from watcher.planning.optimum import available
from watcher.units import Kind

LEFT_OUT: Mapping[NotPlanned, Message] = {
    NotPlanned.NOT_KNOWN: say("chance not known: no forecast that covers it"),
    NotPlanned.NO_HOUR: say("no hour in which it is likely enough to hold"),
    NotPlanned.NO_TIME: say("the sprayers are needed elsewhere in its hours"),
    NotPlanned.WISHED: say("left out by what you asked for"),
    NotPlanned.ONLY_WITH: say("no hour with the one sprayer you allow for it"),
    NotPlanned.HOME_BY: say("its hours are after you want to be home"),
    NotPlanned.OUT: say("its sprayers are out of use today"),
    NotPlanned.NOBODY: say("nobody who drives its sprayers works in its hours"),
}
NO_PLAN = say("No plan: nothing is foretold for a field that is still to be sprayed.")
NOT_YET = say("The plan is being worked out: it comes soon after the first forecast.")
WISH_WORDS: Mapping[Wish, Message] = {
    Wish.FIRST: say("this field first"),
    Wish.NOT_THIS: say("leave it out"),
    Wish.NOT_TODAY: say("not today"),
    Wish.ONLY_WITH: say("with this sprayer only"),
    Wish.HOME_BY: say("home by"),
    Wish.OUT: say("sprayer out of use today"),
}
_SAME = 0.05
"""Expected fields that differ by less are the same."""
_NOW_S = 60


def expected(steps: Sequence[PlanStep]) -> Message:
    """Return how many fields are likely to be finished by a plan."""
    count = sum(step.chance * step.part for step in steps)
    return say_n(
        "{n} field planned; expect about {count} to be finished.",
        "{n} fields planned; expect about {count} to be finished.",
        len(steps),
        count=f"{count:.1f}",
    )


def how_planned() -> Message:
    """Return what the plan was made with, where it is not the best that could be had."""
    if available():
        return NOTHING
    return say("Planned without the solver (the extra 'plan'): another order may be better.")


def loses(found: PlanLoss) -> Message:
    """Return what another plan loses against one: fields first, else chances."""
    if found.fields:
        return say("loses {fields}", fields=joined(map(Name, found.fields)))
    if found.fewer < _SAME:
        return say("nothing lost")
    return say("lower chances: {count} fewer fields finished", count=f"{found.fewer:.1f}")


def refusal(refused: RefusedWish) -> Message:
    """Return which wish is not fulfilled, and what stands in its way."""
    field = Name(refused.field)
    if refused.by is None:
        return say(
            "{field} cannot be first: it has no start in which it is likely enough to hold. Take "
            "that wish back.",
            field=field,
        )
    return say(
        "{field} cannot be first: your wish “{wish}” stands in the way. Take one of the two back.",
        field=field,
        wish=WISH_WORDS[refused.by],
    )


def plan_status(plan: PlanNow, speaker: Speaker) -> Message:
    """Return when a plan was made and of what, and whether it still stands."""
    made = WallTime(plan.kept.made_at, plan.now, speaker.farm.zone)
    if plan.changed is None:
        return say(
            "Made at {clock}; chances {basis}.",
            clock=made,
            basis=basis(plan.kept.past_forecasts),
        )
    why = _CHANGED[plan.changed]
    if plan.old:
        return say("Old, of {clock}: do not go by it. {why}", clock=made, why=why)
    return say("Of {clock}, and being worked out anew. {why}", clock=made, why=why)


_CHANGED: Mapping[PlanChanged, Message] = {
    PlanChanged.ISSUE: say("A new forecast has come since."),
    PlanChanged.JOB: say("A job has begun, changed or ended since."),
    PlanChanged.WISHES: say("What you ask of it has changed since."),
    PlanChanged.FARM: say("The farm file has changed since."),
    PlanChanged.CLOSED: say("A field whose turn it is is not open now."),
    PlanChanged.AGE: say("Nothing newer could be worked out."),
    PlanChanged.QUICK: say("It was put together at once; a better order is being looked for."),
}


def begins(step: PlanStep, now: int, speaker: Speaker) -> Message:
    """Return when a step begins: now, or the clock."""
    if step.starts_at <= now + _NOW_S:
        return say("now")
    return WallTime(step.starts_at, now, speaker.farm.zone)


def step_line(speaker: Speaker, step: PlanStep, place: int, now: int) -> Message:
    """Return one step as a line: place, field, hours, setup, chance, what ends it."""
    line: Message = say(
        "{place} {field} {start} to {end}: {setup}, {odds}",
        place=place,
        field=Name(step.field),
        start=begins(step, now, speaker),
        end=WallTime(step.ends_at, now, speaker.farm.zone),
        setup=Name(step.setup),
        odds=tenths(step.chance),
    )
    parts = [line]
    if len(speaker.farm.config.sprayers) > 1 or step.driver:
        parts.append(with_whom(step))
    parts += [only_part(step), what_ends(step), before(step)]
    return joined([part for part in parts if part != NOTHING], "; ")


def with_whom(step: PlanStep) -> Message:
    """Return the sprayer of a step, and who drives it where drivers are named."""
    sprayer = Name(step.sprayer)
    if not step.driver:
        return say("with {sprayer}", sprayer=sprayer)
    return say("with {sprayer}, driven by {driver}", sprayer=sprayer, driver=Name(step.driver))


def only_part(step: PlanStep) -> Message:
    """Return that a step is of half a field, where it is."""
    if step.part == 1.0:
        return NOTHING
    return say("half of it: the whole is not likely enough to hold")


def what_ends(step: PlanStep) -> Message:
    """Return what ends such a job most often, where anything does."""
    if step.ended_by is None:
        return NOTHING
    return say("what may end it: {limit}", limit=LIMIT_WORDS[step.ended_by])


def before(step: PlanStep) -> Message:
    """Return what has to be done before a step: the way, the rinsing, other tips."""
    found: list[Message] = []
    rest_s = max(step.change_s - step.tips_s, 0.0)
    if step.cleans_out:
        found.append(say("before it {span}, with tank and boom rinsed", span=span(rest_s)))
    elif step.changes_over:
        found.append(say("before it {span} to change over to this sprayer", span=span(rest_s)))
    elif rest_s:
        found.append(say("before it {span} on the way", span=span(rest_s)))
    if step.tips_s:
        found.append(say("other tips first, a stop of {span}", span=span(step.tips_s)))
    return joined(found) if found else NOTHING


def loads_of(speaker: Speaker, step: PlanStep) -> Loads:
    """Return the loads of a step."""
    config = speaker.farm.config
    return loads(
        area_m2=step.area_m2,
        carrier_l_ha=config.setups[step.setup].carrier,
        tank_l=config.sprayers[step.sprayer].tank,
    )


def load_lines(speaker: Speaker, step: PlanStep) -> list[Message]:
    """Return how much water and how much of each product a step takes, load by load."""
    config = speaker.farm.config
    sprayer, found = config.sprayers[step.sprayer], loads_of(speaker, step)
    lines: list[Message] = [Sentence(_water(speaker, sprayer, found))]
    for name in config.fields[step.field].products:
        product = config.products[name]
        if product.rate is None:
            lines.append(Sentence(say("{product}: no rate in the farm file", product=Name(name))))
            continue
        dose, m2_a_litre = Dose.read(product.rate), 1e4 / config.setups[step.setup].carrier
        each = [dose.on(sprayer.tank * m2_a_litre)] if found.full else []
        each += [dose.on(found.last_l * m2_a_litre)] if found.last_l else []
        whole = dose.on(step.area_m2)
        if found.count < 2:
            text: Message = say("{product}: {amount}", product=Name(name), amount=whole)
        elif found.last_l:
            text = say(
                "{product}: {full} in a full load, {last} in the last, {amount} in all",
                product=Name(name),
                full=each[0],
                last=each[1],
                amount=whole,
            )
        else:
            text = say(
                "{product}: {full} in a full load, {amount} in all",
                product=Name(name),
                full=each[0],
                amount=whole,
            )
        lines.append(Sentence(text))
    return lines


def _water(speaker: Speaker, sprayer: Sprayer, found: Loads) -> Message:
    """``"2 loads of 500 gal, the last 120 gal"``."""
    full = ShownQuantity(sprayer.tank, Kind.VOLUME, speaker.system)
    last = ShownQuantity(found.last_l, Kind.VOLUME, speaker.system)
    if not found.full:
        return say("one load of {volume}", volume=last)
    whole = say_n(
        "{n} full load of {volume}", "{n} full loads of {volume}", found.full, volume=full
    )
    return joined([whole, say("the last {volume}", volume=last)]) if found.last_l else whole


def title(speaker: Speaker, start: Message, steps: Sequence[PlanStep], now: int) -> Message:
    """Return a title that names steps with their hours: ``"Plan today: hill 08:40"``."""
    return headline_of(
        start, (joined([Name(s.field, 18), begins(s, now, speaker)], " ") for s in steps)
    )


def left_out_lines(plan: PlanNow, speaker: Speaker, ranking: Ranking) -> Iterator[Message]:
    """Yield what the plan leaves out, and why: the weather where it is that."""
    for field, why in plan.kept.plan.left_out.items():
        if field not in plan.done:
            yield joined([Name(field), why_out(why, field, speaker, ranking)], ": ")


def why_out(why: NotPlanned, field: str, speaker: Speaker, ranking: Ranking) -> Message:
    """Return why a field is left out, with what is against it now where that is the weather."""
    seen = ranking.every.get(field)
    if why is not NotPlanned.NO_HOUR or seen is None or seen.status >= Status.MARGINAL:
        return LEFT_OUT[why]
    now = say("now {reason}", reason=speaker.reason(field, seen.binding))
    return joined([LEFT_OUT[why], now], "; ")


def next_step(speaker: Speaker, plan: PlanNow, step: PlanStep) -> Text:
    """Say that an accepted step is due soon: what to carry, until when, how likely it holds."""
    in_s = step.starts_at - plan.now
    items = [joined([Name(step.field), Name(step.setup, 16)])]
    start: Message = say("Now:") if in_s < _NOW_S else say("In {span}:", span=span(in_s))
    zone = speaker.farm.zone
    hours = say(
        "From {start} to {end}, {odds} ({basis}).",
        start=begins(step, plan.now, speaker),
        end=WallTime(step.ends_at, plan.now, zone),
        odds=tenths(step.chance),
        basis=basis(plan.kept.past_forecasts),
    )
    whom = [Sentence(with_whom(step))] if step.driver else []
    rest = [Sentence(only_part(step)), Sentence(before(step))]
    lines = [*whom, *load_lines(speaker, step), hours, *rest]
    return Text(headline_of(start, items), tuple(line for line in lines if str(line) != "."))


def plan_changed(speaker: Speaker, plan: PlanNow, ranking: Ranking) -> Text:
    """Say the new order, why the accepted one no longer stands, and what is lost by it."""
    # A field that goes to a sprayer which had nothing is named with where it was taken from.
    olds = {old.field: old for old, _ in plan.turned if old is not None}
    asked = () if plan.accepted is None else plan.accepted.plan.plan.steps
    for _, new in plan.turned:
        if new is not None and new.field not in olds:
            olds |= {s.field: s for s in asked if s.field == new.field and s.sprayer != new.sprayer}
    lines = [Sentence(_why_turned(speaker, plan, ranking, old)) for old in olds.values()]
    gone = {s.field for s in asked} - {s.field for s in plan.steps} - plan.done
    lost = PlanLoss(tuple(sorted(gone)), 0.0)
    accept = say("Open the plan to accept it, or to keep your order.")
    body = (*lines, Sentence(loses(lost)), *_first_steps(speaker, plan), accept)
    if not plan.steps:
        return Text(say("Plan now: nothing to spray"), body)
    return Text(title(speaker, say("Plan now:"), plan.steps, plan.now), body)


def _why_turned(speaker: Speaker, plan: PlanNow, ranking: Ranking, old: PlanStep) -> Message:
    """Return why a step that was accepted is no longer its sprayer's next."""
    field, left_out = Name(old.field), plan.kept.plan.left_out
    if old.field in left_out:
        why = why_out(left_out[old.field], old.field, speaker, ranking)
        return joined([field, why], ": ")
    new = next((step for step in plan.steps if step.field == old.field), None)
    seen = ranking.every.get(old.field)
    if seen is not None and seen.status < Status.MARGINAL:
        reason = speaker.reason(old.field, seen.binding)
        if new is None:
            return joined([field, reason], ": ")
        when = WallTime(new.starts_at, plan.now, speaker.farm.zone)
        return say("{field} at {clock}: now {reason}", field=field, clock=when, reason=reason)
    if new is None:
        return say("{field} is no longer planned", field=field)
    if new.sprayer != old.sprayer:
        return say("{field} goes to {sprayer}", field=field, sprayer=Name(new.sprayer))
    return say(
        "{field} holds better at {clock}: {odds}",
        field=field,
        clock=WallTime(new.starts_at, plan.now, speaker.farm.zone),
        odds=tenths(new.chance),
    )


def _first_steps(speaker: Speaker, plan: PlanNow) -> list[Message]:
    return [
        Sentence(step_line(speaker, step, place, plan.now))
        for place, step in enumerate(plan.steps[:3], start=1)
    ]


def of_day(steps: Sequence[PlanStep], first: int, last: int) -> list[PlanStep]:
    """Return the steps that begin in a span of time. [epoch seconds]"""
    return [step for step in steps if first <= step.starts_at < last]
