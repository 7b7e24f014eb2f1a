"""A source's failures are counted, and its weather's age is told by its readings."""

from watcher.store import health
from watcher.store.database import Database
from watcher.store.tables import SourceHealth

NOW = 1_700_000_000


def only(log: Database) -> SourceHealth:
    with log.reading() as session:
        [source] = health.all_sources(session)
        return source


def test_an_answer_is_remembered_with_its_newest_reading(log: Database) -> None:
    with log.writing() as session:
        health.answered(session, "station", NOW, NOW - 240)
    source = only(log)
    assert (source.source, source.state, source.why) == ("station", "answering", None)
    assert (source.asked_at, source.answered_at) == (NOW, NOW)
    assert (source.newest_reading_at, source.failures_in_a_row) == (NOW - 240, 0)


def test_failures_in_a_row_are_counted_until_an_answer(log: Database) -> None:
    with log.writing() as session:
        health.answered(session, "station", NOW, NOW - 240)
        assert health.failed(session, "station", NOW + 300, "no route") == 1
        assert health.failed(session, "station", NOW + 600, "timed out") == 2
    source = only(log)
    assert (source.state, source.why) == ("failing", "timed out")
    assert (source.asked_at, source.answered_at) == (NOW + 600, NOW)
    assert source.newest_reading_at == NOW - 240
    with log.writing() as session:
        health.answered(session, "station", NOW + 900, NOW + 840)
        assert health.failed(session, "station", NOW + 1200, "no route") == 1


def test_a_source_can_fail_from_the_start(log: Database) -> None:
    with log.writing() as session:
        assert health.failed(session, "station", NOW, "no such host") == 1
    assert (only(log).answered_at, only(log).newest_reading_at) == (None, None)


def test_an_answer_without_readings_leaves_the_newest_one(log: Database) -> None:
    with log.writing() as session:
        health.answered(session, "station", NOW, NOW - 240)
        health.answered(session, "station", NOW + 300, None)
        health.answered(session, "station", NOW + 600, NOW - 9999)
    assert only(log).newest_reading_at == NOW - 240


def test_sources_are_listed_by_name(log: Database) -> None:
    with log.writing() as session:
        for name in ("b", "c", "a"):
            health.answered(session, name, NOW, None)
    with log.reading() as session:
        assert [source.source for source in health.all_sources(session)] == ["a", "b", "c"]
