"""What is said to the one who is spraying: stop, watch out, the watch is blind, all clear."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from watcher.alerts.wording.coming import Coming
from watcher.alerts.wording.reasons import Speaker
from watcher.alerts.wording.weather import wind_line
from watcher.alerts.wording.words import TITLE_ROOM, Text, clock, cut, name, not_seen, span
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
    coming: Sequence[Coming] = (),
) -> Text:
    """Say what has changed for the worse on the field being sprayed, or is about to.

    ``changed`` are the limits that are new in this message, worst first; ``standing`` those told
    before that still stand; ``coming`` what is foreseen.
    """
    worst = min(changed, key=lambda r: r.stand, default=None)
    if worst is None or (coming and worst.stand is Stand.NEAR):
        title, do = _coming_title(place, coming[0]), coming[0].do
    else:
        title, do = _title(speaker, place, worst), _DO[worst.stand]
    lines = [do, *_sentences(speaker, place, changed), *(c.evidence for c in coming)]
    if standing:
        lines.append(_still(speaker, place, standing))
    lines += [*_what_next(speaker, place, worst, outlook.now), _job_line(place), wind_line(outlook)]
    return Text(title=title, lines=tuple(lines))


def _coming_title(place: JobPlace, coming: Coming) -> str:
    room = TITLE_ROOM - len(coming.head) - len(coming.title) - len(": , ")
    return cut(f"{coming.head}: {name(place.field, max(room, 8))}, {coming.title}", TITLE_ROOM)


def all_clear(
    speaker: Speaker,
    place: JobPlace,
    back: Sequence[Reason],
    left: Sequence[Reason],
    *,
    why: str,
    outlook: Outlook,
) -> Text:
    """Say that the worst of what was told about a job is over, and what is left of it.

    ``why`` is its first line, such as ``back_for``, ``SEES_AGAIN`` or ``DID_NOT_COME``.
    """
    lines = [why, *_sentences(speaker, place, back)]
    if left:
        lines.append(_still(speaker, place, left))
    if place.breaks_at is not None:
        until = clock(place.breaks_at, outlook.now, speaker.farm.zone)
        lines.append(f"In the forecast it holds until {until}.")
    lines += [_job_line(place), wind_line(outlook)]
    head = "Better" if left else "All clear"
    return Text(title=f"{head}: {name(place.field)}", lines=tuple(lines))


SEES_AGAIN = "The watch sees again."
DID_NOT_COME = "What was foreseen has not come, and there is no more sign of it."


def back_for(held_for_s: float) -> str:
    """Return for how long everything has been back within its bounds."""
    return f"Back in its window for {span(held_for_s)}."


def not_acknowledged(text: Text, who: str, after_s: float) -> Text:
    """Return an alert as it is told to the backup of somebody who did not acknowledge it."""
    return replace(text, lines=(not_seen(who, after_s), *text.lines))


def forgotten(speaker: Speaker, place: JobPlace, *, over_s: float, now: int) -> Text:
    """Ask whether a job that is over its planned time is still going on."""
    ended = clock(now - round(over_s), now, speaker.farm.zone)
    return Text(
        title=cut(f"Still spraying {name(place.field, 20)}?", TITLE_ROOM),
        lines=(
            f"The job on {name(place.field)} was planned to end at {ended}, {span(over_s)} ago.",
            "Finish or abandon it if it is done: the watch goes on watching it until then.",
        ),
    )


def left_paused(speaker: Speaker, place: JobPlace, *, paused_at: int, now: int) -> Text:
    """Ask about a job that has been paused for longer than pauses are."""
    since = clock(paused_at, now, speaker.farm.zone)
    return Text(
        title=cut(f"Still paused: {name(place.field, 20)}", TITLE_ROOM),
        lines=(
            f"The job on {name(place.field)} has been paused since {since}.",
            "Go on with it, finish it or abandon it: until then its sprayer is not free.",
        ),
    )


def retardant_worn(place: JobPlace, *, tank_age_s: float) -> Text:
    """Say that the drift retardant in the tank has been pumped round for too long to count on."""
    return Text(
        title=cut(f"Retardant worn: {name(place.field, 20)}", TITLE_ROOM),
        lines=(
            f"This tank has been going round for {span(tank_age_s)}. Polyacrylamide is sheared by "
            "the pump within about an hour: drops are finer now than they were.",
            "Do not count on it: a coarser setup, less wind, or a fresh tank.",
        ),
    )


def unwatched(field: str, why: str) -> Text:
    """Say that a job that is open cannot be watched, and why."""
    return Text(
        title=cut(f"Not watched: {name(field, 22)}", TITLE_ROOM),
        lines=(
            f"The job on {name(field)} cannot be watched: {name(why, 160)}.",
            "Take a reading at boom height, or stop.",
        ),
    )


def _still(speaker: Speaker, place: JobPlace, limits: Sequence[Reason]) -> str:
    return "Still: " + "; ".join(speaker.reason(place.field, r) for r in limits) + "."


def _title(speaker: Speaker, place: JobPlace, worst: Reason) -> str:
    why = speaker.short(place.field, worst)
    room = TITLE_ROOM - len(why) - len(_HEADS[worst.stand]) - len(": , ")
    return cut(f"{_HEADS[worst.stand]}: {name(place.field, max(room, 8))}, {why}", TITLE_ROOM)


def _sentences(speaker: Speaker, place: JobPlace, limits: Sequence[Reason]) -> list[str]:
    said = (speaker.reason(place.field, r) for r in limits)
    return [f"{s[0].upper()}{s[1:]}." for s in said]


def _what_next(speaker: Speaker, place: JobPlace, worst: Reason | None, now: int) -> list[str]:
    if worst is None or worst.stand is not Stand.BROKEN:
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
