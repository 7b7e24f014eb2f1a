"""What the watch says of itself."""

from collections.abc import Sequence

from watcher.alerts.wording.reasons import Speaker
from watcher.alerts.wording.words import TITLE_ROOM, Text, clock, cut, headline, name, span
from watcher.store.tables import Job, Message

_MOST_LOST = 6
_BY_HAND = "Take a reading at boom height, or stop."


def was_down(
    speaker: Speaker,
    since: int,
    now: int,
    *,
    crashed: bool,
    jobs: Sequence[Job],
    lost: Sequence[Message],
) -> Text:
    """Say from when to when nobody watched, and what could not be told."""
    zone = speaker.farm.zone
    begin, end = clock(since, now, zone), clock(now, now, zone)
    how = "It ended without a proper stop." if crashed else "It had been stopped."
    lines = [f"Nobody watched from {begin} to {end}, {span(now - since)}. {how}"]
    lines += [f"{name(job.field)} was being sprayed and not watched." for job in jobs]
    lines += [f"Never arrived: {_lost(speaker, m, now)}" for m in lost[:_MOST_LOST]]
    if len(lost) > _MOST_LOST:
        lines.append(f"and {len(lost) - _MOST_LOST} more messages.")
    return Text(title=f"Watch was down {begin} to {end}", lines=(*lines, "It watches again now."))


def _lost(speaker: Speaker, message: Message, now: int) -> str:
    when = clock(message.caused_at, now, speaker.farm.zone)
    said = message.title or message.body.split(".")[0]
    return f"{said} ({when}, to {name(message.recipient)})."


def stopping(jobs: Sequence[Job]) -> Text:
    """Say that the watch ends while somebody is spraying."""
    names = [name(job.field, 20) for job in jobs]
    return Text(
        title=headline("Watch stops:", names),
        lines=(
            f"From now on nobody watches {', '.join(names)}: the watch is being stopped.",
            _BY_HAND,
        ),
    )


def clock_jumped(by_s: float) -> Text:
    """Say that the machine's clock jumped while somebody is spraying."""
    way = "forward" if by_s > 0 else "back"
    return Text(
        title="The watch's clock jumped",
        lines=(
            f"The clock of the machine jumped {way} by {span(abs(by_s))}. "
            "Ages and times it told may be wrong.",
            _BY_HAND,
        ),
    )


def log_unusable(why: str) -> Text:
    """Say, without the outbox, that the log cannot be written: nothing is being watched."""
    return Text(
        title="Watch blind: its log cannot be used",
        lines=(
            "The watch cannot write its log: it takes in and judges nothing until it can.",
            f"Why: {name(why, 160).rstrip('.')}.",
            _BY_HAND,
        ),
    )


def sees_again(speaker: Speaker, since: int, now: int) -> Text:
    """Say that the log can be used again, and from when nothing was judged."""
    begin, end = (clock(t, now, speaker.farm.zone) for t in (since, now))
    return Text(
        title="Watch sees again",
        lines=(
            f"Its log can be used again. From {begin} to {end} it judged nothing; readings sent "
            "meanwhile may be missing.",
        ),
    )


def stopping_blind(why: str) -> Text:
    """Say, without the outbox, that the watch ends and could not look who is spraying."""
    return Text(
        title="Watch stops: nobody watches",
        lines=(
            "The watch is being stopped and cannot use its log: from now on nobody watches any "
            "field.",
            f"Why: {name(why, 160).rstrip('.')}.",
            _BY_HAND,
        ),
    )


def unreachable(recipient: str, why: str) -> Text:
    """Say that messages to somebody do not arrive."""
    who = name(recipient)
    return Text(
        title=cut(f"Not reached: {name(recipient, 24)}", TITLE_ROOM),
        lines=(
            f"Messages to {who} do not arrive: {name(why, 160).rstrip('.') or 'no reason given'}.",
            f"Mend the address in the settings, or tell {who} by other means.",
        ),
    )


def faulty(kinds: Sequence[str], error: str) -> Text:
    """Say that a part of the alerts has a fault, and what is not told because of it."""
    return Text(
        title="Watch has a fault",
        lines=(
            f"A fault in the watch ({name(error)}): nothing is told of {', '.join(kinds)} until "
            "it is mended. Everything else goes on.",
            _BY_HAND,
        ),
    )
