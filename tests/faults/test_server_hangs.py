"""A database server that hangs while the watch runs: noticed, told, answered, and found again."""

import asyncio
from collections.abc import Iterator
from contextlib import ExitStack

import psycopg
import pytest

from tests.faults.test_log_faults import CALM, arrived
from tests.faults.test_outage import SEES, UNWRITTEN, until
from tests.store.test_server import stopped
from tests.support.farms import build, tables
from tests.support.logs import Cluster
from tests.support.receiver import Receiver
from tests.support.running import SetClock, running
from tests.support.skies import MORNING
from watcher.store.database import Database

pytestmark = pytest.mark.long


@pytest.fixture
def receiver() -> Iterator[Receiver]:
    receiver = Receiver()
    yield receiver
    receiver.close()


@pytest.fixture
def store(server_url: str) -> Iterator[Database]:
    """A log whose server may say nothing for two seconds, so that a test need not wait long."""
    log = Database(f"{server_url}&connect_timeout=2", silent_s=2.0)
    yield log
    log.close()


def backends(url: str) -> list[int]:
    """The server's processes that serve a database."""
    with psycopg.connect(url) as connection:
        found = connection.execute(
            "SELECT pid FROM pg_stat_activity WHERE datname = current_database()"
            " AND pid <> pg_backend_pid()"
        )
        return [pid for (pid,) in found]


async def test_it_is_told_posts_are_answered_and_all_goes_on_afterwards(
    store: Database, server_url: str, cluster: Cluster, receiver: Receiver
) -> None:
    urls = {"grower": receiver.url()}
    async with running(build(tables()), store, SetClock(MORNING), urls=urls) as service:
        service.http.timeout = 60.0  # type: ignore[assignment]
        assert (await service.post(**CALM)).status_code == 200
        await until(lambda: service.watch.standby.knows_jobs)  # judges from memory then
        with ExitStack() as hanging:
            hanging.enter_context(stopped(cluster.pid, *backends(server_url)))
            async with asyncio.timeout(60):
                posting = asyncio.create_task(service.post(**CALM))
                assert UNWRITTEN in await arrived(receiver, 1)
                assert (await posting).status_code == 503
        assert (await service.post(**CALM)).status_code == 200
        await service.judged()
        titles = await arrived(receiver, 2)
        assert titles == [UNWRITTEN, SEES]
