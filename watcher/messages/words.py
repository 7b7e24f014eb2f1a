"""The small words all texts are made of: times, spans, shapes, lateness, and the caution."""

from zoneinfo import ZoneInfo

from watcher.i18n.message import Message, Name, Number, ShownQuantity, WallTime, say
from watcher.limits.status import Status
from watcher.units import Kind, System

CAUTION = say(
    "Guidance only. The label, local law and licensed practice decide. "
    "Take a hand-held reading at boom height before and while you spray."
)
CAUTION_SMS = say("Label decides.")

# A status is a word and a shape; nothing is shown by colour alone.
SHAPES = {
    Status.SUITABLE: "●",
    Status.MARGINAL: "◐",
    Status.UNSUITABLE: "✕",
    Status.UNKNOWN: "?",
}


def ago(seconds: float) -> Message:
    """Return how long ago something was: ``"just now"``, ``"12 min ago"``."""
    return say("just now") if seconds < 30 else say("{span} ago", span=span(seconds))


def span(seconds: float) -> Message:
    """Return a span of time: ``"40 s"``, ``"12 min"``, ``"2.5 h"``, ``"3 days"``."""
    if seconds < 60:
        return say("{n} s", n=f"{seconds:.0f}")
    if seconds < 90 * 60:
        return say("{n} min", n=f"{seconds / 60:.0f}")
    if seconds < 72 * 3600:
        return say("{n} h", n=Number(f"{seconds / 3600:.1f}".removesuffix(".0")))
    return say("{n} days", n=f"{seconds / 86400:.0f}")


_FAR_M = {"us": 804.672, "metric": 1000.0}
"""From half a mile or a kilometre on nobody counts feet or metres."""


def distance(away_m: float, system: System) -> ShownQuantity:
    """Return how far away something is: ``"33 ft"``, ``"1.2 mi"``, ``"400 m"``, ``"2.5 km"``."""
    kind = Kind.DISTANCE if away_m >= _FAR_M[system] else Kind.LENGTH
    return ShownQuantity(away_m, kind, system)


def takes(duration_s: float, left: float) -> Message:
    """Return how long a job takes: of a field sprayed in part, what is left of it."""
    if left >= 1.0:
        return span(duration_s)
    return say("{span} for the {share} left", span=span(duration_s), share=Number(f"{left:.0%}"))


def lateness(true_at: int, now: int, zone: ZoneInfo) -> Message:
    """Return the line a late message begins with."""
    return say(
        "This alert is {span} late; it was true at {clock}.",
        span=span(now - true_at),
        clock=WallTime(true_at, now, zone),
    )


def lateness_sms(true_at: int, now: int, zone: ZoneInfo) -> Message:
    """Return the same in fewer letters."""
    return say(
        "{span} LATE, true {clock}.", span=span(now - true_at), clock=WallTime(true_at, now, zone)
    )


def never_arrived(title: str, true_at: int, now: int, zone: ZoneInfo) -> Message:
    """Return the line that names a message overtaken by better news, as it was written."""
    return say("Never arrived: {title} ({clock}).", title=title, clock=WallTime(true_at, now, zone))


def ask_seen(link: str, form: str) -> Message:
    """Return the line that asks for an alert to be acknowledged."""
    if form == "sms":
        return say("Seen: {link}", link=link)
    return say("Say that you have seen this: {link}", link=link)


def not_seen(recipient: str, after_s: float) -> Message:
    """Return the line that begins a message to the backup of somebody who did not answer."""
    return say(
        "{who} has not acknowledged this for {span}.", who=Name(recipient), span=span(after_s)
    )
