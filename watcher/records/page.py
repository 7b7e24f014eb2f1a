"""A record as a page to read: what it says, what it lacks, and what it is sealed with."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import datetime
from zoneinfo import ZoneInfo

import shapely
import shapely.geometry

from watcher.i18n.language import ENGLISH, Language
from watcher.i18n.message import Message, Param, joined, say
from watcher.jobs.changes import CHANGED_WORDS
from watcher.messages.words import span
from watcher.records.chain import WHAT_IT_SHOWS, Link
from watcher.records.errors import RecordError
from watcher.records.facts import Held, Kept, Value
from watcher.records.field_map import map_of
from watcher.records.form import FORM, TEXT, Group, labelled, lacking, numbered, shown, split
from watcher.records.layout import PageTable, RecordPage, Writer, utc
from watcher.records.record import Record
from watcher.records.rules import OTHERS_ADD, READ_ON, Deadline, deadlines_of, missing
from watcher.records.weather_tables import weather_tables
from watcher.weather.quantities import BY_NAME

_MOST_CORNERS = 12


def page_of(
    record: Record,
    rules: Sequence[str],
    head: Link | None,
    *,
    blanks: bool = False,
    language: Language = ENGLISH,
) -> RecordPage:
    """Lay out a record that has what is kept of its job.

    ``rules`` are those it is checked against; one that is closed keeps its own. ``blanks``: with
    the values nobody gave yet, for filling in. What was sealed stands as it was, whatever the
    ``language`` the page is written in.
    """
    kept = record.kept
    if kept is None:
        raise RecordError(say("nothing is kept of job {job} yet", job=record.job))
    writer = Writer(ZoneInfo(kept.time_zone), kept.units, language)
    if record.closed is not None:
        rules = record.closed.closing.rules
    return RecordPage(
        title=writer.text(
            say("Application record, job {job}: {field}", job=record.job, field=kept.field)
        ),
        lines=writer.words(*_lines(record, kept, writer)),
        tables=tuple(_tables(record, kept, rules, writer, blanks=blanks)),
        seal=writer.text(_seal(head)),
        map=map_of(kept, writer),
        products=_products(record, writer),
        signature=writer.words(
            say("Signature of the certified applicator: {who}", who=_applicator(record)),
            say("Date"),
        ),
    )


def _applicator(record: Record) -> str:
    return str(record.value("applicator") or "")


def _seal(head: Link | None) -> Message:
    if head is None:
        return say("No entry of any record is written yet.")
    return say("Head of the chain: entry {n}, {hash}", n=head.number, hash=head.hash)


def _lines(record: Record, kept: Kept, writer: Writer) -> Iterator[Message]:
    yield say(
        "{farm}. Field {field}, {state}.",
        farm=kept.farm,
        field=kept.field,
        state=writer.word(kept.state),
    )
    if record.closed is None:
        yield say("Draft: this record is not closed.")
    else:
        closing = record.closed.closing
        yield say(
            "Closed {time} by {who}.", time=writer.time(record.closed.at), who=record.closed.by
        )
        if closing.incomplete is not None:
            yield say("Closed incomplete: {why}", why=closing.incomplete)
    if record.corrections:
        last = record.corrections[-1]
        yield say(
            "Corrected since, last {time} by {who}; see the corrections.",
            time=writer.time(last.at),
            who=last.by,
        )


def _tables(
    record: Record, kept: Kept, rules: Sequence[str], writer: Writer, *, blanks: bool
) -> Iterator[PageTable]:
    for group in Group:
        table = _form(record, group, writer, blanks=blanks)
        if table.rows:
            yield table
    yield replace(_boundary(kept, writer), behind=True)
    if kept.against:
        rows = tuple((one.said, writer.time(one.at)) for one in kept.against)
        head = writer.words(say("What stood against the start"), say("From"))
        title = writer.text(say("Started all the same, with a plain yes to"))
        yield PageTable(title, head, rows, (80, 20))
    if kept.by_hand:
        yield _by_hand(kept, writer)
    if kept.changed:
        yield _changed(kept, writer)
    if kept.pauses:
        yield _pauses(kept, writer)
    if len(kept.rigs) > 1:
        rows = tuple((writer.time(r.since), r.setup) for r in kept.rigs)
        head = writer.words(say("Since"), say("Setup"))
        yield PageTable(writer.text(say("Setups in turn")), head, rows, (20, 80))
    weather, limits, *behind = weather_tables(kept, writer)
    yield weather
    yield limits
    yield from (replace(table, behind=True) for table in behind)
    if record.closed is not None:
        yield replace(_alerts(record, writer), behind=True)
    if record.corrections:
        yield _corrections(record, writer)
    yield _lacks(record, rules, writer)
    yield _deadlines(record, rules, writer)
    yield replace(_entries(record, writer), behind=True)


def _form(record: Record, group: Group, writer: Writer, *, blanks: bool) -> PageTable:
    keys = [k for k in record.keys(group) if blanks or k in record.values]
    rows = tuple((writer.text(labelled(k)), *_cells(k, record.values.get(k), writer)) for k in keys)
    return PageTable(writer.word(group.value), ("", "", ""), rows, (18, 24, 8), keys=tuple(keys))


_OF_PRODUCTS = ("product", "registration", "active", "rate", "total", "re_entry", "pre_harvest")


def _products(record: Record, writer: Writer) -> PageTable:
    """The products as a row each; a dash for what nobody gave."""
    rows = tuple(
        tuple(_shown(k, record.value(k), writer) for k in (numbered(i, n) for i in _OF_PRODUCTS))
        for n in range(1, record.counted(FORM["product"]) + 1)
    )
    head = writer.words(*(labelled(key) for key in _OF_PRODUCTS))
    return PageTable(
        writer.text(say("Products in the tank")), head, rows, (24, 14, 20, 11, 11, 9, 11)
    )


def _cells(key: str, held: Held | None, writer: Writer) -> tuple[str, str]:
    value = None if held is None else held.value
    return _shown(key, value, writer), "" if held is None else writer.word(held.origin)


def _shown(key: str, value: Value | None, writer: Writer) -> str:
    """A value; one of a list of choices in the language of the page."""
    item = split(key)[0]
    chosen = shown(item, value, writer.system)
    return chosen if item.held_as is TEXT else writer.word(chosen)


def _boundary(kept: Kept, writer: Writer) -> PageTable:
    shape = shapely.geometry.shape(kept.boundary)
    corners = shapely.get_coordinates(shape)
    middle = f"{shape.centroid.y:.5f}, {shape.centroid.x:.5f}"
    listed = "; ".join(f"{north:.6f}, {east:.6f}" for east, north in corners[:_MOST_CORNERS])
    more = len(corners) - _MOST_CORNERS
    outline: Param = listed
    if more > 0:
        outline = say("{corners}; and {n} more, in the JSON export", corners=listed, n=more)
    feature = say("feature {field} of the farm's boundaries (RFC 7946, WGS 84)", field=kept.field)
    rows = tuple(
        (writer.text(what), writer.text(where))
        for what, where in (
            (say("reference"), feature),
            (say("middle (latitude, longitude)"), middle),
            (say("outline"), outline),
        )
    )
    head = writer.words(say("What"), say("Where"))
    return PageTable(writer.text(say("Boundary of the field")), head, rows, (18, 82))


def _by_hand(kept: Kept, writer: Writer) -> PageTable:
    rows = tuple(
        (
            writer.time(m.at),
            m.by,
            "; ".join(f"{writer.text(BY_NAME[n].words)} {text}" for n, text in m.said.items()),
        )
        for m in kept.by_hand
    )
    head = writer.words(say("When"), say("By"), say("Measured at boom height"))
    return PageTable(writer.text(say("Readings taken by hand")), head, rows, (20, 20, 60))


def _changed(kept: Kept, writer: Writer) -> PageTable:
    rows = tuple(
        (
            writer.time(c.at),
            c.by,
            "; ".join(f"{writer.text(CHANGED_WORDS[n])} {text}" for n, text in c.said.items()),
        )
        for c in kept.changed
    )
    head = writer.words(say("When"), say("By"), say("What was changed"))
    note = say("Judged so from then on.")
    title = writer.text(say("Changed on the way"))
    return PageTable(title, head, rows, (20, 20, 60), writer.text(note))


def _pauses(kept: Kept, writer: Writer) -> PageTable:
    rows = tuple(
        (
            writer.time(p.since),
            "–" if p.until is None else writer.time(p.until),
            "–" if p.until is None else writer.text(span(p.until - p.since)),
            p.why,
        )
        for p in kept.pauses
    )
    head = writer.words(say("From"), say("Until"), say("Length"), say("Why"))
    return PageTable(writer.text(say("Pauses")), head, rows, (20, 20, 12, 48))


def _alerts(record: Record, writer: Writer) -> PageTable:
    alerts = record.closed.closing.alerts if record.closed else ()
    rows = tuple(
        (
            writer.time(a.at),
            a.said,
            a.recipient,
            writer.text(say("sent {time}", time=writer.time(a.sent_at)))
            if a.sent_at
            else writer.word(a.state),
            writer.text(
                say(
                    "{time} by {who}",
                    time=writer.time(a.acknowledged_at),
                    who=a.acknowledged_by or "",
                )
            )
            if a.acknowledged_at
            else writer.text(say("not acknowledged")),
        )
        for a in alerts
    )
    note = "" if rows else writer.text(say("No alert about this job was written."))
    head = writer.words(say("Written"), say("Said"), say("To"), say("Sent"), say("Acknowledged"))
    return PageTable(writer.text(say("Alerts")), head, rows, (17, 32, 11, 18, 22), note)


def _corrections(record: Record, writer: Writer) -> PageTable:
    rows = []
    for made in record.corrections:
        c = made.correction
        old, new = (_shown(c.key, value, writer) for value in (c.old, c.new))
        rows.append((writer.time(made.at), made.by, writer.text(labelled(c.key)), old, new, c.why))
    head = writer.words(say("When"), say("By"), say("What"), say("Was"), say("Is"), say("Why"))
    return PageTable(
        writer.text(say("Corrections since it was closed")),
        head,
        tuple(rows),
        (17, 12, 18, 17, 17, 19),
    )


def _lacks(record: Record, rules: Sequence[str], writer: Writer) -> PageTable:
    found = missing(record, rules)
    rows = tuple((writer.text(lacking(m)), m.rule, writer.word(m.known)) for m in found)
    against = ", ".join(rules)
    notes: list[Message] = [
        say("Checked against: {rules}, as read on {day}.", rules=against, day=READ_ON.isoformat())
        if rules
        else say("Checked against: no rule."),
        OTHERS_ADD,
    ]
    if not rows:
        notes.insert(0, say("Nothing that these rules ask for is missing."))
    note = writer.text(joined(notes, " "))
    keys = tuple(m.key for m in found)
    head = writer.words(say("Missing"), say("Rule"), say("How the rule is known here"))
    return PageTable(writer.text(say("What is missing")), head, rows, (50, 25, 25), note, keys)


def _deadlines(record: Record, rules: Sequence[str], writer: Writer) -> PageTable:
    rows = tuple(
        (writer.word(d.what), _by(d, writer), d.rule, writer.word(d.known))
        for d in deadlines_of(record, rules, writer.zone)
    )
    head = writer.words(say("What"), say("By"), say("Rule"), say("How the rule is known here"))
    return PageTable(writer.text(say("Days to keep")), head, rows, (25, 25, 25, 25))


def _by(deadline: Deadline, writer: Writer) -> str:
    if isinstance(deadline.by, datetime):
        return writer.time(int(deadline.by.timestamp()))
    return deadline.by.isoformat()


def _entries(record: Record, writer: Writer) -> PageTable:
    rows = tuple(
        (
            str(e.link.number),
            writer.word(e.link.kind),
            f"{writer.time(e.link.at)} ({utc(e.link.at)} UTC)",
            e.link.by,
            e.link.hash,
        )
        for e in record.entries
    )
    head = writer.words(say("Entry"), say("What"), say("When"), say("By"), say("Hash (SHA-256)"))
    shows = writer.text(WHAT_IT_SHOWS)
    return PageTable(writer.text(say("Seal")), head, rows, (6, 9, 30, 11, 44), shows)
