"""The morning brief: the ranking first, then who waits and why."""

from watcher.alerts.wording.reasons import Speaker
from watcher.alerts.wording.weather import source_lines
from watcher.alerts.wording.words import SHAPES, Text, clock, headline, name, span
from watcher.judge.outlook import Outlook
from watcher.judge.ranking import FieldNow, Ranking
from watcher.judge.status import Stand, Status

_SHARE_WORTH_TELLING = 0.995
_LATE_S = 300


def morning_brief(speaker: Speaker, ranking: Ranking, outlook: Outlook, *, due_at: int) -> Text:
    """Say what to spray now and in which order, who waits for when, and how old the weather is.

    ``due_at`` is when it should have come; one made later says so. [epoch seconds]
    """
    spray = [to_spray(speaker, ranking.at, n, f) for n, f in enumerate(ranking.spray, start=1)]
    rest = [_waiting(speaker, ranking, f) for f in ranking.rest]
    return Text(
        title=_title(speaker, ranking),
        lines=(*spray, *rest, *_late(speaker, due_at, ranking.at), *source_lines(outlook)),
        more=tuple(_every_limit(speaker, f) for f in (*ranking.spray, *ranking.rest)),
    )


def _late(speaker: Speaker, due_at: int, now: int) -> tuple[str, ...]:
    if now - due_at < _LATE_S:
        return ()
    when = clock(due_at, now, speaker.farm.zone)
    return (f"This brief was due at {when}: the watch was not running then.",)


def _title(speaker: Speaker, ranking: Ranking) -> str:
    if ranking.spray:
        return headline("Spray now:", [name(f.field, 20) for f in ranking.spray])
    opening = [f for f in ranking.rest if f.opens_at is not None]
    if opening:
        zone = speaker.farm.zone
        times = [f"{name(f.field, 14)} {clock(f.opens_at or 0, ranking.at, zone)}" for f in opening]
        return headline("Opens next:", times)
    if all(f.status is Status.UNKNOWN for f in ranking.rest):
        return "Weather unknown: do not rely on it"
    return f"No field opens in the next {_horizon(speaker)}"


def _horizon(speaker: Speaker) -> str:
    return span(speaker.farm.told.judging.horizon)


def to_spray(speaker: Speaker, now: int, place: int, field: FieldNow) -> str:
    """Return one field of the ranking: place, status, setup, how long, until when."""
    zone = speaker.farm.zone
    said = f"{place} {SHAPES[field.status]} {name(field.field)} {field.status.word}:"
    said += f" {name(field.setup or '')}, {span(field.duration_s)}"
    if field.breaks_at is not None:
        said += f", until {clock(field.breaks_at, now, zone)}"
    if field.share_done < _SHARE_WORTH_TELLING:
        said += f" (time for {field.share_done:.0%} of it)"
    if field.can_wait_until is not None:
        said += f"; can wait for {clock(field.can_wait_until, now, zone)}"
    if field.status is Status.MARGINAL:
        said += f"; {speaker.reason(field.field, field.binding)}"
    return said


def _waiting(speaker: Speaker, ranking: Ranking, field: FieldNow) -> str:
    word = field.status.word
    if field.status is Status.UNKNOWN:
        word += ", do not rely on it"
    said = f"{SHAPES[field.status]} {name(field.field)} {word}: "
    said += speaker.reason(field.field, field.binding)
    broken = [r.limit for r in field.reasons[1:] if r.stand is Stand.BROKEN]
    if broken:
        said += f", also {', '.join(broken)}"
    if field.opens_at is None:
        said += f"; not in the next {_horizon(speaker)}"
        told = {None, field.binding.limit, *broken}
        return said if field.shut_by in told else f"{said} ({field.shut_by})"
    return f"{said}; opens {clock(field.opens_at, ranking.at, speaker.farm.zone)}"


def _every_limit(speaker: Speaker, field: FieldNow) -> str:
    limits = "\n".join(f"  {speaker.reason(field.field, r)}" for r in field.reasons)
    setup = f" with {name(field.setup)}" if field.setup else ""
    return f"{name(field.field)}{setup}, {field.status.word}:\n{limits}"
