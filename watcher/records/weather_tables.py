"""The weather of a record as tables: what it was, who measured it, and who lay downwind."""

from collections.abc import Iterator

from watcher.alerts.wording.words import span
from watcher.farm.bearings import compass_point
from watcher.records.facts import Kept, Landing, Moment, Quality, Spoke
from watcher.records.layout import UNKNOWN, Table, Writer, utc
from watcher.units import Kind

_SPOKEN = {
    "wind_m_s": "wind",
    "gust_m_s": "gust",
    "wind_from_deg": "direction",
    "temp_c": "temperature",
    "humidity_pct": "humidity",
}


def weather_tables(kept: Kept, writer: Writer) -> Iterator[Table]:
    """Yield the tables of what was kept of a job's weather."""
    yield _weather(kept, writer)
    yield _limits(kept, writer)
    yield _stability(kept, writer)
    yield _sources(kept, writer)
    yield _neighbours(kept, writer)


def _weather(kept: Kept, writer: Writer) -> Table:
    rows = tuple(
        (
            writer.time(m.at),
            utc(m.at),
            f"{m.mark}, paused" if m.paused else m.mark,
            _at_height(writer, m.wind_m_s, Kind.SPEED, m.wind_height_m),
            writer.amount(m.gust_m_s, Kind.SPEED),
            _direction(m),
            _at_height(writer, m.boom_wind_m_s, Kind.SPEED, m.boom_height_m),
            writer.amount(m.boom_gust_m_s, Kind.SPEED),
            _at_height(writer, m.temp_c, Kind.TEMPERATURE, m.temp_height_m),
            writer.amount(m.humidity_pct, Kind.PERCENT, 0),
            writer.amount(m.delta_t_k, Kind.TEMPERATURE_STEP),
            m.status,
        )
        for m in kept.moments
    )
    return Table(
        "Weather at the start, every half hour and the end",
        (
            "Farm's clock",
            "UTC",
            "Mark",
            "Wind",
            "Gust",
            "Wind from",
            "Wind at boom",
            "Gust at boom",
            "Temperature",
            "Humidity",
            "Delta T",
            "Judged",
        ),
        rows,
        (15, 12, 8, 11, 7, 9, 12, 7, 10, 8, 7, 8),
        "Wind is the mean of ten minutes where its source gives readings often enough. At boom "
        "height it is worked out from the wind at the sensor, not measured. Heights are above "
        "ground.",
    )


def _at_height(writer: Writer, value: float | None, kind: Kind, height_m: float) -> str:
    if value is None:
        return UNKNOWN
    low = Kind.SMALL_LENGTH if height_m < 1.0 else Kind.LENGTH
    return f"{writer.amount(value, kind)} at {writer.amount(height_m, low, 0)}"


def _direction(moment: Moment) -> str:
    if moment.wind_from_deg is None:
        return UNKNOWN
    spread = "" if moment.wind_spread_deg is None else f" ±{moment.wind_spread_deg:.0f}°"
    return f"{compass_point(moment.wind_from_deg)} {moment.wind_from_deg:.0f}°{spread}"


def _limits(kept: Kept, writer: Writer) -> Table:
    stands = ("broken", "unknown", "near")
    rows = tuple(
        (
            writer.time(m.at),
            *(
                ", ".join(name for name, limit in m.limits.items() if limit.stand == stand) or "–"
                for stand in stands
            ),
        )
        for m in kept.moments
    )
    return Table(
        "How the limits of the spray window stood",
        ("Farm's clock", "Outside its bound", "Not known", "Near its bound"),
        rows,
        (16, 28, 28, 28),
    )


def _stability(kept: Kept, writer: Writer) -> Table:
    rows = tuple(
        (
            writer.time(m.at),
            m.inversion,
            m.stability.lower() if m.stability == "UNKNOWN" else m.stability,
            ", ".join(f"{name}: {said}" for name, said in m.evidence.items()),
        )
        for m in kept.moments
    )
    return Table(
        "Stability: was there an inversion?",
        ("Farm's clock", "Inversion", "Class", "What each line of evidence says"),
        rows,
        (16, 10, 7, 67),
    )


def _sources(kept: Kept, writer: Writer) -> Table:
    rows = tuple(
        (
            writer.time(m.at),
            _speakers(m),
            "; ".join(map(_quality, m.quality)) or "no reading used",
        )
        for m in kept.moments
    )
    return Table(
        "Who told the weather, and how good it was",
        ("Farm's clock", "Source and age", "Readings"),
        rows,
        (16, 58, 26),
    )


def _speakers(moment: Moment) -> str:
    """Who spoke for what; quantities that one source told at once in one breath."""
    by_speaker: dict[str, list[str]] = {}
    for name, word in _SPOKEN.items():
        by_speaker.setdefault(_spoke(moment.spoken[name]), []).append(word)
    return "; ".join(f"{', '.join(words)}: {who}" for who, words in by_speaker.items())


def _spoke(who: Spoke) -> str:
    age = "" if who.age_s is None else f" {span(who.age_s)} old"
    if who.source is None:
        return f"nobody{f', last{age}' if age else ''}"
    return f"{who.source}{age}" if who.measured else f"only forecast by {who.source}{age}"


def _quality(quality: Quality) -> str:
    said = f"{quality.source}: {quality.readings}"
    if quality.flagged:
        doubts = ", ".join(f"{what} ×{count}" for what, count in quality.flagged.items())
        said += f", not used: {doubts}"
    if quality.came_later:
        said += f", {quality.came_later} came only after that moment"
    return said


def _neighbours(kept: Kept, writer: Writer) -> Table:
    rows = tuple(
        (
            writer.time(m.at),
            _downwind(m, writer),
            "; ".join(_landing(e, writer) for e in m.landing) or "no neighbour in reach",
        )
        for m in kept.moments
    )
    return Table(
        "Neighbours: who lay downwind, and what may have landed there",
        ("Farm's clock", "Downwind", "Drift, share of the field's rate"),
        rows,
        (16, 32, 52),
        "Drift is an estimate from published curves, not a measurement.",
    )


def _downwind(moment: Moment, writer: Writer) -> str:
    if moment.wind_from_deg is None and not moment.downwind:
        return UNKNOWN if moment.landing else "nobody"
    found = (
        f"{n.neighbour} on the {n.side} side, {writer.amount(n.gap_m, Kind.LENGTH, 0)}"
        for n in moment.downwind
    )
    return "; ".join(found) or "nobody"


def _landing(landing: Landing, writer: Writer) -> str:
    gap = writer.amount(landing.gap_m, Kind.LENGTH, 0)
    who = f"{landing.neighbour} ({landing.side}, {gap})"
    if landing.upper_pct is None:
        return f"{who}: {UNKNOWN}"
    stands = (
        "takes no harm"
        if landing.tolerance_pct is None
        else f"it stands {landing.tolerance_pct:.2g}%"
    )
    outside = ", outside what the curves were seen for" if landing.extrapolated else ""
    return f"{who}: up to {landing.upper_pct:.2g}%, {stands}{outside}"
