"""The server's own wall: whatever a program asks, it is given its own farm's rows."""

from collections.abc import Callable

import psycopg
import pytest
from sqlalchemy import insert, text
from sqlalchemy.exc import ProgrammingError

from tests.support.logs import Cluster
from watcher.store import farms, runs
from watcher.store.database import Database
from watcher.store.farm_key import FARM
from watcher.store.tables import FarmTable, WatchRun

pytestmark = pytest.mark.long
NOW = 1_700_000_000
_COUNT = text("SELECT count(*) FROM watch_run")


@pytest.fixture
def owned_url(cluster: Cluster) -> str:
    """An empty database of a role that is no superuser: those are let through every wall."""
    name = cluster.new_database()
    address = cluster.url(name)
    with psycopg.connect(address, autocommit=True) as connection:
        if not connection.execute("SELECT 1 FROM pg_roles WHERE rolname = 'plain'").fetchone():
            connection.execute("CREATE ROLE plain LOGIN")
        connection.execute(f"ALTER DATABASE {name} OWNER TO plain")
        connection.execute("ALTER SCHEMA public OWNER TO plain")
    return address.replace("watch@", "plain@")


@pytest.fixture
def two(owned_url: str, open_log: Callable[..., Database]) -> tuple[Database, Database]:
    """Two farms of one log, each with a run."""
    first = open_log(owned_url)
    first.upgrade()
    with first.writing() as session:
        number = farms.add(session, "second")
    assert number == 2
    second = open_log(owned_url, farm=2)
    for log in (first, second):
        with log.writing() as session:
            runs.begin(session, NOW)
    return first, second


def test_plain_sql_sees_one_farms_rows(two: tuple[Database, Database]) -> None:
    for log in two:
        with log.reading() as session:
            assert session.scalar(_COUNT) == 1
            assert session.scalar(text("SELECT farm FROM watch_run")) == log.farm


def test_plain_sql_changes_one_farms_rows(two: tuple[Database, Database]) -> None:
    first, second = two
    with first.writing() as session:
        session.execute(text("DELETE FROM watch_run"))
    with first.reading() as session:
        assert session.scalar(_COUNT) == 0
    with second.reading() as session:
        assert session.scalar(_COUNT) == 1


def test_no_row_of_another_farm_can_be_written(two: tuple[Database, Database]) -> None:
    row = {FARM: 2, "id": 9, "started_at": NOW, "seen_at": NOW}
    with pytest.raises(ProgrammingError, match="row-level security"), two[0].writing() as session:
        session.execute(insert(WatchRun), row)


def test_the_wall_stands_round_every_table_of_a_farm(two: tuple[Database, Database]) -> None:
    """By the server's own account, and for the tables' owner too."""
    with two[0].reading() as session:
        found = session.execute(
            text(
                "SELECT relname FROM pg_class WHERE relrowsecurity AND relforcerowsecurity "
                "AND relnamespace = 'public'::regnamespace"
            )
        )
        walled = set(found.scalars())
    assert walled == {table.__tablename__ for table in FarmTable.__subclasses__()}


def test_a_farm_alone_is_dumped_as_before(
    owned_url: str, open_log: Callable[..., Database]
) -> None:
    """A dump is made by the owner, who says nothing of farms."""
    log = open_log(owned_url)
    log.upgrade()
    with log.writing() as session:
        runs.begin(session, NOW)
    with psycopg.connect(owned_url) as connection:
        connection.execute("SET row_security = off")
        assert connection.execute("SELECT count(*) FROM watch_run").fetchone() == (1,)
