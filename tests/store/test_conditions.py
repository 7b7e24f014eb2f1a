"""What is raised is known after a restart, as it was kept last."""

from collections.abc import Callable

from watcher.store import conditions
from watcher.store.conditions import Raised
from watcher.store.database import Database

NOW = 1_700_000_000


def test_a_condition_is_raised_once_and_as_it_was_kept_last(log: Database) -> None:
    with log.writing() as session:
        conditions.keep(session, [Raised("north", "wind", NOW, {"wind_m_s": 5.1})])
        conditions.keep(session, [Raised("north", "wind", NOW, {"wind_m_s": 5.4}, NOW + 60)])
    with log.reading() as session:
        [raised] = conditions.raised(session)
        assert (raised.subject, raised.kind, raised.state) == ("north", "wind", "raised")
        assert (raised.since, raised.said_at, raised.cleared_at) == (NOW, NOW + 60, None)
        assert raised.detail == {"wind_m_s": 5.4}


def test_raised_conditions_survive_a_restart(
    log: Database, url: str, open_log: Callable[..., Database]
) -> None:
    with log.writing() as session:
        conditions.keep(session, [Raised("north", "wind", NOW, {}, NOW + 1)])
    log.close()
    with open_log(url).reading() as session:
        assert [(c.since, c.said_at) for c in conditions.raised(session)] == [(NOW, NOW + 1)]


def test_a_cleared_condition_can_be_raised_anew(log: Database) -> None:
    with log.writing() as session:
        conditions.keep(session, [Raised("north", "wind", NOW, {"wind_m_s": 5.1}, NOW + 1)])
        conditions.clear(session, [("north", "wind")], NOW + 60)
        conditions.clear(session, [("north", "wind")], NOW + 70)
        assert conditions.raised(session) == []
        cleared = conditions.condition(session, "north", "wind")
        assert cleared is not None
        assert (cleared.state, cleared.cleared_at) == ("cleared", NOW + 60)
        conditions.keep(session, [Raised("north", "wind", NOW + 90, {"wind_m_s": 6.0})])
        [raised] = conditions.raised(session)
        assert (raised.since, raised.said_at, raised.cleared_at) == (NOW + 90, None, None)
        assert raised.detail == {"wind_m_s": 6.0}


def test_kinds_and_subjects_are_apart(log: Database) -> None:
    with log.writing() as session:
        conditions.keep(
            session,
            [
                Raised("north", "wind", NOW, {}),
                Raised("north", "gust", NOW + 1, {}),
                Raised("south", "wind", NOW + 2, {}),
            ],
        )
        conditions.clear(session, [("north", "gust"), ("south", "gust")], NOW + 3)
        assert [(c.subject, c.kind) for c in conditions.raised(session)] == [
            ("north", "wind"),
            ("south", "wind"),
        ]
        assert conditions.condition(session, "south", "gust") is None


def test_nothing_kept_and_nothing_cleared_changes_nothing(log: Database) -> None:
    with log.writing() as session:
        conditions.keep(session, [Raised("north", "wind", NOW, {})])
        conditions.keep(session, [])
        conditions.clear(session, [], NOW + 60)
        assert [c.cleared_at for c in conditions.raised(session)] == [None]
