"""The running watch keeps what is known of a job soon after it ended, for its record."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.support import sprayed
from tests.support.new_log import new_log
from tests.support.running import SetClock
from tests.support.sprayed import HOUR, MORNING
from watcher.farm import Farm
from watcher.limits.farm_arrays import FarmArrays
from watcher.records import commands as records
from watcher.records import journal
from watcher.service.transactions import Transactions
from watcher.store.database import Database

ENDED = MORNING + 75 * 60


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Database]:
    log = new_log(tmp_path / "watch.db")
    yield log
    log.close()


@pytest.fixture
def farm() -> Farm:
    return sprayed.farm()


def kept(store: Database) -> list[tuple[int, str, str]]:
    with store.reading() as session:
        return [(e.link.job, e.link.kind, e.link.by) for e in journal.entries(session)]


def test_a_job_that_ended_is_kept_once(store: Database, farm: Farm) -> None:
    job = sprayed.spray(store, farm)
    transactions = Transactions(FarmArrays.of(farm), store, SetClock(ENDED + 300))
    transactions.keep_records()
    transactions.keep_records()
    assert kept(store) == [(job, "kept", "the watch")]
    with store.reading() as session:
        assert len(records.record_of(session, job).kept.moments) == 4


def test_a_job_whose_field_is_gone_stops_nothing(store: Database, farm: Farm) -> None:
    sprayed.spray(store, farm)
    other = sprayed.spray(store, farm, field="hill")
    config = sprayed.farm_tables()
    del config["fields"]["creek_side"]
    transactions = Transactions(FarmArrays.of(sprayed.build(config)), store, SetClock(ENDED + 300))
    transactions.keep_records()
    assert kept(store) == [(other, "kept", "the watch")]


def test_old_jobs_are_left_to_the_grower(store: Database, farm: Farm) -> None:
    sprayed.spray(store, farm)
    transactions = Transactions(FarmArrays.of(farm), store, SetClock(MORNING + 49 * HOUR))
    transactions.keep_records()
    assert kept(store) == []
