"""A chance in words: in tenths, with what it rests on; never more certain than it is."""

from zoneinfo import ZoneInfo

from watcher.i18n.message import Clock, Message, joined, say
from watcher.judge.chances import FieldChance

_MOSTLY_EXPERIENCE = 20
"""Fewer past forecasts here weigh less than general experience does."""


def tenths(chance: float | None) -> Message:
    """Return a chance as ``"6 in 10"``; neither none nor all are ever certain."""
    if chance is None:
        return say("chance not known")
    number = round(10 * chance)
    if number <= 0:
        return say("less than 1 in 10")
    return say("9 in 10 or better") if number >= 10 else say("{n} in 10", n=number)


def digit(chance: float | None) -> str:
    """Return the figure of ``tenths`` for a place that has room for no more: the same in every
    language."""
    if chance is None:
        return "?"
    number = round(10 * chance)
    if number <= 0:
        return "<1"
    return "9+" if number >= 10 else str(number)


def basis(past_forecasts: int) -> Message:
    """Return what a chance rests on."""
    if past_forecasts < _MOSTLY_EXPERIENCE:
        return say("mostly general experience")
    return say("from {n} past forecasts here", n=past_forecasts)


def holds_until(chance: float | None, ends_at: int, now: int, zone: ZoneInfo) -> Message:
    """Return the chance that a job holds to its end: ``"6 in 10 until 15:00"``."""
    if chance is None:
        return tenths(None)
    return say("{odds} until {clock}", odds=tenths(chance), clock=Clock(ends_at, now, zone))


def holds_line(found: FieldChance | None, now: int, zone: ZoneInfo) -> Message:
    """Return a job's chance and its basis: ``"6 in 10 until 15:00, from 41 past forecasts here"``.

    None is a chance that nobody can tell.
    """
    if found is None or found.chance is None:
        return tenths(None)
    until = holds_until(found.chance, found.ends_at, now, zone)
    return joined([until, basis(found.past_forecasts)])


def start_line(found: FieldChance | None) -> Message:
    """Return what is said where a job is started: the whole of it, and its first half."""
    if found is None or found.chance is None:
        return say("Not known how likely it holds to the end.")
    if found.first_half is None:
        return say("{odds} that it holds to the end.", odds=tenths(found.chance))
    return say(
        "{odds} that it holds to the end; the first half {half}.",
        odds=tenths(found.chance),
        half=tenths(found.first_half),
    )
