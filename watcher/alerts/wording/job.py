"""What is said to the one who is spraying: stop, watch out, the watch is blind, all clear."""

from collections.abc import Sequence
from dataclasses import dataclass

from watcher.alerts.wording.reasons import Speaker
from watcher.alerts.wording.weather import wind_line
from watcher.alerts.wording.words import TITLE_ROOM, Text, clock, cut, name, span
from watcher.judge.outlook import Outlook
from watcher.judge.reasons import Reason
from watcher.judge.status import Stand

_HEADS = {Stand.BROKEN: "Stop", Stand.UNKNOWN: "Blind", Stand.NEAR: "Watch"}
_DO = {
    Stand.BROKEN: "Stop spraying: this field is outside its window.",
    Stand.UNKNOWN: "The watch cannot see. Take a reading at boom height, or stop.",
    Stand.NEAR: "Be ready to stop: close to a bound.",
}


@dataclass(frozen=True)
class JobPlace:
    """The job a message is about, as far as its wording needs it. Times are epoch seconds."""

    field: str
    setup: str
    left_s: float
    """Planned spraying time left."""
    holds_again_at: int | None = None
    """When the forecast lets this setup in again; None: not as far as it reaches."""
    breaks_at: int | None = None
    other_setup: str | None = None
    """A setup that would still be suitable here now."""


def job_alert(
    speaker: Speaker,
    place: JobPlace,
    changed: Sequence[Reason],
    standing: Sequence[Reason],
    *,
    outlook: Outlook,
    evidence: Sequence[str] = (),
) -> Text:
    """Say what has changed for the worse on the field being sprayed.

    ``changed`` are the limits that are new in this message, worst first; ``standing`` those told
    before that still stand. ``evidence`` says what a warning of things to come rests on.
    """
    worst = min(changed, key=lambda r: r.stand)
    lines = [_DO[worst.stand], *_sentences(speaker, place, changed), *evidence]
    if standing:
        lines.append(_still(speaker, place, standing))
    lines += [*_what_next(speaker, place, worst, outlook.now), _job_line(place), wind_line(outlook)]
    return Text(title=_title(speaker, place, worst), lines=tuple(lines))


def all_clear(
    speaker: Speaker,
    place: JobPlace,
    back: Sequence[Reason],
    left: Sequence[Reason],
    *,
    held_for_s: float,
    was_blind: bool,
    outlook: Outlook,
) -> Text:
    """Say that the worst of what was told about a job is over, and what is left of it."""
    begin = f"Back in its window for {span(held_for_s)}."
    lines = ["The watch sees again." if was_blind else begin, *_sentences(speaker, place, back)]
    if left:
        lines.append(_still(speaker, place, left))
    if place.breaks_at is not None:
        until = clock(place.breaks_at, outlook.now, speaker.farm.zone)
        lines.append(f"In the forecast it holds until {until}.")
    lines += [_job_line(place), wind_line(outlook)]
    head = "Better" if left else "All clear"
    return Text(title=f"{head}: {name(place.field)}", lines=tuple(lines))


def _still(speaker: Speaker, place: JobPlace, limits: Sequence[Reason]) -> str:
    return "Still: " + "; ".join(speaker.reason(place.field, r) for r in limits) + "."


def _title(speaker: Speaker, place: JobPlace, worst: Reason) -> str:
    why = speaker.short(place.field, worst)
    room = TITLE_ROOM - len(why) - len(_HEADS[worst.stand]) - len(": , ")
    return cut(f"{_HEADS[worst.stand]}: {name(place.field, max(room, 8))}, {why}", TITLE_ROOM)


def _sentences(speaker: Speaker, place: JobPlace, limits: Sequence[Reason]) -> list[str]:
    said = (speaker.reason(place.field, r) for r in limits)
    return [f"{s[0].upper()}{s[1:]}." for s in said]


def _what_next(speaker: Speaker, place: JobPlace, worst: Reason, now: int) -> list[str]:
    if worst.stand is not Stand.BROKEN:
        return []
    said = []
    if place.other_setup is not None:
        said.append(f"Setup {name(place.other_setup)} would still be within its window here.")
    if place.holds_again_at is None:
        said.append("The forecast shows no way back into the window.")
    else:
        again = clock(place.holds_again_at, now, speaker.farm.zone)
        said.append(f"In the forecast it holds again from {again}.")
    return said


def _job_line(place: JobPlace) -> str:
    return f"Job: {name(place.setup)}, about {span(place.left_s)} of spraying left."
