"""What is raised is known after a restart, and raised once."""

from collections.abc import Callable

from watcher.store import conditions
from watcher.store.database import Database

NOW = 1_700_000_000


def test_a_condition_is_raised_once(log: Database) -> None:
    with log.writing() as session:
        assert conditions.raise_(session, "north", "wind", NOW, {"wind_m_s": 5.1})
        assert not conditions.raise_(session, "north", "wind", NOW + 60, {"wind_m_s": 5.4})
    with log.reading() as session:
        [raised] = conditions.raised(session)
        assert (raised.subject, raised.kind, raised.state) == ("north", "wind", "raised")
        assert (raised.since, raised.said_at, raised.cleared_at) == (NOW, None, None)
        assert raised.detail == {"wind_m_s": 5.4}


def test_raised_conditions_survive_a_restart(
    log: Database, url: str, open_log: Callable[..., Database]
) -> None:
    with log.writing() as session:
        conditions.raise_(session, "north", "wind", NOW, {})
        conditions.said(session, "north", "wind", NOW + 1)
    log.close()
    again = open_log(url)
    with again.writing() as session:
        assert not conditions.raise_(session, "north", "wind", NOW + 60, {})
        assert [(c.since, c.said_at) for c in conditions.raised(session)] == [(NOW, NOW + 1)]


def test_a_cleared_condition_can_be_raised_anew(log: Database) -> None:
    with log.writing() as session:
        conditions.raise_(session, "north", "wind", NOW, {"wind_m_s": 5.1})
        conditions.said(session, "north", "wind", NOW + 1)
        assert conditions.clear(session, "north", "wind", NOW + 60)
        assert not conditions.clear(session, "north", "wind", NOW + 70)
        assert conditions.raised(session) == []
        cleared = conditions.condition(session, "north", "wind")
        assert cleared is not None
        assert (cleared.state, cleared.cleared_at) == ("cleared", NOW + 60)
        assert conditions.raise_(session, "north", "wind", NOW + 90, {"wind_m_s": 6.0})
        [raised] = conditions.raised(session)
        assert (raised.since, raised.said_at, raised.cleared_at) == (NOW + 90, None, None)
        assert raised.detail == {"wind_m_s": 6.0}


def test_kinds_and_subjects_are_apart(log: Database) -> None:
    with log.writing() as session:
        assert conditions.raise_(session, "north", "wind", NOW, {})
        assert conditions.raise_(session, "north", "gust", NOW + 1, {})
        assert conditions.raise_(session, "south", "wind", NOW + 2, {})
        assert conditions.clear(session, "north", "gust", NOW + 3)
        assert [(c.subject, c.kind) for c in conditions.raised(session)] == [
            ("north", "wind"),
            ("south", "wind"),
        ]


def test_nothing_can_be_said_of_what_is_not_raised(log: Database) -> None:
    with log.writing() as session:
        assert not conditions.said(session, "north", "wind", NOW)
        assert conditions.condition(session, "north", "wind") is None
