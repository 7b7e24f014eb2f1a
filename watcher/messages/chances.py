"""A chance in words: in tenths, with what it rests on; never more certain than it is."""

from collections.abc import Iterable, Sequence
from datetime import datetime, time
from zoneinfo import ZoneInfo

from watcher.i18n.message import Message, WallTime, Weekday, joined, say
from watcher.judge.best_starts import DayStarts
from watcher.judge.chances import FieldChance

_MOSTLY_EXPERIENCE = 20
"""Fewer past forecasts here weigh less than general experience does."""
_LIKELY_TENTHS = 5
"""What is said with fewer tenths is not called likely."""


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


def basis_line(shown: Iterable[FieldChance | None]) -> Message:
    """Return what the chances that are shown rest on, all of them at least; or that none is known.

    What is unknown rests on nothing and does not count.
    """
    known = [c.past_forecasts for c in shown if c is not None and c.chance is not None]
    if not known:
        return say("No chances are known yet.")
    return say("Chances: {basis}.", basis=basis(min(known)))


def holds_until(chance: float | None, ends_at: int, now: int, zone: ZoneInfo) -> Message:
    """Return the chance that a job holds to its end: ``"6 in 10 until 15:00"``."""
    if chance is None:
        return tenths(None)
    return say("{odds} until {clock}", odds=tenths(chance), clock=WallTime(ends_at, now, zone))


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


def open_from(opens_at: int, found: FieldChance | None, now: int, zone: ZoneInfo) -> Message:
    """Return from when a field is open: likely so only where the chance of a job then says so."""
    clock = WallTime(opens_at, now, zone)
    if is_likely(found):
        return say("likely from {clock}", clock=clock)
    return say("in the forecast from {clock}", clock=clock)


def open_until(breaks_at: int, found: FieldChance | None, now: int, zone: ZoneInfo) -> Message:
    """Return until when a field is open: likely so only where the chance of a job now says so."""
    clock = WallTime(breaks_at, now, zone)
    if is_likely(found):
        return say("likely until {clock}", clock=clock)
    return say("in the forecast until {clock}", clock=clock)


def is_likely(found: FieldChance | None) -> bool:
    """Whether what a chance is of may be called likely: it is shown as 5 in 10 or better."""
    odds = None if found is None else found.chance
    return odds is not None and round(10 * odds) >= _LIKELY_TENTHS


def best_start_items(days: Iterable[DayStarts], now: int, zone: ZoneInfo) -> list[Message]:
    """Return the best starts day by day: ``"tomorrow 07:00 to 10:00, 7 in 10"``.

    A day of which not all is known says so, and never that it has none.
    """
    return [_day_item(one, now, zone) for one in days]


def best_starts_line(days: Sequence[DayStarts], now: int, zone: ZoneInfo) -> Message:
    """Return the same in a line."""
    return say("best starts: {days}", days=joined(best_start_items(days, now, zone), "; "))


def _day_item(one: DayStarts, now: int, zone: ZoneInfo) -> Message:
    if one.best is None:
        day = _day(one, now, zone)
        return (
            say("{day} no hour in the forecast", day=day)
            if one.known
            else say("{day} not known", day=day)
        )
    when: Message = WallTime(one.first_at, now, zone)
    if one.last_at > one.first_at:
        end = f"{datetime.fromtimestamp(one.last_at, zone):%H:%M}"
        when = say("{first} to {last}", first=when, last=end)
    item = joined([when, tenths(one.best.chance)])
    return item if one.known else say("{item} (not all of that day is known)", item=item)


def _day(one: DayStarts, now: int, zone: ZoneInfo) -> Message:
    days = (one.day - datetime.fromtimestamp(now, zone).date()).days
    if days < 2:
        return say("today") if days == 0 else say("tomorrow")
    noon = datetime.combine(one.day, time(12), zone)
    return Weekday(int(noon.timestamp()), zone)
