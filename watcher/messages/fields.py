"""Fields that open, and fields about to close."""

from collections.abc import Sequence

import numpy as np

from watcher.i18n.message import Message, Name, WallTime, joined, say
from watcher.judge.judgement import Judgement
from watcher.judge.ranking import FieldNow
from watcher.judge.reasons import binding
from watcher.judge.setup_choice import choose_setup
from watcher.judge.timeline import Timeline
from watcher.messages.brief import to_spray
from watcher.messages.chances import is_likely, open_until
from watcher.messages.reasons import Speaker
from watcher.messages.text import Text, headline_of
from watcher.messages.weather import source_lines
from watcher.messages.words import span


def opening(
    speaker: Speaker, fields: Sequence[FieldNow], _judgement: Judgement, timeline: Timeline
) -> Text:
    """Say which fields have opened, in the order to spray them."""
    lines = [to_spray(speaker, timeline.now, n, f) for n, f in enumerate(fields, start=1)]
    return Text(
        title=headline_of(say("Open now:"), [Name(f.field, 20) for f in fields]),
        lines=(*lines, *source_lines(timeline)),
    )


def closing(
    speaker: Speaker, fields: Sequence[FieldNow], judgement: Judgement, timeline: Timeline
) -> Text:
    """Say which fields are foretold to close soon, why, and whether a job still fits."""
    zone, now = speaker.farm.zone, timeline.now
    times = [
        joined([Name(f.field, 16), WallTime(f.closes_at or now, now, zone)], " ") for f in fields
    ]
    return Text(
        title=headline_of(
            say("Likely until:")
            if all(is_likely(f.chance) for f in fields)
            else say("Maybe until:"),
            times,
        ),
        lines=(*(_closes(speaker, f, judgement, now) for f in fields), *source_lines(timeline)),
    )


def _closes(speaker: Speaker, field: FieldNow, judgement: Judgement, now: int) -> Message:
    plan, at = judgement.plan, field.closes_at or now
    time = int(np.searchsorted(judgement.series.times, at))
    where = plan.fields.index(field.field)
    closest = choose_setup(judgement, where, time) or 0
    if field.duration_s <= at - now:
        fits = say("a whole job still fits")
    else:
        fits = say("a whole job of {span} no longer fits", span=span(field.duration_s))
    return say(
        "{field} {until}: {reason}; {fits}.",
        field=Name(field.field),
        until=open_until(at, field.chance, now, speaker.farm.zone),
        reason=speaker.reason(field.field, binding(judgement, where, closest, time)),
        fits=fits,
    )
