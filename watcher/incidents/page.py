"""An account laid out to be read and printed: what the log holds, and no more than that."""

import math
from collections.abc import Iterator, Sequence
from zoneinfo import ZoneInfo

import shapely
import shapely.geometry
from shapely.geometry.base import BaseGeometry

from watcher.farm.geometry.bearings import compass_point
from watcher.i18n.language import ENGLISH, Language
from watcher.i18n.message import Message, joined, say, say_n
from watcher.incidents.commands import Sealed
from watcher.incidents.cone import sector
from watcher.incidents.facts import Account, Cone, InCone, JobThen, LayThere, StationThen
from watcher.messages.vocabulary import JOB_STATE_WORDS, POINTS
from watcher.messages.words import distance, span
from watcher.records.chain import WHAT_IT_SHOWS, Link
from watcher.records.form import TEXT, labelled, shown, split
from watcher.records.layout import UNKNOWN, PageMap, PageTable, RecordPage, Ring, Writer, utc
from watcher.records.weather_tables import air_table, sources_table, stability_table

WHAT_IT_TELLS = say(
    "This account tells what the log and the farm file hold of that place and time. It does not "
    "say whether spray drifted, where from, or what did harm: that takes other evidence. What is "
    "not known is called so."
)
SUSPECTED = {
    "onto us": say("Drift suspected onto our crop"),
    "from us": say("Drift suspected from one of our jobs"),
}
_IN_CONE: dict[InCone, Message] = {
    "in": say("in the cone"),
    "out": say("outside the cone"),
    "not known": UNKNOWN,
}
_RECORD = {
    "none": say("no record yet"),
    "open": say("record open"),
    "closed": say("record closed"),
}
_METRES_A_DEGREE = 111_195.0
"""Of latitude, on a sphere: the map is drawn to within a part in a hundred."""
_LEAST_SHOWN_M, _MOST_SHOWN_M, _ROOM = 400.0, 2500.0, 1.25
_HERE_M = 0.02
"""Size of a point on the map, as a share of it."""


def page_of(sealed: Sealed, language: Language = ENGLISH) -> RecordPage:
    """Lay out an account. What was sealed stands as it was, whatever the ``language``."""
    account = sealed.account
    writer = Writer(ZoneInfo(account.time_zone), account.units, language)
    return RecordPage(
        title=title_of(account, writer),
        lines=writer.words(*_lines(account, sealed.link, writer)),
        tables=tuple(_tables(account, sealed.link, writer)),
        seal=writer.text(
            say("Entry {n} of the chain: {hash}", n=sealed.link.number, hash=sealed.link.hash)
        ),
        map=_map(account, writer),
        signature=writer.words(
            say("Signature of whoever wrote this: {who}", who=sealed.link.by), say("Date")
        ),
    )


def title_of(account: Account, writer: Writer) -> str:
    """Return what an account is called."""
    return writer.text(
        say("Account of an incident, {n}: {place}", n=account.number, place=account.place.said)
    )


def _lines(account: Account, link: Link, writer: Writer) -> Iterator[Message]:
    yield say("{farm}. {what}.", farm=account.farm, what=SUSPECTED[account.suspected])
    if account.told_at is None:
        yield say(
            "Between {start} and {end}.",
            start=writer.time(account.start),
            end=writer.time(account.end),
        )
    else:
        yield say(
            "At {time}; shown from {start} to {end}.",
            time=writer.time(account.told_at),
            start=writer.time(account.start),
            end=writer.time(account.end),
        )
    yield say(
        "Written {time} by {who}, {late} after the time it is of.",
        time=writer.time(link.at),
        who=link.by or say("nobody named"),
        late=span(max(0, link.at - account.end)),
    )
    if account.seen:
        yield say("What was seen: {what}", what=account.seen)
    yield WHAT_IT_TELLS
    yield from _gaps(account, writer)
    yield from cone_lines(account, writer)


def _gaps(account: Account, writer: Writer) -> Iterator[Message]:
    """What is missing, first of all."""
    for what, words in (
        ("wind_m_s", say("wind")),
        ("wind_from_deg", say("wind direction")),
        ("gust_m_s", say("gust")),
        ("temp_c", say("temperature")),
    ):
        missing = sum(getattr(m, what) is None for m in account.moments)
        if missing:
            yield say(
                "Gap: {what} is not known at {n} of {all} moments.",
                what=words,
                n=missing,
                all=len(account.moments),
            )
    unsure = sum(m.inversion == "unknown" for m in account.moments)
    if unsure:
        yield say(
            "Gap: whether there was an inversion is not known at {n} of {all} moments.",
            n=unsure,
            all=len(account.moments),
        )
    if not account.stations:
        yield say("Gap: no station of the farm measured; the weather is a forecast's.")
    if account.place.said != account.field:
        yield say(
            "The weather is that of the nearest field, {field}, by the stations that speak for it; "
            "at the place itself nobody measured.",
            field=account.field,
        )


def cone_lines(account: Account, writer: Writer) -> Iterator[Message]:
    """Yield what the cone is of, or that there is none."""
    cone = account.cone
    if cone is None:
        yield say("Wind direction not known: no cone, and nobody is said to lie up- or downwind.")
        return
    if cone.all_round:
        yield say("The wind came from all round: the cone leaves no side out.")
    else:
        yield say(
            "Cone: wind from between {low} {low_deg}° and {high} {high_deg}°.",
            low=POINTS[compass_point(cone.low_deg)],
            low_deg=f"{cone.low_deg:.0f}",
            high=POINTS[compass_point(cone.high_deg)],
            high_deg=f"{cone.high_deg:.0f}",
        )
    yield say(
        "It holds the ten-minute directions of {n} of {all} moments, each with two standard "
        "deviations of its swing to either side.",
        n=cone.known,
        all=len(account.moments),
    )
    if cone.swing_by_default:
        yield say(
            "At {n} of them the swing was not measured: the farm file's stands in.",
            n=cone.swing_by_default,
        )
    if cone.foretold:
        yield say("At {n} of them only a forecast gave the direction.", n=cone.foretold)


def _tables(account: Account, link: Link, writer: Writer) -> Iterator[PageTable]:
    yield _jobs(account, writer)
    yield from (_said(job, writer) for job in account.jobs if job.values)
    yield _there(account, writer)
    yield air_table(account.moments, writer.text(say("The weather then")), writer)
    yield _stations(account, writer)
    yield stability_table(account.moments, writer)
    yield sources_table(account.moments, writer)
    yield _seal(account, link, writer)


def _jobs(account: Account, writer: Writer) -> PageTable:
    rows = tuple(
        (
            str(job.job),
            job.field,
            writer.text(_when(account, job, writer)),
            _away(job.distance_m, job.bearing_deg, writer),
            writer.text(_IN_CONE[job.upwind]),
            writer.text(_of_record(job)),
        )
        for job in account.jobs
    )
    before = span(account.before_s)
    note = (
        say("Jobs that ended up to {before} before are listed too.", before=before)
        if rows
        else say("By our log no job of ours ran then, or in the {before} before.", before=before)
    )
    head = writer.words(
        say("Job"),
        say("Field"),
        say("When"),
        say("From the place"),
        say("Upwind of the place"),
        say("Record"),
    )
    title = writer.text(say("Which of our jobs ran"))
    return PageTable(title, head, rows, (6, 14, 34, 16, 12, 18), writer.text(note))


def _when(account: Account, job: JobThen, writer: Writer) -> Message:
    until = say("still open") if job.ended is None else writer.time(job.ended)
    parts: list[Message] = [
        say("{start} to {end}", start=writer.time(job.started), end=until),
        JOB_STATE_WORDS[job.state],
    ]
    if not job.during:
        parts.append(say("ended {span} before", span=span(account.start - (job.ended or 0))))
    for pause in job.pauses:
        end = say("the end") if pause.until is None else writer.time(pause.until)
        parts.append(say("paused {start} to {end}", start=writer.time(pause.since), end=end))
    return joined(parts, ", ")


def _of_record(job: JobThen) -> Message:
    if job.record_hash is None:
        return _RECORD[job.record]
    return say(
        "{state}, entry {n} {hash}…",
        state=_RECORD[job.record],
        n=job.record_entry or 0,
        hash=job.record_hash[:12],
    )


def _said(job: JobThen, writer: Writer) -> PageTable:
    rows = []
    for key, held in job.values.items():
        item = split(key)[0]
        value = shown(item, held.value, writer.system)
        words = value if item.held_as is TEXT else writer.word(value)
        rows.append((writer.text(labelled(key)), words, writer.word(held.origin)))
    title = writer.text(say("What the record of job {n} says", n=job.job))
    head = writer.words(say("What"), say("Value"), say("From"))
    return PageTable(title, head, tuple(rows), (30, 50, 20))


def _there(account: Account, writer: Writer) -> PageTable:
    rows = tuple(
        (
            one.name,
            writer.text(_kind(one)),
            _away(one.distance_m, one.bearing_deg, writer),
            writer.text(_IN_CONE[one.upwind]),
            writer.text(_IN_CONE[one.downwind]),
        )
        for one in account.there
    )
    far = distance(account.within_m, writer.system)
    note = say(
        "Fields and neighbours of the farm file within {far}, between nearest edges. Whoever the "
        "farm file does not name is not here.",
        far=far,
    )
    head = writer.words(
        say("Who"), say("Grows"), say("From the place"), say("Upwind"), say("Downwind")
    )
    title = writer.text(say("Who lay where"))
    return PageTable(title, head, rows, (24, 28, 20, 14, 14), writer.text(note))


def _kind(one: LayThere) -> Message:
    if one.kind == "field":
        return say("{crop}, field of ours", crop=one.grows)
    return say("{crop}, neighbour", crop=one.grows)


def _away(distance_m: float | None, bearing_deg: float | None, writer: Writer) -> str:
    if distance_m is None:
        return writer.text(UNKNOWN)
    if bearing_deg is None:
        return writer.text(say("at the place"))
    return writer.text(
        say(
            "{distance} to the {point} ({degrees}°)",
            distance=distance(distance_m, writer.system),
            point=POINTS[compass_point(bearing_deg)],
            degrees=f"{bearing_deg:.0f}",
        )
    )


def _stations(account: Account, writer: Writer) -> PageTable:
    rows = tuple(
        (
            one.name,
            _away(one.distance_m, one.bearing_deg, writer),
            str(one.readings),
            writer.text(_silent(one, writer)),
        )
        for one in account.stations
    )
    head = writer.words(say("Station"), say("From the place"), say("Readings"), say("Gaps"))
    title = writer.text(say("The farm's stations, and their gaps"))
    return PageTable(title, head, rows, (20, 22, 10, 48))


def _silent(one: StationThen, writer: Writer) -> Message:
    parts = [
        say(
            "nothing usable {start} to {end}",
            start=writer.time(silence.since),
            end=writer.time(silence.until),
        )
        for silence in one.silent
    ]
    if not one.whole:
        parts.append(say("the log keeps only means of that time"))
    return joined(parts) if parts else say("none longer than ten minutes")


def _seal(account: Account, link: Link, writer: Writer) -> PageTable:
    rows = (
        (
            str(link.number),
            f"{writer.time(link.at)} ({utc(link.at)} UTC)",
            link.by,
            link.hash,
        ),
    )
    head = writer.words(say("Entry"), say("When"), say("By"), say("Hash (SHA-256)"))
    note = [WHAT_IT_SHOWS]
    if any(job.record_entry for job in account.jobs):
        note.insert(
            0,
            say_n(
                "The record of the job stands in the same chain.",
                "The records of the jobs stand in the same chain.",
                sum(job.record_entry is not None for job in account.jobs),
            ),
        )
    title = writer.text(say("Seal"))
    return PageTable(title, head, rows, (6, 34, 16, 44), writer.text(joined(note, " ")))


def _map(account: Account, writer: Writer) -> PageMap:
    """The place, who lies around it, and the cone up- and downwind; north is up."""
    middle = shapely.Point(account.place.longitude, account.place.latitude)
    near = [one for one in account.there if one.distance_m <= _MOST_SHOWN_M]
    shapes = {
        one.name: _in_metres(account.ground[f"{one.kind} {one.name}"], middle) for one in near
    }
    place = _in_metres(account.place.shape, middle)
    half = _half(place, list(shapes.values())[:6])
    box = shapely.box(-half, -half, half, half)
    if place.area == 0.0:
        place = place.buffer(_HERE_M * half, quad_segs=1)
    return PageMap(
        field=tuple(_rings(place.intersection(box))),
        to_leave=(),
        winds=(),
        lines=writer.words(
            say("thick line: the place; thin lines: fields and neighbours"),
            *(
                []
                if account.cone is None
                else [
                    say(
                        "dashed: the cone the wind came from, and went to, drawn about the "
                        "place's middle; who lies in it is decided by edges"
                    )
                ]
            ),
            *cone_lines(account, writer),
        ),
        beside=tuple(
            (name, rings)
            for name, shape in shapes.items()
            if (rings := tuple(_rings(shape.intersection(box))))
        ),
        cones=tuple(_cones(account.cone, box, half, writer)),
        half_m=half,
    )


def _cones(
    cone: Cone | None, box: shapely.Polygon, half_m: float, writer: Writer
) -> Iterator[tuple[str, Ring]]:
    if cone is None or cone.all_round:
        return
    for words, upwind in ((say("upwind"), True), (say("downwind"), False)):
        shape = sector((0.0, 0.0), cone, half_m * math.sqrt(2.0), upwind=upwind)
        for ring in _rings(shape.buffer(0).intersection(box)):
            yield writer.text(words), ring


def _half(place: BaseGeometry, shapes: Sequence[BaseGeometry]) -> float:
    """How far the map goes to each side: over the place and those that lie nearest."""
    corners = shapely.get_coordinates(shapely.GeometryCollection([place, *shapes]))
    reach = float(abs(corners).max()) * _ROOM
    return min(max(reach, _LEAST_SHOWN_M), _MOST_SHOWN_M)


def _in_metres(shape: dict[str, object], middle: shapely.Point) -> BaseGeometry:
    east = _METRES_A_DEGREE * math.cos(math.radians(middle.y))
    return shapely.transform(
        shapely.geometry.shape(shape),
        lambda degrees: (degrees - (middle.x, middle.y)) * (east, _METRES_A_DEGREE),
    )


def _rings(shape: BaseGeometry) -> Iterator[Ring]:
    for part in shapely.get_parts(shape):
        if isinstance(part, shapely.Polygon) and not part.is_empty:
            for ring in (part.exterior, *part.interiors):
                yield tuple((float(x), float(y)) for x, y in ring.coords)
