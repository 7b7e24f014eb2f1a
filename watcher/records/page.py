"""A record as a page to read: what it says, what it lacks, and what it is sealed with."""

from collections.abc import Iterator, Sequence
from datetime import datetime
from zoneinfo import ZoneInfo

import shapely
import shapely.geometry

from watcher.alerts.wording.words import span
from watcher.farm.products import RecordRule
from watcher.records.chain import WHAT_IT_SHOWS, Link
from watcher.records.errors import RecordError
from watcher.records.facts import Held, Kept
from watcher.records.form import Group, label, shown, split
from watcher.records.layout import Page, Table, Writer, utc
from watcher.records.record import Record
from watcher.records.rules import OTHERS_ADD, Deadline, deadlines_of, missing
from watcher.records.weather_tables import weather_tables

_MOST_CORNERS = 12


def page_of(
    record: Record, rules: Sequence[RecordRule], head: Link | None, *, blanks: bool = False
) -> Page:
    """Lay out a record that has what is kept of its job.

    ``rules`` are those it is checked against; one that is closed keeps its own. ``blanks``: with
    the values nobody told yet, for filling in.
    """
    kept = record.kept
    if kept is None:
        raise RecordError(f"nothing is kept of job {record.job} yet")
    writer = Writer(ZoneInfo(kept.time_zone), kept.units)
    if record.closed is not None:
        rules = record.closed.closing.rules
    return Page(
        title=f"Application record, job {record.job}: {kept.field}",
        lines=tuple(_lines(record, kept, writer)),
        tables=tuple(_tables(record, kept, rules, writer, blanks=blanks)),
        seal=_seal(head),
    )


def _seal(head: Link | None) -> str:
    if head is None:
        return "No entry of any record is written yet."
    return f"Head of the chain: entry {head.number}, {head.hash}"


def _lines(record: Record, kept: Kept, writer: Writer) -> Iterator[str]:
    yield f"{kept.farm}. Field {kept.field}, {kept.state}."
    if record.closed is None:
        yield "Draft: this record is not closed."
    else:
        closing = record.closed.closing
        yield f"Closed {writer.time(record.closed.at)} by {record.closed.by}."
        if closing.incomplete is not None:
            yield f"Closed incomplete: {closing.incomplete}"
    if record.corrections:
        last = record.corrections[-1]
        yield f"Corrected since, last {writer.time(last.at)} by {last.by}; see the corrections."


def _tables(
    record: Record, kept: Kept, rules: Sequence[RecordRule], writer: Writer, *, blanks: bool
) -> Iterator[Table]:
    for group in Group:
        table = _form(record, group, writer, blanks=blanks)
        if table.rows:
            yield table
    yield _boundary(kept)
    if kept.pauses:
        yield _pauses(kept, writer)
    if len(kept.rigs) > 1:
        rows = tuple((writer.time(r.since), r.setup) for r in kept.rigs)
        yield Table("Setups in turn", ("Since", "Setup"), rows, (20, 80))
    yield from weather_tables(kept, writer)
    if record.closed is not None:
        yield _alerts(record, writer)
    if record.corrections:
        yield _corrections(record, writer)
    yield _lacks(record, rules)
    yield _deadlines(record, rules, writer)
    yield _entries(record, writer)


def _form(record: Record, group: Group, writer: Writer, *, blanks: bool) -> Table:
    keys = [k for k in record.keys(group) if blanks or k in record.values]
    rows = tuple((label(k), *_cells(k, record.values.get(k), writer)) for k in keys)
    return Table(group.value, ("", "", ""), rows, (18, 24, 8), keys=tuple(keys))


def _cells(key: str, held: Held | None, writer: Writer) -> tuple[str, str]:
    value = None if held is None else held.value
    return shown(split(key)[0], value, writer.system), "" if held is None else held.origin


def _boundary(kept: Kept) -> Table:
    shape = shapely.geometry.shape(kept.boundary)
    corners = shapely.get_coordinates(shape)
    told = f"{shape.centroid.y:.5f}, {shape.centroid.x:.5f}"
    listed = "; ".join(f"{north:.6f}, {east:.6f}" for east, north in corners[:_MOST_CORNERS])
    more = len(corners) - _MOST_CORNERS
    rows = (
        ("reference", f"feature {kept.field} of the farm's boundaries (RFC 7946, WGS 84)"),
        ("middle (latitude, longitude)", told),
        ("outline", listed + (f"; and {more} more, in the JSON export" if more > 0 else "")),
    )
    return Table("Boundary of the field", ("What", "Where"), rows, (18, 82))


def _pauses(kept: Kept, writer: Writer) -> Table:
    rows = tuple(
        (
            writer.time(p.since),
            "–" if p.until is None else writer.time(p.until),
            "–" if p.until is None else span(p.until - p.since),
            p.why,
        )
        for p in kept.pauses
    )
    return Table("Pauses", ("From", "Until", "Length", "Why"), rows, (20, 20, 12, 48))


def _alerts(record: Record, writer: Writer) -> Table:
    alerts = record.closed.closing.alerts if record.closed else ()
    rows = tuple(
        (
            writer.time(a.at),
            a.said,
            a.recipient,
            f"sent {writer.time(a.sent_at)}" if a.sent_at else a.state,
            f"{writer.time(a.acknowledged_at)} by {a.acknowledged_by}"
            if a.acknowledged_at
            else "not acknowledged",
        )
        for a in alerts
    )
    note = "" if rows else "No alert about this job was written."
    head = ("Written", "Said", "To", "Sent", "Acknowledged")
    return Table("Alerts", head, rows, (17, 32, 11, 18, 22), note)


def _corrections(record: Record, writer: Writer) -> Table:
    rows = []
    for made in record.corrections:
        item, c = split(made.correction.key)[0], made.correction
        old, new = (shown(item, value, writer.system) for value in (c.old, c.new))
        rows.append((writer.time(made.at), made.by, label(c.key), old, new, c.why))
    head = ("When", "By", "What", "Was", "Is", "Why")
    return Table("Corrections since it was closed", head, tuple(rows), (17, 12, 18, 17, 17, 19))


def _lacks(record: Record, rules: Sequence[RecordRule]) -> Table:
    found = missing(record, rules)
    rows = tuple((m.what, m.rule, m.known) for m in found)
    checked = f"Checked against: {', '.join(rules) or 'no rule'}. {OTHERS_ADD}"
    note = checked if rows else f"Nothing that these rules ask for is missing. {checked}"
    keys = tuple(m.key for m in found)
    head = ("Missing", "Rule", "How the rule is known here")
    return Table("What is missing", head, rows, (50, 25, 25), note, keys)


def _deadlines(record: Record, rules: Sequence[RecordRule], writer: Writer) -> Table:
    rows = tuple(
        (d.what, _by(d, writer), d.rule, d.known) for d in deadlines_of(record, rules, writer.zone)
    )
    head = ("What", "By", "Rule", "How the rule is known here")
    return Table("Days to keep", head, rows, (25, 25, 25, 25))


def _by(deadline: Deadline, writer: Writer) -> str:
    if isinstance(deadline.by, datetime):
        return writer.time(int(deadline.by.timestamp()))
    return deadline.by.isoformat()


def _entries(record: Record, writer: Writer) -> Table:
    rows = tuple(
        (
            str(e.link.number),
            e.link.kind,
            f"{writer.time(e.link.at)} ({utc(e.link.at)} UTC)",
            e.link.by,
            e.link.hash,
        )
        for e in record.entries
    )
    head = ("Entry", "What", "When", "By", "Hash (SHA-256)")
    return Table("Seal", head, rows, (6, 9, 30, 11, 44), WHAT_IT_SHOWS)
