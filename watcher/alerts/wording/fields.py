"""Fields that open, and fields about to close."""

from collections.abc import Sequence

import numpy as np

from watcher.alerts.wording.brief import to_spray
from watcher.alerts.wording.reasons import Speaker
from watcher.alerts.wording.weather import source_lines
from watcher.alerts.wording.words import Text, clock, headline, name, span
from watcher.judge.judgement import Judgement
from watcher.judge.outlook import Outlook
from watcher.judge.ranking import FieldNow
from watcher.judge.reasons import reasons
from watcher.judge.setup_choice import choose_setup


def opening(
    speaker: Speaker, fields: Sequence[FieldNow], _judgement: Judgement, outlook: Outlook
) -> Text:
    """Say which fields have opened, in the order to spray them."""
    lines = [to_spray(speaker, outlook.now, n, f) for n, f in enumerate(fields, start=1)]
    return Text(
        title=headline("Open now:", [name(f.field, 20) for f in fields]),
        lines=(*lines, *source_lines(outlook)),
    )


def closing(
    speaker: Speaker, fields: Sequence[FieldNow], judgement: Judgement, outlook: Outlook
) -> Text:
    """Say which fields are about to close, when and why, and whether a job still fits."""
    zone, now = speaker.farm.zone, outlook.now
    times = [f"{name(f.field, 16)} {clock(f.closes_at or now, now, zone)}" for f in fields]
    return Text(
        title=headline("Closes:", times),
        lines=(*(_closes(speaker, f, judgement, now) for f in fields), *source_lines(outlook)),
    )


def _closes(speaker: Speaker, field: FieldNow, judgement: Judgement, now: int) -> str:
    plan, at = judgement.plan, field.closes_at or now
    time = int(np.searchsorted(judgement.series.times, at))
    where = plan.fields.index(field.field)
    closest = choose_setup(judgement, where, time) or 0
    why = speaker.reason(field.field, reasons(judgement, where, closest, time)[0])
    left = at - now
    fits = (
        "a whole job still fits"
        if field.duration_s <= left
        else (f"a whole job of {span(field.duration_s)} no longer fits")
    )
    return f"{name(field.field)} closes {clock(at, now, speaker.farm.zone)}: {why}; {fits}."
