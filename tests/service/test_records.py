"""The running watch keeps what is known of a job soon after it ended, for its record."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.support import sprayed
from tests.support.running import SetClock
from tests.support.sprayed import HOUR, MORNING
from watcher.farm import Farm
from watcher.judge.plan import Plan
from watcher.records import book as records
from watcher.records import journal
from watcher.service.cycle import Book
from watcher.store.database import Log

ENDED = MORNING + 75 * 60


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Log]:
    log = Log(f"sqlite:///{tmp_path / 'watch.db'}")
    log.upgrade()
    yield log
    log.close()


@pytest.fixture
def farm() -> Farm:
    return sprayed.farm()


def kept(store: Log) -> list[tuple[int, str, str]]:
    with store.reading() as session:
        return [(e.link.job, e.link.kind, e.link.by) for e in journal.entries(session)]


def test_a_job_that_ended_is_kept_once(store: Log, farm: Farm) -> None:
    job = sprayed.spray(store, farm)
    book = Book(Plan.of(farm), store, SetClock(ENDED + 300))
    book.keep_records()
    book.keep_records()
    assert kept(store) == [(job, "kept", "the watch")]
    with store.reading() as session:
        assert len(records.record_of(session, job).kept.moments) == 4


def test_a_job_whose_field_is_gone_stops_nothing(store: Log, farm: Farm) -> None:
    sprayed.spray(store, farm)
    other = sprayed.spray(store, farm, field="hill")
    told = sprayed.farm_tables()
    del told["fields"]["creek_side"]
    book = Book(Plan.of(sprayed.build(told)), store, SetClock(ENDED + 300))
    book.keep_records()
    assert kept(store) == [(other, "kept", "the watch")]


def test_old_jobs_are_left_to_the_grower(store: Log, farm: Farm) -> None:
    sprayed.spray(store, farm)
    book = Book(Plan.of(farm), store, SetClock(MORNING + 49 * HOUR))
    book.keep_records()
    assert kept(store) == []
