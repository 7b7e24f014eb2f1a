"""How old the weather is and who says so."""

import math
from collections.abc import Iterator

from watcher.i18n.message import Message, Name, Sentence, joined, say
from watcher.judge.timeline import Spoken, Timeline
from watcher.messages.words import ago, span
from watcher.weather.quantities import BY_NAME


def wind_line(timeline: Timeline) -> Message:
    """Return who speaks for the wind now, and how old that is."""
    wind, hand = timeline.spoken["wind_m_s"], timeline.by_hand
    if hand is not None and "wind_m_s" in hand.station:
        return say(
            "Wind measured by hand at the boom {ago}; it counts for {span} more.",
            ago=ago(hand.age_s),
            span=span(hand.counts_s),
        )
    if wind.source is None and math.isfinite(wind.age_s):
        return say("Nobody has reported the wind for {span}.", span=span(wind.age_s))
    if wind.source is None:
        return say("Nobody has reported the wind.")
    if wind.measured:
        return say("Wind measured by {who} {ago}.", who=Name(wind.source), ago=ago(wind.age_s))
    return say(
        "Wind only forecast, by {who}, fetched {ago}.", who=Name(wind.source), ago=ago(wind.age_s)
    )


def source_lines(timeline: Timeline) -> tuple[Message, ...]:
    """Return who speaks for the wind now and for the hours ahead."""
    return (wind_line(timeline), *_elsewhere(timeline), ahead_line(timeline))


def ahead_line(timeline: Timeline) -> Message:
    """Return who speaks for the hours ahead, which nobody has measured."""
    foretold = _forecast(timeline)
    if foretold is None:
        return say("No forecast to rely on for the hours ahead.")
    ahead = say(
        "Hours ahead: {who}, fetched {ago}.",
        who=Name(str(foretold.source)),
        ago=ago(foretold.age_s),
    )
    # Addresses and licence in full stand where there is room: on the pages and the command line.
    credit = timeline.attribution.partition(" (")[0]
    return joined([ahead, Sentence(Name(credit, 80))], " ") if credit else ahead


def _elsewhere(timeline: Timeline) -> Iterator[Message]:
    """Yield who speaks for the wind of fields that other stations stand nearer to."""
    for other in timeline.others:
        if other.spoken["wind_m_s"].source != timeline.spoken["wind_m_s"].source:
            fields = joined(map(Name, other.fields))
            yield say("For {fields}: {line}", fields=fields, line=wind_line(other))


def spoken_lines(timeline: Timeline) -> Iterator[Message]:
    """Yield, source by source, what each is relied on for now, and what nobody reported."""
    for source, quantities in _by_source(timeline).items():
        what = joined(BY_NAME[quantity].words for quantity in quantities)
        if source is None:
            yield say("Nobody tells {what}.", what=what)
            continue
        spoken = [timeline.spoken[BY_NAME[quantity].column] for quantity in quantities]
        who, oldest = Name(source), ago(max(s.age_s for s in spoken))
        if spoken[0].measured:
            yield say("Measured by {who} {ago}: {what}.", who=who, ago=oldest, what=what)
        else:
            yield say("Forecast by {who} {ago}: {what}.", who=who, ago=oldest, what=what)


def _by_source(timeline: Timeline) -> dict[str | None, list[str]]:
    """The names of quantities as the farm file has them, by who speaks for them."""
    found: dict[str | None, list[str]] = {}
    for quantity in BY_NAME.values():
        who = timeline.spoken[quantity.column]
        if who.source is not None or who.measured or quantity.always_missed:
            found.setdefault(who.source, []).append(quantity.name)
    return found


def _forecast(timeline: Timeline) -> Spoken | None:
    """Whoever speaks for a quantity no station measures; rain is asked first."""
    asked = [timeline.spoken["rain_mm_h"], *timeline.spoken.values()]
    return next((s for s in asked if s.source is not None and not s.measured), None)
