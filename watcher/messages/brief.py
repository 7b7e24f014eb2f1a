"""The morning brief: the ranking first, then who waits and why."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import datetime, time, timedelta

from watcher.i18n.message import Message, Name, WallTime, joined, say
from watcher.judge.best_starts import DayStarts, best_starts
from watcher.judge.chances import FarmChances
from watcher.judge.judgement import Judgement
from watcher.judge.ranking import FieldNow, Ranking
from watcher.judge.timeline import Timeline
from watcher.limits.status import LimitState, Status
from watcher.messages.air_now import air_at, air_line
from watcher.messages.chances import (
    basis_line,
    best_starts_line,
    holds_until,
    is_likely,
    open_from,
    open_until,
)
from watcher.messages.day_plan import (
    left_out_lines,
    load_lines,
    of_day,
    plan_status,
    step_line,
    title,
)
from watcher.messages.reasons import Speaker
from watcher.messages.text import Text, headline_of
from watcher.messages.vocabulary import LIMIT_WORDS, STATUS_WORDS
from watcher.messages.wall_clock import wall_instant
from watcher.messages.weather import source_lines
from watcher.messages.words import SHAPES, span, takes
from watcher.planning.day_plan import NotPlanned, PlanStep
from watcher.planning.kept_plan import PlanNow

_SHARE_WORTH_TELLING = 0.995
_LATE_S = 300


def morning_brief(
    speaker: Speaker,
    judgement: Judgement,
    ranking: Ranking,
    timeline: Timeline,
    *,
    due_at: int,
    silent: Sequence[str] = (),
    plan: PlanNow | None = None,
    chances: FarmChances | None = None,
) -> Text:
    """Say what to spray now and in which order, who waits for when, and how old the weather is.

    Then, where ``chances`` are known, each field's best hours to begin of the next three days.

    With a plan that has steps today it is the plan's steps, what it leaves out and why; the ranking
    then is the plan's first step, so that the two say the same.

    ``due_at`` is when it should have come; one made later says so. [epoch seconds] ``silent`` names
    the sources without a fresh word; where nothing is known for that, they are what is said.
    """
    missing = [_missing(silent)] if silent else []
    if silent and _nothing_known(ranking):
        return Text(
            title=headline_of(say("Not known yet, no word from"), (Name(s, 16) for s in silent)),
            lines=(
                say("Of no field is it known whether it can be sprayed."),
                *missing,
                *_late(speaker, due_at, ranking.at),
                *source_lines(timeline),
            ),
        )
    best = _best_days(judgement, timeline, ranking, chances)
    if plan is not None and _leads(plan, ranking):
        steps = _today(speaker, plan, ranking.at)
        return _of_plan(
            speaker,
            judgement,
            ranking,
            timeline,
            plan,
            steps=steps,
            due_at=due_at,
            missing=missing,
            starts=_best_starts(speaker, ranking, best) if any(best.values()) else (),
        )
    spray = [to_spray(speaker, ranking.at, n, f) for n, f in enumerate(ranking.spray, start=1)]
    rest = [_waiting(speaker, ranking, f) for f in ranking.rest]
    return Text(
        title=_title(speaker, ranking),
        lines=(
            *spray,
            *rest,
            *missing,
            *_late(speaker, due_at, ranking.at),
            *source_lines(timeline),
            *_air(speaker, judgement, timeline, ranking),
            *_best_starts(speaker, ranking, best),
        ),
        more=tuple(_every_limit(speaker, f) for f in (*ranking.spray, *ranking.rest)),
    )


def _leads(plan: PlanNow, ranking: Ranking) -> bool:
    """Whether the plan is given in place of the ranking.

    One that leaves out all that is open does so too, unless that is for want of a forecast: then
    only now is known, and that is said.
    """
    out = plan.kept.plan.left_out
    known = all(
        out.get(f.field, NotPlanned.NOT_KNOWN) is not NotPlanned.NOT_KNOWN for f in ranking.spray
    )
    return not plan.old and bool(plan.steps or (ranking.spray and known))


def _today(speaker: Speaker, plan: PlanNow, now: int) -> list[PlanStep]:
    """The steps of the plan that begin today, those whose time has come too."""
    tomorrow = datetime.fromtimestamp(now, speaker.farm.zone).date() + timedelta(days=1)
    return of_day(plan.steps, 0, wall_instant(tomorrow, time(0), speaker.farm.zone))


def _of_plan(
    speaker: Speaker,
    judgement: Judgement,
    ranking: Ranking,
    timeline: Timeline,
    plan: PlanNow,
    *,
    steps: Sequence[PlanStep],
    due_at: int,
    missing: Sequence[Message],
    starts: Iterable[Message],
) -> Text:
    now = ranking.at
    later = [step for step in plan.steps if step not in steps]
    return Text(
        title=_plan_title(speaker, steps, later, now),
        lines=(
            *(step_line(speaker, step, n, now) for n, step in enumerate(steps, start=1)),
            *(step_line(speaker, s, n, now) for n, s in enumerate(later, start=len(steps) + 1)),
            *left_out_lines(plan, speaker, ranking),
            plan_status(plan, speaker),
            *missing,
            *_late(speaker, due_at, now),
            *source_lines(timeline),
            *_air(speaker, judgement, timeline, ranking),
            *starts,
        ),
        more=(
            *(_loads(speaker, step) for step in steps),
            *(_every_limit(speaker, f) for f in (*ranking.spray, *ranking.rest)),
        ),
    )


def _plan_title(
    speaker: Speaker, today: Sequence[PlanStep], later: Sequence[PlanStep], now: int
) -> Message:
    if today:
        return title(speaker, say("Plan today:"), today, now)
    if later:
        return title(speaker, say("Plan:"), later, now)
    return say("Plan today: nothing to spray")


def _loads(speaker: Speaker, step: PlanStep) -> Message:
    lines = joined((joined(["  ", line], "") for line in load_lines(speaker, step)), "\n")
    head = say("Loads for {field}:", field=Name(step.field))
    return joined([head, lines], "\n")


def _missing(silent: Sequence[str]) -> Message:
    return say("No fresh word from {sources}: see to it.", sources=joined(map(Name, silent)))


def _nothing_known(ranking: Ranking) -> bool:
    return not ranking.spray and all(f.status is Status.UNKNOWN for f in ranking.rest)


def _air(
    speaker: Speaker, judgement: Judgement, timeline: Timeline, ranking: Ranking
) -> Iterator[Message]:
    """Yield the air over the field that comes first, where there is one."""
    first = next((f for f in (*ranking.spray, *ranking.rest) if f.setup), None)
    if first is not None:
        look = timeline.of(first.field)
        air = air_at(judgement, look, ranking.at, first.field, str(first.setup))
        yield air_line(air, speaker.system)


def _best_days(
    judgement: Judgement, timeline: Timeline, ranking: Ranking, chances: FarmChances | None
) -> dict[str, tuple[DayStarts, ...]]:
    """The best hours to begin of the next three days, of each field that is not done."""
    if chances is None:
        return {}
    fields = (seen.field for seen in (*ranking.spray, *ranking.rest))
    return {f: best_starts(judgement, timeline.now_index, chances, f) for f in fields}


def _best_starts(
    speaker: Speaker, ranking: Ranking, best: Mapping[str, tuple[DayStarts, ...]]
) -> Iterator[Message]:
    """Yield a line a field of which chances are known, then what all chances rest on."""
    for field, days in best.items():
        if days:
            line = best_starts_line(days, ranking.at, speaker.farm.zone)
            yield say("{field}, {line}", field=Name(field), line=line)
    shown = [f.chance for f in ranking.spray]
    starts = [day.best for days in best.values() for day in days]
    if starts or shown:
        yield basis_line([*shown, *starts])


def _late(speaker: Speaker, due_at: int, now: int) -> tuple[Message, ...]:
    if now - due_at < _LATE_S:
        return ()
    clock = WallTime(due_at, now, speaker.farm.zone)
    return (say("This brief was due at {clock}: the watch was not running then.", clock=clock),)


def _title(speaker: Speaker, ranking: Ranking) -> Message:
    if ranking.spray:
        return headline_of(say("Spray now:"), (Name(f.field, 20) for f in ranking.spray))
    opening = [f for f in ranking.rest if f.opens_at is not None]
    if opening:
        now, zone = ranking.at, speaker.farm.zone
        times = (
            joined([Name(f.field, 14), WallTime(f.opens_at or 0, now, zone)], " ") for f in opening
        )
        likely = all(is_likely(f.opening) for f in opening)
        return headline_of(say("Likely next:") if likely else say("Maybe next:"), times)
    if _nothing_known(ranking):
        return say("Weather unknown: do not rely on it")
    return say("No field opens in the next {span}", span=_horizon(speaker))


def _horizon(speaker: Speaker) -> Message:
    return span(speaker.farm.config.judging.horizon)


def to_spray(speaker: Speaker, now: int, place: int, field: FieldNow) -> Message:
    """Return one field of the ranking: place, status, setup, how long, until when."""
    zone = speaker.farm.zone
    head: Message = say(
        "{place} {shape} {field} {status}: {setup}, {span}",
        place=place,
        shape=SHAPES[field.status],
        field=Name(field.field),
        status=STATUS_WORDS[field.status],
        setup=Name(field.setup or ""),
        span=takes(field.duration_s, field.left),
    )
    if field.breaks_at is not None:
        head = joined([head, open_until(field.breaks_at, field.chance, now, zone)])
    if field.chance is not None and field.chance.chance is not None:
        odds = holds_until(field.chance.chance, field.chance.ends_at, now, zone)
        head = joined([head, say("holds: {odds}", odds=odds)])
    if field.share_done < _SHARE_WORTH_TELLING:
        share = f"{field.share_done:.0%}"
        head = say("{line} (time for {share} of it)", line=head, share=share)
    parts = [head]
    if field.can_wait_until is not None:
        when = WallTime(field.can_wait_until, now, zone)
        parts.append(say("can wait for {clock}", clock=when))
    if field.status is Status.MARGINAL:
        parts.append(speaker.reason(field.field, field.binding))
    return joined(parts, "; ")


def _waiting(speaker: Speaker, ranking: Ranking, field: FieldNow) -> Message:
    status = STATUS_WORDS[field.status]
    if field.status is Status.UNKNOWN:
        status = say("{status}, do not rely on it", status=status)
    line: Message = say(
        "{shape} {field} {status}: {reason}",
        shape=SHAPES[field.status],
        field=Name(field.field),
        status=status,
        reason=speaker.reason(field.field, field.binding),
    )
    broken = [r.limit for r in field.reasons[1:] if r.stand is LimitState.BROKEN]
    if broken:
        line = joined([line, say("also {limits}", limits=joined(LIMIT_WORDS[b] for b in broken))])
    if field.opens_at is not None:
        opens = open_from(field.opens_at, field.opening, ranking.at, speaker.farm.zone)
        return joined([line, opens], "; ")
    line = joined([line, say("not in the next {span}", span=_horizon(speaker))], "; ")
    if field.shut_by is None or field.shut_by in {field.binding.limit, *broken}:
        return line
    return say("{line} ({limit})", line=line, limit=LIMIT_WORDS[field.shut_by])


def _every_limit(speaker: Speaker, field: FieldNow) -> Message:
    limits = joined(
        (joined(["  ", speaker.reason(field.field, r)], "") for r in field.reasons), "\n"
    )
    status = STATUS_WORDS[field.status]
    if field.setup:
        head = say(
            "{field} with {setup}, {status}:",
            field=Name(field.field),
            setup=Name(field.setup),
            status=status,
        )
    else:
        head = say("{field}, {status}:", field=Name(field.field), status=status)
    return joined([head, limits], "\n")
