"""The evening look-ahead: which hours tomorrow has for which field."""

from collections.abc import Iterator
from datetime import datetime, time, timedelta

import numpy as np

from watcher.alerts.daily import wall_instant
from watcher.alerts.wording.reasons import Speaker
from watcher.alerts.wording.weather import source_lines
from watcher.alerts.wording.words import SHAPES, Text, headline, name
from watcher.judge.hour_limits import ends
from watcher.judge.judgement import Judgement
from watcher.judge.outlook import Outlook
from watcher.judge.reasons import reasons
from watcher.judge.setup_choice import choose_setup
from watcher.judge.status import Status

Span = tuple[int, int]


def evening_look_ahead(speaker: Speaker, judgement: Judgement, outlook: Outlook) -> Text:
    """Say when tomorrow each field is open, those with the fewest hours first."""
    day = _tomorrow(speaker, outlook.now)
    spans = {field: list(_open(judgement, f, day)) for f, field in enumerate(judgement.plan.fields)}
    order = sorted(spans, key=lambda f: (not spans[f], sum(e - s for s, e in spans[f]), f))
    openings = [f"{name(f, 18)} {_wall(speaker, spans[f][0][0])}" for f in order if spans[f]]
    title = headline("Tomorrow:", openings) if openings else _nothing(judgement, day)
    lines = [_line(speaker, judgement, f, spans[f], day) for f in order]
    return Text(title=title, lines=(*lines, *source_lines(outlook)))


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


def _nothing(judgement: Judgement, day: Span) -> str:
    best = judgement.best[:, _hours(judgement, day)]
    if not best.size or (best == Status.UNKNOWN).all():
        return "Tomorrow unknown: do not rely on it"
    return "No field opens tomorrow"


def _line(speaker: Speaker, judgement: Judgement, field: str, spans: list[Span], day: Span) -> str:
    f, hours = judgement.plan.fields.index(field), _hours(judgement, day)
    best = judgement.best[f, hours]
    status = Status(int(best.max())) if best.size else Status.UNKNOWN
    said = f"{SHAPES[status]} {name(field)} {status.word}"
    if spans:
        return f"{said} " + ", ".join(
            f"{_wall(speaker, s)} to {_wall(speaker, e)}" for s, e in spans
        )
    if status is Status.UNKNOWN:
        return f"{said}, do not rely on it"
    noon = (day[0] + day[1]) // 2
    at = min(int(np.searchsorted(judgement.series.times, noon)), hours.stop - 1)
    setup = choose_setup(judgement, f, at)
    if setup is None:
        return said
    why = speaker.reason(field, reasons(judgement, f, setup, at)[0])
    return f"{said}; at noon: {why}"
