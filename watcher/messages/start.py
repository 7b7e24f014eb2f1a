"""What is said of a start that limits stand against: what, by whose bound, and the question."""

from collections.abc import Sequence

from watcher.i18n.message import Message, Name, Number, WallTime, joined, say
from watcher.judge.start_check import Against, Obstacle
from watcher.messages.reasons import Speaker
from watcher.messages.rules import whose_bound
from watcher.messages.vocabulary import LIMIT_WORDS

ASKS = say("a plain yes is needed first")
LABEL_STANDS = say(
    "The label and the law stand, whatever you answer. A yes is kept with all of this in the job "
    "and in its record."
)


def asks_first(speaker: Speaker, field: str, found: Sequence[Obstacle], now: int) -> Message:
    """Return that a start was not taken and what stands against it, in one sentence."""
    return say(
        "{field} was not started, a plain yes is needed first: {against}",
        field=Name(field),
        against=joined((obstacle_line(speaker, field, one, now) for one in found), "; "),
    )


def obstacle_line(speaker: Speaker, field: str, one: Obstacle, now: int) -> Message:
    """Return what stands against a start as one sentence without its full stop."""
    reason = one.reason
    about = speaker.reason(field, reason)
    match one.against:
        case Against.CLOSES:
            return say(
                "only until {time}, {limit} ({origin}): {share} of the job is done by then",
                time=WallTime(one.at, now, speaker.farm.zone),
                limit=LIMIT_WORDS[reason.limit],
                origin=whose_bound(reason),
                share=Number(f"{one.share:.0%}"),
            )
        case Against.UNKNOWN if one.at > now:
            time = WallTime(one.at, now, speaker.farm.zone)
            return say("cannot be judged from {time} on: {reason}", time=time, reason=about)
        case Against.UNKNOWN:
            return say("cannot be judged: {reason}", reason=about)
    return about
