"""Records as one table other programs read: comma-separated, one line a value, SI, UTC beside the
farm's clock.

Text that a spreadsheet would take for a formula is written with an apostrophe before it.
"""

import csv
from collections.abc import Iterable, Iterator
from typing import NamedTuple, TextIO
from zoneinfo import ZoneInfo

from watcher.limits.catalogue import CATALOGUE
from watcher.messages.words import CAUTION
from watcher.records.chain import Link
from watcher.records.facts import Kept, Moment
from watcher.records.form import label, local, split, unit
from watcher.records.layout import utc
from watcher.records.record import Record

HEAD = ("job", "part", "name", "farm's clock", "UTC", "value", "unit", "told by")
# A limit that an older record names may be gone since.
_LIMITS = {limit.value: entry for limit, entry in CATALOGUE.items()}
_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")
_MEASURED = {
    "wind_m_s": ("wind", "m/s"),
    "wind_height_m": ("height of the wind", "m"),
    "gust_m_s": ("gust", "m/s"),
    "wind_from_deg": ("wind from", "deg"),
    "wind_spread_deg": ("standard deviation of the wind's direction", "deg"),
    "boom_wind_m_s": ("wind at boom height", "m/s"),
    "boom_gust_m_s": ("gust at boom height", "m/s"),
    "boom_height_m": ("boom height over the ground", "m"),
    "temp_c": ("temperature", "degC"),
    "temp_height_m": ("height of the temperature", "m"),
    "humidity_pct": ("relative humidity", "%"),
    "delta_t_k": ("Delta T", "K"),
    "inversion": ("inversion", ""),
    "stability": ("stability class", ""),
    "status": ("judged", ""),
}


class _Line(NamedTuple):
    """One value; ``at`` is epoch seconds, for what was so at a moment."""

    part: str
    name: str
    value: str | float | None
    unit: str = ""
    origin: str = ""
    at: int | None = None


def write_table(records: Iterable[Record], head: Link | None, out: TextIO) -> int:
    """Write records as lines; return how many values. A file must be opened with ``newline=""``."""
    lines = csv.writer(out)
    lines.writerow(HEAD)
    written = 0
    for record in records:
        zone = ZoneInfo(record.kept.time_zone) if record.kept else None
        for line in _lines(record):
            lines.writerow(_cells(record.job, line, zone))
            written += 1
    lines.writerow(("", "caution", "", "", "", str(CAUTION), "", ""))
    if head is not None:
        lines.writerow(("", "chain", "head", "", "", head.hash, "", f"entry {head.number}"))
    return written


def _cells(job: int, line: _Line, zone: ZoneInfo | None) -> tuple[object, ...]:
    clock = "" if line.at is None or zone is None else local(line.at, zone)
    moment = "" if line.at is None else f"{utc(line.at)}Z"
    value = _harmless(line.value) if isinstance(line.value, str) else line.value
    return job, line.part, line.name, clock, moment, value, line.unit, _harmless(line.origin)


def _harmless(text: str) -> str:
    return f"'{text}" if text.startswith(_FORMULA_STARTS) else text


def _lines(record: Record) -> Iterator[_Line]:
    for key, held in record.values.items():
        item, _ = split(key)
        yield _Line(item.group.value.lower(), label(key), held.value, unit(item), held.origin)
    if record.kept is not None:
        yield from _of_kept(record.kept)
    if record.closed is not None:
        closing = record.closed.closing
        yield _Line("closed", "closed", "yes", origin=record.closed.by, at=record.closed.at)
        if closing.incomplete is not None:
            yield _Line("closed", "closed incomplete", closing.incomplete)
        for m in closing.missing:
            yield _Line("missing when closed", m.what, m.rule)
        for a in closing.alerts:
            yield _Line("alert", f"{a.kind} to {a.recipient}", a.said, origin=a.state, at=a.at)
            if a.acknowledged_at is not None:
                by = a.acknowledged_by or ""
                yield _Line("alert", "acknowledged", a.said, origin=by, at=a.acknowledged_at)
    for made in record.corrections:
        c = made.correction
        yield _Line("correction", f"{label(c.key)}, was", c.old, at=made.at, origin=made.by)
        yield _Line("correction", f"{label(c.key)}, why", c.why, at=made.at, origin=made.by)
    for entry in record.entries:
        link = entry.link
        yield _Line("entry", f"{link.number} {link.kind}", link.hash, origin=link.by, at=link.at)


def _of_kept(kept: Kept) -> Iterator[_Line]:
    yield _Line("where", "field", kept.field)
    for pause in kept.pauses:
        yield _Line("when", "paused", pause.why, at=pause.since)
        if pause.until is not None:
            yield _Line("when", "resumed", "", at=pause.until)
    for rig in kept.rigs:
        yield _Line("with what", "setup from here on", rig.setup, at=rig.since)
    for moment in kept.moments:
        yield from _of_moment(moment)


def _of_moment(moment: Moment) -> Iterator[_Line]:
    at = moment.at
    yield _Line("weather", "mark", moment.mark, at=at)
    for name, (words, in_unit) in _MEASURED.items():
        who = moment.spoken.get(name)
        source = "" if who is None else str(who.source or "nobody")
        yield _Line("weather", words, getattr(moment, name), in_unit, source, at)
    for name, who in moment.spoken.items():
        yield _Line("source", f"age of {name}", who.age_s, "s", str(who.source or "nobody"), at)
    for quality in moment.quality:
        yield _Line("readings", "count", quality.readings, "", quality.source, at)
        yield _Line("readings", "came later", quality.came_later, "", quality.source, at)
        for what, count in quality.flagged.items():
            yield _Line("readings", f"not used, {what}", count, "", quality.source, at)
    for name, said in moment.evidence.items():
        yield _Line("inversion evidence", name, said, at=at)
    for name, limit in moment.limits.items():
        yield _Line("limit", name, limit.stand, origin=limit.origin, at=at)
        entry = _LIMITS.get(name)
        if entry is not None and entry.kind is not None:
            unit, by = entry.kind.inside, limit.origin
            yield _Line("limit's value", str(entry.words), limit.value, unit, by, at)
    for n in moment.downwind:
        yield _Line("downwind", f"{n.neighbour}, {n.side}", n.gap_m, "m", at=at)
    for e in moment.landing:
        yield _Line("drift, upper estimate", f"{e.neighbour}, {e.side}", e.upper_pct, "%", at=at)
