"""The JSON export: checkable by itself, byte for byte, and silent on what was not asked for."""

import hashlib
import json

import jcs
import pytest

from tests.support import job_steps
from tests.support.sprayed import MORNING
from watcher.records import journal
from watcher.records.chain import FIRST
from watcher.records.document import check_document, write_document
from watcher.records.errors import RecordError


def export(desk, *wanted: int) -> bytes:
    with desk.store.reading() as session:
        return write_document(journal.entries(session), wanted)


@pytest.fixture
def two(desk, job) -> tuple[int, int]:
    """Two jobs with records; the second for a client."""
    desk.close(job)
    other = desk.run(job_steps.start, desk.plan, "hill", "coarse", MORNING)
    desk.run(job_steps.finish, other.id, MORNING + 600)
    desk.tell(other.id, client="C. Client (invented)", product="wetter")
    desk.correct(job, "mistyped", certificate="0001")
    return job, other.id


@pytest.fixture
def short(desk, store) -> bytes:
    """A short document, of a record with two small entries."""
    job = desk.run(job_steps.start, desk.plan, "hill", "coarse", MORNING)
    desk.tell(job.id, note="böig")
    desk.tell(job.id, area="38 acre")
    return export(desk, job.id)


def test_a_document_as_it_was_written_is_whole(desk, two) -> None:
    verdict = check_document(export(desk, *two))
    assert verdict.broken is None
    assert verdict.count == 4
    with desk.store.reading() as session:
        assert verdict.head == journal.head(session).hash


def test_a_document_of_no_entry_is_whole() -> None:
    verdict = check_document(write_document([], []))
    assert (verdict.count, verdict.head, verdict.broken) == (0, None, None)


def seen(changed: bytes) -> bool:
    """Whether a change is noticed, by a verdict or by a refusal to read it at all."""
    try:
        return check_document(changed).broken is not None
    except RecordError:
        return True


def test_any_byte_changed_is_seen(short: bytes) -> None:
    for place, byte in enumerate(short):
        for other in {byte ^ 1, ord(" "), 0xFF} - {byte}:
            assert seen(short[:place] + bytes([other]) + short[place + 1 :]), place


def test_any_byte_removed_or_added_is_seen(short: bytes) -> None:
    for place in range(len(short) + 1):
        assert seen(short[:place] + b" " + short[place:]), place
        assert place == len(short) or seen(short[:place] + short[place + 1 :]), place


def test_the_first_changed_entry_is_named(short: bytes) -> None:
    found = json.loads(short)
    found["document"]["entries"][1]["content"]["values"]["area"]["value"] = 1.0
    broken = check_document(json.dumps(found).encode()).broken
    assert broken is not None
    assert broken.number == 2


def test_the_chain_in_it_can_be_checked_without_this_program(desk, two) -> None:
    document = json.loads(export(desk, *two))["document"]
    previous = FIRST
    for entry in document["entries"]:
        content = hashlib.sha256(jcs.canonicalize(entry.pop("content"))).hexdigest()
        found = entry.pop("hash")
        assert entry["previous"] == previous
        covered = entry | {"content_sha256": content}
        previous = hashlib.sha256(jcs.canonicalize(covered)).hexdigest()
        assert found == previous
    assert document["head"] == previous


def test_one_jobs_document_holds_nothing_of_another_but_links(desk, two) -> None:
    data = export(desk, two[0])
    assert b"C. Client" not in data
    assert b"C. Client" in export(desk, *two)
    verdict = check_document(data)
    assert (verdict.count, verdict.broken) == (4, None)
    records = json.loads(data)["document"]["records"]
    assert [record["job"] for record in records] == [two[0]]


def test_the_values_shown_are_those_that_stand(desk, two) -> None:
    (record, _) = json.loads(export(desk, *two))["document"]["records"]
    assert record["values"]["certificate"] == {
        "label": "certificate or licence number",
        "value": "0001",
        "unit": "",
        "told_by": "corrected",
    }
    assert record["values"]["area"]["unit"] == "m2"


def test_values_that_do_not_follow_from_the_entries_are_seen(short: bytes) -> None:
    document = json.loads(short)["document"]
    document["records"][0]["values"]["area"]["value"] = 1.0
    sealed = {
        "document": document,
        "sha256": hashlib.sha256(jcs.canonicalize(document)).hexdigest(),
    }
    broken = check_document(jcs.canonicalize(sealed) + b"\n").broken
    assert broken is not None
    assert "not what its entries say" in broken.why


def test_an_end_cut_off_and_sealed_anew_shows_against_a_noted_head(desk, two) -> None:
    with desk.store.reading() as session:
        chain = list(journal.entries(session))
    shorter = write_document(chain[:-1], [two[0]])
    assert check_document(shorter).broken is None
    assert check_document(shorter, chain[-1].link.hash).broken is not None


@pytest.mark.parametrize("data", [b"", b"{}", b"[1]", b'{"document": 5}', b"%PDF-1.7"])
def test_what_is_no_such_document_is_refused(data: bytes) -> None:
    with pytest.raises(RecordError, match="not a JSON export of records"):
        check_document(data)
