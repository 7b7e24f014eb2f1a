"""It can be told from when to when nobody watched."""

from watcher.store import runs
from watcher.store.database import Database

NOW = 1_700_000_000


def test_there_is_no_last_run_before_the_first(log: Database) -> None:
    with log.reading() as session:
        assert runs.last(session) is None


def test_a_killed_run_was_alive_until_last_seen(log: Database) -> None:
    with log.writing() as session:
        number = runs.begin(session, NOW)
    with log.writing() as session:
        runs.seen(session, number, NOW + 60)
    with log.reading() as session:
        last = runs.last(session)
        assert last is not None
        assert (last.started_at, last.stopped_at, last.last_alive_at) == (NOW, None, NOW + 60)


def test_a_run_that_ended_in_order_was_alive_until_its_end(log: Database) -> None:
    with log.writing() as session:
        first = runs.begin(session, NOW)
        runs.seen(session, first, NOW + 60)
        runs.end(session, first, NOW + 90)
        last = runs.last(session)
        assert last is not None
        assert (last.id, last.stopped_at, last.last_alive_at) == (first, NOW + 90, NOW + 90)
        second = runs.begin(session, NOW + 500)
        newest = runs.last(session)
        assert newest is not None
        assert newest.id == second != first
