"""An account: what the log holds of a place and a time, sealed, and no more than that."""

import io
from dataclasses import replace
from datetime import datetime
from functools import partial

import pypdf
import pytest

from tests.support import sprayed
from tests.support.sprayed import HOUR, MINUTE, MORNING
from watcher.i18n.language import language
from watcher.incidents import commands
from watcher.incidents.commands import DriftSuspicion
from watcher.incidents.page import WHAT_IT_TELLS, page_of
from watcher.incidents.place import moment_of, place_of, span_of
from watcher.messages.words import CAUTION
from watcher.records import journal
from watcher.records.document import check_document, write_document
from watcher.records.errors import RecordError
from watcher.records.pdf import write_pdf
from watcher.service.snapshot import compose


def write(desk, place="orchard", start=MORNING, end=None, *, by="grower", now=None, **said):
    suspicion = DriftSuspicion(said.pop("suspected", "from us"), place, start, end, **said)
    with desk.store.writing() as session:
        return commands.write(
            session,
            desk.plan,
            partial(compose, session, desk.plan),
            suspicion,
            by=by,
            now=now or desk.now,
        )


def words(sealed, code="en") -> str:
    page = page_of(sealed, language(code))
    cells = [c for t in page.tables for row in (t.head, *t.rows) for c in row]
    notes = [t.note for t in page.tables]
    return "\n".join([page.title, *page.lines, *cells, *notes, *page.map.lines])


def test_the_job_that_ran_upwind_is_told_with_what_its_record_says(desk, job) -> None:
    record = desk.close(job)
    account = write(desk, "orchard", MORNING, MORNING + HOUR).account
    [then] = account.jobs
    assert (then.job, then.field, then.during, then.upwind) == (job, "creek_side", True, "in")
    assert then.record == "closed"
    assert then.record_hash == record.entries[-1].link.hash
    assert then.values["product"].value == "Contact A (invented)"
    assert then.pauses[0].why == "filling"


def test_a_job_with_the_wind_the_other_way_lies_outside_the_cone(store, farm, desk) -> None:
    sprayed.put_readings(store, MORNING - HOUR, MORNING + HOUR + 1, wind_from_deg=0.0)
    with store.writing() as session:
        sprayed.job_steps.start(session, desk.plan, "creek_side", "coarse", MORNING)
    [then] = write(desk, "orchard", MORNING, MORNING + HOUR).account.jobs
    assert then.upwind == "out"
    assert then.record == "none"
    assert then.values == {}


def test_a_job_that_ended_shortly_before_is_told_as_such(desk, job) -> None:
    sealed = write(desk, "orchard", MORNING + 2 * HOUR, MORNING + 3 * HOUR)
    [then] = sealed.account.jobs
    assert not then.during
    assert "ended 45 min before" in words(sealed)


def test_without_a_job_it_says_so_by_our_log(desk, job) -> None:
    sealed = write(desk, "orchard", MORNING - 10 * HOUR, MORNING - 9 * HOUR)
    assert sealed.account.jobs == ()
    assert "By our log no job of ours ran then, or in the 2 h before." in words(sealed)


def test_who_lay_where_has_distance_bearing_and_side_of_the_cone(desk, job) -> None:
    there = {one.name: one for one in write(desk, "orchard", MORNING).account.there}
    creek, hill = there["creek_side"], there["hill"]
    assert creek.distance_m == pytest.approx(10.0, rel=0.01)
    assert creek.bearing_deg == pytest.approx(180.0, abs=1.0)
    assert (creek.upwind, creek.downwind) == ("in", "out")
    assert hill.distance_m == pytest.approx(1600.0, rel=0.01)
    assert (hill.upwind, hill.downwind) == ("out", "out")


def test_who_is_far_is_told_in_miles_or_kilometres(desk, job) -> None:
    sealed = write(desk, "orchard", MORNING)
    said = words(sealed)
    assert "33 ft to the S (180°)" in said
    assert "1.0 mi to the " in said  # 1600 m
    metric = replace(sealed, account=sealed.account.model_copy(update={"units": "metric"}))
    assert "10 m to the S (180°)" in words(metric)
    assert "1.6 km to the " in words(metric)


def test_a_gap_is_told_as_a_gap_and_nobody_is_placed_by_it(desk) -> None:
    sealed = write(desk, "orchard", MORNING, MORNING + HOUR)
    account = sealed.account
    assert account.cone is None
    assert {one.upwind for one in account.there} == {"not known"}
    said = words(sealed)
    assert "Gap: wind direction is not known at 7 of 7 moments." in said
    assert "no cone, and nobody is said to lie up- or downwind" in said
    assert "in the cone" not in said
    assert "outside the cone" not in said


def test_the_silence_of_a_station_is_told_to_the_minute(store, desk) -> None:
    sprayed.put_readings(store, MORNING - HOUR, MORNING + 10 * MINUTE)
    sprayed.put_readings(store, MORNING + 40 * MINUTE, MORNING + HOUR + 1)
    [mast] = write(desk, "orchard", MORNING, MORNING + HOUR).account.stations
    [silence] = mast.silent
    assert silence.since == MORNING + 9 * MINUTE
    assert silence.until == MORNING + 40 * MINUTE
    assert mast.readings == 31


def test_one_moment_is_told_with_half_an_hour_around_it(desk, job) -> None:
    account = write(desk, "orchard", MORNING + HOUR).account
    assert (account.start, account.end) == (MORNING + HOUR // 2, MORNING + 3 * HOUR // 2)
    assert account.told_at == MORNING + HOUR
    assert [m.at for m in account.moments[:2]] == [account.start, account.start + 600]


def test_it_concludes_nothing(desk, job) -> None:
    for code in ("en", "es"):
        said = words(write(desk, "orchard", MORNING), code)
        assert WHAT_IT_TELLS.render(language(code)) in said


def test_a_place_by_coordinates_is_no_field_of_its_own(desk, job) -> None:
    account = write(desk, "41.0038, -95.998", MORNING, suspected="onto us").account
    assert {one.name for one in account.there} == {"creek_side", "hill", "orchard"}
    assert account.field == "creek_side"
    assert account.suspected == "onto us"


@pytest.mark.parametrize(
    ("place", "wanted"),
    [
        ("creek_sid", 'did you mean "creek_side"?'),
        ("-96.0, 41.0", "is not near the farm"),
        ("95.0, 0.0", "is not near the farm"),
        ("", "neither a field nor a neighbour"),
    ],
)
def test_a_place_that_is_none_is_refused_with_its_mend(farm, place, wanted) -> None:
    with pytest.raises(RecordError) as refusal:
        place_of(farm, place)
    assert wanted in str(refusal.value.text)


@pytest.mark.parametrize(
    ("start", "end", "wanted"),
    [
        (100, None, "still to come"),
        (10, 200, "still to come"),
        (90, 80, "would end before it begins"),
        (-200_000, 90, "24 h at most"),
    ],
)
def test_a_time_that_cannot_be_is_refused(start, end, wanted) -> None:
    with pytest.raises(RecordError) as refusal:
        span_of(start, end, now=95)
    assert wanted in str(refusal.value.text)


@pytest.mark.parametrize("text", ["", "yesterday", "2026-06-10", "2026-13-01T10:00"])
def test_a_time_that_is_none_is_refused(farm, text) -> None:
    with pytest.raises(RecordError, match="no date with a time"):
        moment_of(text, farm.zone)


def test_a_time_is_on_the_farms_clock_unless_it_says_otherwise(farm) -> None:
    assert moment_of("2026-06-10T11:00", farm.zone) == MORNING
    assert moment_of("2026-06-10T16:00+00:00", farm.zone) == MORNING


def test_it_is_an_entry_of_the_records_chain_and_the_chain_stays_whole(desk, job) -> None:
    desk.close(job)
    sealed = write(desk, "orchard", MORNING)
    with desk.store.reading() as session:
        verdict = journal.verify(session)
        assert verdict.broken is None
        assert verdict.head == sealed.link.hash
        data = write_document(journal.entries(session), [], [sealed.link.number])
        records = write_document(journal.entries(session), [job])
    assert check_document(data, sealed.link.hash).broken is None
    assert b"cupped" not in records
    assert check_document(records).broken is None
    assert check_document(data.replace(b"orchard", b"orchart")).broken is not None


def test_a_key_is_of_one_account(desk, job) -> None:
    first = write(desk, "orchard", MORNING, step="abc")
    assert write(desk, "orchard", MORNING, step="abc") == first
    assert write(desk, "orchard", MORNING, step="abc", by="another").account.number == 2
    with desk.store.reading() as session:
        assert [a.account.number for a in commands.accounts(session)] == [1, 2]
        with pytest.raises(RecordError, match="no account of an incident 3"):
            commands.account(session, 3)


def test_it_is_printed_with_cone_and_caution_on_every_page(desk, job) -> None:
    desk.close(job)
    sealed = write(desk, "orchard", MORNING, seen="leaves cupped, Ñandú")
    at = datetime.fromtimestamp(desk.now, desk.farm.zone)
    data = write_pdf([page_of(sealed)], "letter", at)
    sheets = [" ".join(p.extract_text().split()) for p in pypdf.PdfReader(io.BytesIO(data)).pages]
    assert all(str(CAUTION) in text and sealed.link.hash in text for text in sheets)
    for wanted in ("leaves cupped, Ñandú", "upwind", "downwind", "Cone: wind from between S 162°"):
        assert wanted in sheets[0], wanted
    assert any("Contact A (invented)" in text for text in sheets)


def test_a_station_whose_place_nobody_said_has_no_distance(store, desk) -> None:
    [mast] = write(desk, "orchard", MORNING).account.stations
    assert mast.distance_m is None
