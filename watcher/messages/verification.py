"""What forecasts were wrong by, as tables of words and numbers for the page and the command."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from math import isfinite

from watcher.forecasts.rain import WET_MM_H
from watcher.forecasts.rain_verification import NAME, RainOff
from watcher.forecasts.scores import Bar
from watcher.forecasts.verification import (
    BEGUN_H,
    HOURS_TOGETHER,
    LEADS_H,
    QUANTITIES,
    BegunAtStation,
    Off,
    Verified,
)
from watcher.i18n.message import Message, Name, Number, Sentence, ShownQuantity, joined, say
from watcher.messages.vocabulary import POINTS
from watcher.units import Kind, System, amount
from watcher.weather.quantities import BY_COLUMN

_STEPS = {Kind.TEMPERATURE: Kind.TEMPERATURE_STEP}
"""An error is a difference."""
_BESIDE = ("wind_m_s", "gust_m_s", "temp_c")
"""Quantities of the tables that have a column a quantity: more do not fit on a phone."""


@dataclass(frozen=True)
class Sheet:
    """A table: its title, the heads of its columns, and rows that begin with their own head."""

    title: Message
    head: Sequence[Message]
    rows: Sequence[Sequence[Message]]


@dataclass(frozen=True)
class SkillPart:
    """Tables of one subject, with what they mean and what they come to."""

    title: Message
    meaning: Message
    lines: Sequence[Message]
    sheets: Sequence[Sheet]


def parts(
    feeds: Mapping[str, Verified],
    least: Mapping[str, tuple[str, Bar]],
    rain: Mapping[str, Sequence[RainOff]],
    system: System,
) -> list[SkillPart]:
    """Return what feeds were off by in the farm's units; parts of which nothing is known left out.

    ``least`` has by quantity the feed that is least off and how much less than the next best,
    ``rain`` each feed's hours of rain by lead.
    """
    each = say("Mean error (bias), in brackets the root mean square error; + is foretold too high.")
    hours, points, leads = _hours(), [say("Wind from"), *POINTS.values()], _leads()
    found = (
        SkillPart(
            say("Feed against feed"),
            joined([each, say("Of the same hours. Directions: + is too far clockwise.")], " "),
            [_least(name, *one, system) for name, one in least.items()],
            list(_compared(feeds, system)),
        ),
        SkillPart(
            say("Rain, feed against feed"),
            say(
                "Hits: of the wet hours, how many were foretold wet. False alarms: of the hours "
                "foretold wet, how many stayed dry. Equitable threat score: 1 is perfect, 0 is no "
                "better than chance. Amount: mean error, in brackets the root mean square error, "
                "of the hours that were wet or foretold so. Of the same hours; wet is from {wet}.",
                wet=ShownQuantity(
                    WET_MM_H, Kind.RAIN_RATE, "metric"
                ),  # 0.004 in/h, as gauges tell it
            ),
            (),
            [_of_rain(feed, one, system) for feed, one in rain.items() if _any_known(one)],
        ),
        SkillPart(
            say("By the hour of the day"),
            joined([each, say("Up to 24 h ahead, on the farm's clock.")], " "),
            (),
            [s for feed, one in feeds.items() for s in _beside(feed, hours, one.by_hour, system)],
        ),
        SkillPart(
            say("By the wind direction"),
            joined([each, say("Up to 24 h ahead, by where the wind was foretold from.")], " "),
            (),
            [s for feed, one in feeds.items() for s in _beside(feed, points, one.by_point, system)],
        ),
        SkillPart(
            say("What the station takes off the error"),
            say("Root mean square error as foretold → begun at what the station measured."),
            [line for feed, one in feeds.items() for line in _taken_off(feed, one)],
            [s for feed, one in feeds.items() for s in _beside(feed, leads, one.begun, system)],
        ),
    )
    return [part for part in found if part.sheets]


def _any_known(rain: Sequence[RainOff]) -> bool:
    return any(one.known for one in rain)


def _of_rain(feed: str, rain: Sequence[RainOff], system: System) -> Sheet:
    head = [
        say("Ahead"),
        say("Hits; false alarms"),
        say("Equitable threat score"),
        _heading(NAME, system),
    ]
    rows = [
        [Number(f"{first}–{last} h"), *_rain_cells(one, system)]
        for (first, last), one in zip(LEADS_H, rain, strict=True)
    ]
    return Sheet(Name(feed), head, rows)


def _rain_cells(one: RainOff, system: System) -> Sequence[Message]:
    if not one.known:
        return [say("too few wet days")] * 3
    places = 2 if system == "us" else 1
    bias, rms = (
        round(amount(v, Kind.RAIN_RATE, system), places) + 0.0
        for v in (one.amount.bias, one.amount.rms)
    )
    return [
        joined([_percent(one.hit_rate), _percent(one.false_alarm_ratio)], "; "),
        Number(f"{one.equitable_threat:.2f}") if isfinite(one.equitable_threat) else say("none"),
        Number(f"{bias:+.{places}f} ({rms:.{places}f})"),
    ]


def _percent(share: float) -> Message:
    return Number(f"{share:.0%}") if isfinite(share) else say("none")


def _compared(feeds: Mapping[str, Verified], system: System) -> Iterable[Sheet]:
    leads = [say("{first} to {last} h ahead", first=a, last=b) for a, b in LEADS_H]
    for name in QUANTITIES:
        rows = [
            [Name(feed), *(_cell(off, name, system) for off in one.by_lead[name])]
            for feed, one in feeds.items()
            if any(off.known for off in one.by_lead[name])
        ]
        if rows:
            yield Sheet(_heading(name, system), [say("Feed"), *leads], rows)


def _beside(
    feed: str,
    heads: Sequence[Message],
    values: Mapping[str, Sequence[Off | BegunAtStation]],
    system: System,
) -> Iterable[Sheet]:
    """Return a feed's table with a column a quantity, none where nothing is known.

    ``heads`` is the head of the first column and of every row.
    """
    names = [name for name in _BESIDE if any(one.known for one in values[name])]
    if names:
        rows = [
            [head, *(_cell(values[name][number], name, system) for name in names)]
            for number, head in enumerate(heads[1:])
        ]
        yield Sheet(Name(feed), [heads[0], *(_heading(name, system) for name in names)], rows)


def _hours() -> list[Message]:
    firsts = range(0, 24, HOURS_TOGETHER)
    return [say("Hours"), *(Number(f"{h:02d}–{h + HOURS_TOGETHER:02d}") for h in firsts)]


def _leads() -> list[Message]:
    return [say("Ahead"), *(Number(f"{hours} h") for hours in BEGUN_H)]


def _heading(name: str, system: System) -> Message:
    return Sentence(joined([BY_COLUMN[name].words, _unit(name, system)]), stop="")


def _kind(name: str) -> Kind:
    kind = BY_COLUMN[name].kind
    return _STEPS.get(kind, kind)


def _unit(name: str, system: System) -> str:
    return _kind(name).unit(system)


def _cell(one: Off | BegunAtStation, name: str, system: System) -> Message:
    if not one.known:
        return say("too few days")

    def shown(value: float, form: str) -> str:
        rounded = round(amount(value, _kind(name), system), 1)
        return format(rounded + 0.0, form)  # no "-0.0"

    if isinstance(one, BegunAtStation):
        return Number(f"{shown(one.given.rms, '.1f')} → {shown(one.begun.rms, '.1f')}")
    return Number(f"{shown(one.bias, '+.1f')} ({shown(one.rms, '.1f')})")


def _least(name: str, feed: str, less: Bar, system: System) -> Message:
    words = Sentence(BY_COLUMN[name].words, stop="")
    if not less.low > 0:
        return say("{quantity}: no feed is surely less off than the next best.", quantity=words)
    value, low, high = (
        Number(f"{amount(one, _kind(name), system):.1f}")
        for one in (less.value, less.low, less.high)
    )
    return say(
        "{quantity}: {feed} is the least off in the first 24 h, by {less} {unit} ({low} to {high}) "
        "less than the next best.",
        quantity=words,
        feed=Name(feed),
        less=value,
        unit=_unit(name, system),
        low=low,
        high=high,
    )


def _taken_off(feed: str, one: Verified) -> Iterable[Message]:
    soon, later = (one.begun["wind_m_s"][BEGUN_H.index(hours)] for hours in (1, 6))
    if isfinite(soon.saved.value) and isfinite(later.saved.value):
        yield say(
            "{feed}: begun at the station, the wind's error is {soon} 1 h ahead and {later} 6 h "
            "ahead.",
            feed=Name(feed),
            soon=_changed(soon.saved),
            later=_changed(later.saved),
        )


def _changed(saved: Bar) -> Message:
    share = Number(f"{abs(saved.value):.0%}")
    if saved.low > 0:
        return say("{share} less", share=share)
    if saved.high < 0:
        return say("{share} more", share=share)
    return say("not surely another")
