"""What is said to the one who is spraying: stop, get ready, it cannot be seen, all clear.

A title names what to do, the field and the one cause; the lines say what to do, the cause with its
number, the next step with its time, what is left of the job, and who measured it.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from watcher.i18n.message import Message, Name, Sentence, WallTime, joined, say
from watcher.judge.job_action import JobAction
from watcher.judge.reasons import Reason
from watcher.judge.remedies import Remedy
from watcher.judge.timeline import Timeline
from watcher.limits.buffers import LeftStrip
from watcher.messages.reasons import Speaker
from watcher.messages.remedies import first_lines
from watcher.messages.text import Choice, Text
from watcher.messages.weather import wind_line
from watcher.messages.wind_warning import JobWarning
from watcher.messages.words import not_seen, span

TAKE_A_READING = say("Take a reading at boom height, or stop.")
_MOST_CAUSES = 3


@dataclass(frozen=True)
class JobPlace:
    """The job a message is about, as far as its wording needs it. Times are epoch seconds."""

    field: str
    setup: str
    left_s: float
    """Planned spraying time left."""
    holds_again_at: int | None = None
    """When the forecast lets this setup in again; None: not as far as it reaches."""
    ahead_known: bool = True
    """Whether the hours ahead are known as far as they are judged."""
    breaks_at: int | None = None
    remedies: Sequence[Remedy] = ()
    """What would bring it within its limits, the best first."""


def stop(speaker: Speaker, place: JobPlace, state: JobAction, timeline: Timeline) -> Text:
    """Say that the field is outside its limits, by which one, and when it opens again."""
    worst = state.causes[0]
    whats = speaker.sides(place.field, worst)
    do = say("Stop spraying now.")
    if state.comes_and_goes:
        whats = speaker.comes_and_goes(worst)
        do = say(
            "Stop spraying, {n} times outside within the hour. Wait for {span} of steady weather.",
            n=state.stops_lately,
            span=span(state.steady_s),
        )
    lines = (
        do,
        *_causes(speaker, place, state.causes),
        *first_lines(speaker, place.remedies, timeline.now),
        _when_again(speaker, place, timeline.now),
        _job_line(place),
        wind_line(timeline),
    )
    field = Name(place.field)
    titles = (say("Stop {field}: {what}", field=field, what=what) for what in whats)
    return Text(Choice(tuple(titles)), lines)


def cannot_see(speaker: Speaker, place: JobPlace, state: JobAction, timeline: Timeline) -> Text:
    """Say which limit nobody can judge now."""
    [what] = speaker.sides(place.field, state.causes[0])
    lines = (
        say("The watch cannot see all of it. Take a reading at boom height, or stop."),
        *_causes(speaker, place, state.causes),
        _job_line(place),
        wind_line(timeline),
    )
    return Text(say("Check {field}: {what}", field=Name(place.field), what=what), lines)


def get_ready(place: JobPlace, warnings: Sequence[JobWarning], timeline: Timeline) -> Text:
    """Say what is coming, before it is here."""
    first = warnings[0]
    evidence = [line for warning in warnings for line in warning.evidence]
    lines = (first.do, *evidence, _job_line(place), wind_line(timeline))
    field = Name(place.field)
    titles = (say("Get ready {field}: {what}", field=field, what=what) for what in first.titles)
    return Text(Choice(tuple(titles)), lines)


def all_clear(speaker: Speaker, place: JobPlace, why: Message, timeline: Timeline) -> Text:
    """Say that the job can go on. ``why`` is such as ``inside_for``, or ``SEES_AGAIN``."""
    lines = [Sentence(why)]
    if place.breaks_at is not None:
        until = WallTime(place.breaks_at, timeline.now, speaker.farm.zone)
        lines.append(Sentence(say("In the forecast it holds until {clock}", clock=until)))
    lines += [Sentence(_job_line(place)), Sentence(wind_line(timeline))]
    return Text(say("All clear {field}: {why}", field=Name(place.field), why=why), tuple(lines))


SEES_AGAIN = say("measured again")
DID_NOT_COME = say("it did not come")


def inside_for(held_for_s: float) -> Message:
    """Return for how long everything has been back within its limits."""
    return say("inside for {span}", span=span(held_for_s))


def not_acknowledged(text: Text, who: str, after_s: float) -> Text:
    """Return an alert as it is sent to the backup of somebody who did not acknowledge it."""
    return replace(text, lines=(not_seen(who, after_s), *text.lines))


def forgotten(speaker: Speaker, place: JobPlace, *, over_s: float, now: int) -> Text:
    """Ask whether a job that is over its planned time is still going on."""
    return Text(
        title=say("Still spraying {field}?", field=Name(place.field, 20)),
        lines=(
            say(
                "The job on {field} was planned to end at {clock}, {span} ago.",
                field=Name(place.field),
                clock=WallTime(now - round(over_s), now, speaker.farm.zone),
                span=span(over_s),
            ),
            say("Finish or abandon it if it is done: the watch goes on watching it until then."),
        ),
    )


def left_paused(speaker: Speaker, place: JobPlace, *, paused_at: int, now: int) -> Text:
    """Ask about a job that has been paused for longer than pauses are."""
    return Text(
        title=say("Still paused {field}?", field=Name(place.field, 20)),
        lines=(
            say(
                "The job on {field} has been paused since {clock}.",
                field=Name(place.field),
                clock=WallTime(paused_at, now, speaker.farm.zone),
            ),
            say("Go on with it, finish it or abandon it: until then its sprayer is not free."),
        ),
    )


def retardant_worn(place: JobPlace, *, tank_age_s: float) -> Text:
    """Say that the drift retardant in the tank has been pumped round for too long to count on."""
    return Text(
        title=say("Retardant worn: {field}", field=Name(place.field, 20)),
        lines=(
            say(
                "This tank has been going round for {span}. Polyacrylamide is sheared by "
                "the pump within about an hour: drops are finer now than they were.",
                span=span(tank_age_s),
            ),
            say("Do not count on it: a coarser setup, less wind, or a fresh tank."),
        ),
    )


def strips_turned(
    speaker: Speaker, field: str, new: Sequence[LeftStrip], over: Sequence[str]
) -> Text:
    """Say which strips this wind asks for now that nobody agreed to, and which no longer."""
    about = {
        "field": Name(field, 12),
        "who": Name(([strip.neighbour for strip in new] or [*over])[0], 12),
    }
    if new:
        title = say("Leave a strip {field}: {who}", **about)
    else:
        title = say("Strip over {field}: {who}", **about)
    lines: list[Message] = [Sentence(speaker.asked(field, strip)) for strip in new]
    if over:
        lines.append(
            say(
                "No longer asked for in this wind: the strip beside {who}.",
                who=joined([Name(name) for name in over]),
            )
        )
    if new:
        lines.append(say("It stays asked for until the wind turns; the rest may be sprayed."))
    return Text(title=title, lines=tuple(lines))


def unwatched(field: str, why: str) -> Text:
    """Say that a job that is open cannot be watched, and why."""
    return Text(
        title=say("Not watched: {field}", field=Name(field, 22)),
        lines=(
            say(
                "The job on {field} cannot be watched: {why}.",
                field=Name(field),
                why=Name(why, 160),
            ),
            TAKE_A_READING,
        ),
    )


def _causes(speaker: Speaker, place: JobPlace, causes: Sequence[Reason]) -> list[Message]:
    """The worst cause as a sentence of its own, the next ones as one more."""
    first, *others = causes[:_MOST_CAUSES]
    lines: list[Message] = [Sentence(speaker.reason(place.field, first))]
    if others:
        beside = joined((speaker.reason(place.field, r) for r in others), "; ")
        lines.append(say("Also {reasons}.", reasons=beside))
    return lines


def _when_again(speaker: Speaker, place: JobPlace, now: int) -> Message:
    if place.holds_again_at is not None:
        again = WallTime(place.holds_again_at, now, speaker.farm.zone)
        return say("In the forecast it is inside again from {clock}.", clock=again)
    if place.ahead_known:
        return say("Not inside again as far as the forecast reaches.")
    return say("Not known when it is inside again: not all of the hours ahead are known.")


def _job_line(place: JobPlace) -> Message:
    if place.left_s <= 0:
        return say("Job: {setup}, over its planned time.", setup=Name(place.setup))
    return say(
        "Job: {setup}, about {span} of spraying left.",
        setup=Name(place.setup),
        span=span(place.left_s),
    )
