"""The weather of a record as tables: what it was, who measured it, and who lay downwind."""

from collections.abc import Iterator, Sequence

from watcher.farm.geometry.bearings import compass_point
from watcher.farm.origin import Origin
from watcher.i18n.message import Message, Number, Param, joined, say
from watcher.judge.end_rows import ALL_ROUND
from watcher.messages.drift import OPEN_BOOM
from watcher.messages.vocabulary import ORIGIN_WORDS, POINTS
from watcher.messages.words import span
from watcher.records.facts import Air, Kept, Landing, Moment, Quality, Spoke
from watcher.records.layout import UNKNOWN, PageTable, Writer, utc
from watcher.units import Kind

_SPOKEN = {
    "wind_m_s": say("wind"),
    "gust_m_s": say("gust"),
    "wind_from_deg": say("direction"),
    "temp_c": say("temperature"),
    "humidity_pct": say("humidity"),
}


def weather_tables(kept: Kept, writer: Writer) -> Iterator[PageTable]:
    """Yield the tables of what was kept of a job's weather."""
    yield _weather(kept, writer)
    yield _limits(kept, writer)
    yield stability_table(kept.moments, writer)
    yield sources_table(kept.moments, writer)
    yield _neighbours(kept, writer)


def air_table(moments: Sequence[Air], title: str, writer: Writer) -> PageTable:
    """Return the table of the weather at some moments, as it was at the sensors."""
    rows = tuple(
        (
            writer.time(m.at),
            utc(m.at),
            at_height(writer, m.wind_m_s, Kind.SPEED, m.wind_height_m),
            writer.amount(m.gust_m_s, Kind.SPEED),
            direction_of(m, writer),
            at_height(writer, m.temp_c, Kind.TEMPERATURE, m.temp_height_m),
            writer.amount(m.humidity_pct, Kind.PERCENT, 0),
            writer.amount(m.delta_t_k, Kind.TEMPERATURE_STEP),
        )
        for m in moments
    )
    head = writer.words(
        say("Farm's clock"),
        say("UTC"),
        say("Wind"),
        say("Gust"),
        say("Wind from"),
        say("Temperature"),
        say("Humidity"),
        say("Delta T"),
    )
    note = say(
        "Wind is the mean of ten minutes where its source gives readings often enough. Heights are "
        "above ground."
    )
    return PageTable(title, head, rows, (18, 14, 14, 10, 14, 14, 10, 10), writer.text(note))


def weather_lines(kept: Kept, writer: Writer) -> Iterator[Message]:
    """Yield the weather at the start and the end of a job, from the log, each as a line."""
    for m in kept.moments:
        if m.mark in {"start", "end"}:
            yield say(
                "{mark}: wind {wind}, from {direction}; at the boom {boom}, gust {gust}; "
                "{temperature}, humidity {humidity}",
                mark=writer.word(m.mark),
                wind=at_height(writer, m.wind_m_s, Kind.SPEED, m.wind_height_m),
                direction=direction_of(m, writer),
                boom=at_height(writer, m.boom_wind_m_s, Kind.SPEED, m.boom_height_m),
                gust=writer.amount(m.boom_gust_m_s, Kind.SPEED),
                temperature=at_height(writer, m.temp_c, Kind.TEMPERATURE, m.temp_height_m),
                humidity=writer.amount(m.humidity_pct, Kind.PERCENT, 0),
            )


def _weather(kept: Kept, writer: Writer) -> PageTable:
    rows = tuple(
        (
            writer.time(m.at),
            utc(m.at),
            writer.text(say("{mark}, paused", mark=writer.word(m.mark)))
            if m.paused
            else writer.word(m.mark),
            at_height(writer, m.wind_m_s, Kind.SPEED, m.wind_height_m),
            writer.amount(m.gust_m_s, Kind.SPEED),
            direction_of(m, writer),
            at_height(writer, m.boom_wind_m_s, Kind.SPEED, m.boom_height_m),
            writer.amount(m.boom_gust_m_s, Kind.SPEED),
            at_height(writer, m.temp_c, Kind.TEMPERATURE, m.temp_height_m),
            writer.amount(m.humidity_pct, Kind.PERCENT, 0),
            writer.amount(m.delta_t_k, Kind.TEMPERATURE_STEP),
            writer.word(m.status),
        )
        for m in kept.moments
    )
    return PageTable(
        writer.text(say("Weather at the start, every half hour and the end")),
        writer.words(
            say("Farm's clock"),
            say("UTC"),
            say("Mark"),
            say("Wind"),
            say("Gust"),
            say("Wind from"),
            say("Wind at boom"),
            say("Gust at boom"),
            say("Temperature"),
            say("Humidity"),
            say("Delta T"),
            say("Judged"),
        ),
        rows,
        (15, 10, 8, 11, 9, 9, 10, 9, 11, 9, 8, 10),
        writer.text(
            say(
                "Wind is the mean of ten minutes where its source gives readings often enough. At "
                "boom height it is worked out from the wind at the sensor, not measured. Heights "
                "are above ground."
            )
        ),
    )


def at_height(writer: Writer, value: float | None, kind: Kind, height_m: float) -> str:
    """Return a value with the height it is of."""
    if value is None:
        return writer.text(UNKNOWN)
    low = Kind.SMALL_LENGTH if height_m < 1.0 else Kind.LENGTH
    return writer.text(
        say(
            "{value} at {height}",
            value=writer.amount(value, kind),
            height=writer.amount(height_m, low, 0),
        )
    )


def direction_of(moment: Air, writer: Writer) -> str:
    """Return where the wind came from, with its swing where that is known."""
    if moment.wind_from_deg is None:
        return writer.text(UNKNOWN)
    spread = "" if moment.wind_spread_deg is None else f" ±{moment.wind_spread_deg:.0f}°"
    point = writer.text(POINTS[compass_point(moment.wind_from_deg)])
    return f"{point} {moment.wind_from_deg:.0f}°{spread}"


def _limits(kept: Kept, writer: Writer) -> PageTable:
    stands = ("broken", "unknown", "near")
    rows = tuple(
        (
            writer.time(m.at),
            *(
                ", ".join(writer.word(n) for n, limit in m.limits.items() if limit.stand == stand)
                or "–"
                for stand in stands
            ),
        )
        for m in kept.moments
    )
    return PageTable(
        writer.text(say("How the limits of the spray window stood")),
        writer.words(
            say("Farm's clock"), say("Outside its bound"), say("Not known"), say("Near its bound")
        ),
        rows,
        (16, 28, 28, 28),
    )


def stability_table(moments: Sequence[Air], writer: Writer) -> PageTable:
    """Return the table of what is known of an inversion at some moments."""
    rows = tuple(
        (
            writer.time(m.at),
            writer.word(m.inversion),
            writer.word("unknown") if m.stability == "UNKNOWN" else m.stability,
            ", ".join(f"{name}: {finding}" for name, finding in _evidence(m, writer)),
        )
        for m in moments
    )
    return PageTable(
        writer.text(say("Stability: was there an inversion?")),
        writer.words(
            say("Farm's clock"),
            say("Inversion"),
            say("Class"),
            say("What each line of evidence says"),
        ),
        rows,
        (16, 10, 9, 65),
    )


def sources_table(moments: Sequence[Air], writer: Writer) -> PageTable:
    """Return the table of who reported the weather of some moments."""
    rows = tuple(
        (
            writer.time(m.at),
            _speakers(m, writer),
            "; ".join(_quality(q, writer) for q in m.quality)
            or writer.text(say("no reading used")),
        )
        for m in moments
    )
    return PageTable(
        writer.text(say("Who reported the weather, and how good it was")),
        writer.words(say("Farm's clock"), say("Source and age"), say("Readings")),
        rows,
        (16, 58, 26),
    )


def _speakers(moment: Air, writer: Writer) -> str:
    """Who spoke for what; quantities that one source reported stand together."""
    by_speaker: dict[str, list[str]] = {}
    for name, word in _SPOKEN.items():
        by_speaker.setdefault(_spoke(moment.spoken[name], writer), []).append(writer.text(word))
    return "; ".join(f"{', '.join(words)}: {who}" for who, words in by_speaker.items())


def _spoke(who: Spoke, writer: Writer) -> str:
    source = who.source
    if source is None and who.age_s is None:
        return writer.text(say("nobody"))
    if source is None:
        return writer.text(say("nobody, last {span} old", span=span(who.age_s or 0.0)))
    speaker: Param = source if who.measured else say("only forecast by {source}", source=source)
    if who.age_s is None:
        return writer.text(speaker)
    return writer.text(say("{source} {span} old", source=speaker, span=span(who.age_s)))


def _evidence(moment: Air, writer: Writer) -> Iterator[tuple[str, str]]:
    """The lines of evidence and what each says."""
    for name, finding in moment.evidence.items():
        yield writer.word(name), writer.word(finding)


def _quality(quality: Quality, writer: Writer) -> str:
    parts = [f"{quality.source}: {quality.readings}"]
    if quality.flagged:
        doubts = ", ".join(f"{what} ×{count}" for what, count in quality.flagged.items())
        parts.append(writer.text(say("not used: {doubts}", doubts=doubts)))
    if quality.came_later:
        later = quality.came_later
        parts.append(writer.text(say("{n} came only after that moment", n=later)))
    return ", ".join(parts)


def _neighbours(kept: Kept, writer: Writer) -> PageTable:
    rows = tuple(
        (
            writer.time(m.at),
            _downwind(m, writer),
            "; ".join(_landing(e, writer) for e in m.landing)
            or writer.text(say("no neighbour in reach")),
        )
        for m in kept.moments
    )
    return PageTable(
        writer.text(say("Neighbours: who lay downwind, and what may have landed there")),
        writer.words(say("Farm's clock"), say("Downwind"), say("Drift, share of the field's rate")),
        rows,
        (16, 32, 52),
        writer.text(say("Drift is an estimate from published curves, not a measurement.")),
    )


def _downwind(moment: Moment, writer: Writer) -> str:
    if moment.wind_from_deg is None and not moment.downwind:
        return writer.text(UNKNOWN if moment.landing else say("nobody"))
    found = (
        writer.text(
            say(
                "{who} on the {side} side, {gap}",
                who=n.neighbour,
                side=_side(n.side),
                gap=writer.amount(n.gap_m, Kind.LENGTH, 0),
            )
        )
        for n in moment.downwind
    )
    return "; ".join(found) or writer.text(say("nobody"))


def _landing(landing: Landing, writer: Writer) -> str:
    gap = writer.amount(landing.gap_m, Kind.LENGTH, 0)
    who = f"{landing.neighbour} ({writer.text(_side(landing.side))}, {gap})"
    if landing.upper_pct is None:
        return f"{who}: {writer.text(UNKNOWN)}"
    parts: list[Message] = [say("up to {share}", share=Number(f"{landing.upper_pct:.2g}%"))]
    if landing.tolerance_pct is None:
        parts.append(say("takes no harm"))
    else:
        share = Number(f"{landing.tolerance_pct:.2g}%")
        if landing.origin is None:
            parts.append(say("it stands {tolerance}", tolerance=share))
        else:
            whose = ORIGIN_WORDS[Origin(landing.origin)]
            parts.append(say("it stands {tolerance} ({origin})", tolerance=share, origin=whose))
    if landing.as_open_boom:
        parts.append(OPEN_BOOM)
    if landing.extrapolated:
        parts.append(say("outside what the curves were seen for"))
    return f"{who}: {writer.text(joined(parts))}"


def _side(side: str) -> Message:
    return say("all round") if side == ALL_ROUND else POINTS[side]
