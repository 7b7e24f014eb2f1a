"""Statuses of fields are kept as they changed, and the newest is known."""

from sqlalchemy.orm import Session

from watcher.store import statuses
from watcher.store.database import Database
from watcher.store.statuses import Stand

NOW = 1_700_000_000


def record(
    session: Session, at: int, status: str, setup: str | None = None, field: str = "north"
) -> None:
    reasons = [{"limit": "wind", "value": float(at % 10)}]
    statuses.record(session, at, {field: Stand(status, setup, reasons)})


def test_every_change_is_kept_with_its_reasons(log: Database) -> None:
    with log.writing() as session:
        record(session, NOW, "unknown")
        record(session, NOW + 2, "suitable", "coarse")
        record(session, NOW + 4, "suitable", "fine")
    with log.reading() as session:
        kept = statuses.history(session, "north", NOW, NOW + 100)
        assert [(change.at, change.status, change.setup) for change in kept] == [
            (NOW, "unknown", None),
            (NOW + 2, "suitable", "coarse"),
            (NOW + 4, "suitable", "fine"),
        ]
        assert kept[1].reasons == [{"limit": "wind", "value": 2.0}]


def test_changes_of_several_fields_are_kept_at_once(log: Database) -> None:
    with log.writing() as session:
        record(session, NOW, "suitable")
        record(session, NOW, "suitable", field="south")
        statuses.record(
            session, NOW + 1, {n: Stand("unsuitable", None, []) for n in ("north", "east")}
        )
        statuses.record(session, NOW + 2, {})
        assert {f: c.at for f, c in statuses.current(session).items()} == {
            "north": NOW + 1,
            "east": NOW + 1,
            "south": NOW,
        }


def test_the_current_status_of_each_field_is_its_newest(log: Database) -> None:
    with log.writing() as session:
        record(session, NOW, "suitable")
        record(session, NOW + 1, "unsuitable")
        record(session, NOW, "unknown", field="south")
    with log.reading() as session:
        found = {field: change.status for field, change in statuses.current(session).items()}
        assert found == {"north": "unsuitable", "south": "unknown"}


def test_a_clock_set_back_does_not_bring_back_an_old_status(log: Database) -> None:
    with log.writing() as session:
        record(session, NOW, "suitable")
        record(session, NOW - 3600, "unsuitable")
        assert statuses.current(session)["north"].status == "unsuitable"


def test_history_is_cut_to_the_time_asked_for(log: Database) -> None:
    with log.writing() as session:
        for hour in range(4):
            record(session, NOW + hour, f"status {hour}")
        record(session, NOW + 1, "other", field="south")
    with log.reading() as session:
        kept = statuses.history(session, "north", NOW + 1, NOW + 3)
        assert [change.status for change in kept] == ["status 1", "status 2"]
