"""The evening look-ahead: which hours tomorrow has for which field."""

from collections.abc import Iterator
from datetime import datetime, time, timedelta

import numpy as np

from watcher.i18n.message import Message, Name, joined, say
from watcher.judge.best_starts import DayStarts, best_starts
from watcher.judge.chances import FarmChances
from watcher.judge.judgement import Judgement
from watcher.judge.reasons import binding
from watcher.judge.setup_choice import choose_setup
from watcher.judge.timeline import Timeline
from watcher.limits.hours import ends
from watcher.limits.status import Status
from watcher.messages.chances import basis_line, best_starts_line
from watcher.messages.day_plan import of_day, plan_status, step_line
from watcher.messages.reasons import Speaker
from watcher.messages.text import Text, headline_of
from watcher.messages.vocabulary import STATUS_WORDS
from watcher.messages.wall_clock import wall_instant
from watcher.messages.weather import source_lines
from watcher.messages.words import SHAPES
from watcher.planning.kept_plan import PlanNow

Span = tuple[int, int]


def evening_look_ahead(
    speaker: Speaker,
    judgement: Judgement,
    timeline: Timeline,
    *,
    plan: PlanNow | None = None,
    chances: FarmChances | None = None,
) -> Text:
    """Say what the plan has tomorrow, and when each field is open, those with the fewest hours

    first. Where there is no plan for tomorrow the title names the hours. Where ``chances`` are
    known each field has its best hours to begin of the next three days.
    """
    day = _tomorrow(speaker, timeline.now)
    steps = of_day(plan.steps, *day) if plan is not None else []
    spans = {field: list(_open(judgement, f, day)) for f, field in enumerate(judgement.plan.fields)}
    order = sorted(spans, key=lambda f: (not spans[f], sum(e - s for s, e in spans[f]), f))
    openings = [
        joined([Name(f, 18), _wall(speaker, spans[f][0][0])], " ") for f in order if spans[f]
    ]
    title: Message = headline_of(say("Tomorrow:"), openings)
    if not openings:
        title = _nothing(judgement, day)
    best = _best_days(judgement, timeline, chances)
    lines: list[Message] = []
    for f in order:
        own = best_starts_line(best[f], timeline.now, speaker.farm.zone) if best.get(f) else None
        line = _line(speaker, judgement, f, spans[f], day)
        lines.append(line if own is None else joined([line, own], "; "))
    if plan is not None and steps:
        planned = [joined([Name(s.field, 18), _wall(speaker, s.starts_at)], " ") for s in steps]
        title = headline_of(say("Tomorrow:"), planned)
        of_plan = [step_line(speaker, s, n, timeline.now) for n, s in enumerate(steps, start=1)]
        lines = [*of_plan, plan_status(plan, speaker), *lines]
    shown = [one.best for days in best.values() for one in days]
    rests_on = (basis_line(shown),) if shown else ()
    return Text(title=title, lines=(*lines, *rests_on, *source_lines(timeline)))


def _best_days(
    judgement: Judgement, timeline: Timeline, chances: FarmChances | None
) -> dict[str, tuple[DayStarts, ...]]:
    """The best hours to begin of the next three days by field."""
    if chances is None:
        return {}
    fields = judgement.plan.fields
    return {f: best_starts(judgement, timeline.now_index, chances, f) for f in fields}


def _tomorrow(speaker: Speaker, now: int) -> Span:
    zone = speaker.farm.zone
    today = datetime.fromtimestamp(now, zone).date()
    first, last = (wall_instant(today + timedelta(days=d), time(0), zone) for d in (1, 2))
    return first, last


def _hours(judgement: Judgement, day: Span) -> slice:
    first, last = np.searchsorted(judgement.series.times, day)
    return slice(int(first), int(last))


def _open(judgement: Judgement, field: int, day: Span) -> Iterator[Span]:
    hours = _hours(judgement, day)
    starts, stops = judgement.series.times[hours], ends(judgement.series)[hours]
    begun: int | None = None
    until = 0
    for start, stop, best in zip(starts, stops, judgement.best[field, hours], strict=True):
        if best >= Status.MARGINAL:
            begun, until = int(start) if begun is None else begun, int(stop)
        elif begun is not None:
            yield begun, until
            begun = None
    if begun is not None:
        yield begun, until


def _wall(speaker: Speaker, at: int) -> str:
    return f"{datetime.fromtimestamp(at, speaker.farm.zone):%H:%M}"


def _nothing(judgement: Judgement, day: Span) -> Message:
    best = judgement.best[:, _hours(judgement, day)]
    if not best.size or (best == Status.UNKNOWN).all():
        return say("Tomorrow unknown: do not rely on it")
    return say("No field opens tomorrow")


def _line(
    speaker: Speaker, judgement: Judgement, field: str, spans: list[Span], day: Span
) -> Message:
    f, hours = judgement.plan.fields.index(field), _hours(judgement, day)
    best = judgement.best[f, hours]
    status = Status(int(best.max())) if best.size else Status.UNKNOWN
    line = joined([SHAPES[status], Name(field), STATUS_WORDS[status]], " ")
    if spans:
        times = joined(_from_to(speaker, start, end) for start, end in spans)
        return joined([line, times], " ")
    if status is Status.UNKNOWN:
        return say("{line}, do not rely on it", line=line)
    noon = (day[0] + day[1]) // 2
    at = min(int(np.searchsorted(judgement.series.times, noon)), hours.stop - 1)
    setup = choose_setup(judgement, f, at)
    if setup is None:
        return line
    why = speaker.reason(field, binding(judgement, f, setup, at))
    return joined([line, say("at noon: {reason}", reason=why)], "; ")


def _from_to(speaker: Speaker, start: int, end: int) -> Message:
    return say("{first} to {last}", first=_wall(speaker, start), last=_wall(speaker, end))
