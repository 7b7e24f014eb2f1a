"""A field's status is kept when it changes, and only then."""

from sqlalchemy.orm import Session

from watcher.store import statuses
from watcher.store.database import Database

NOW = 1_700_000_000


def record(
    session: Session, at: int, status: str, setup: str | None = None, field: str = "north"
) -> bool:
    reasons = [{"limit": "wind", "value": float(at % 10)}]
    return statuses.record(session, field, at, status=status, setup=setup, reasons=reasons)


def test_a_first_status_and_every_other_one_are_kept(log: Database) -> None:
    with log.writing() as session:
        assert record(session, NOW, "unknown")
        assert not record(session, NOW + 1, "unknown")
        assert record(session, NOW + 2, "suitable", "coarse")
        assert not record(session, NOW + 3, "suitable", "coarse")
        assert record(session, NOW + 4, "suitable", "fine")
        assert record(session, NOW + 5, "unknown")
    with log.reading() as session:
        kept = statuses.history(session, "north", NOW, NOW + 100)
        assert [(change.at, change.status, change.setup) for change in kept] == [
            (NOW, "unknown", None),
            (NOW + 2, "suitable", "coarse"),
            (NOW + 4, "suitable", "fine"),
            (NOW + 5, "unknown", None),
        ]
        assert kept[1].reasons == [{"limit": "wind", "value": 2.0}]


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
        assert record(session, NOW - 3600, "unsuitable")
        assert statuses.current(session)["north"].status == "unsuitable"
        assert not record(session, NOW - 3599, "unsuitable")


def test_history_is_cut_to_the_time_asked_for(log: Database) -> None:
    with log.writing() as session:
        for hour in range(4):
            record(session, NOW + hour, f"status {hour}")
        record(session, NOW + 1, "other", field="south")
    with log.reading() as session:
        kept = statuses.history(session, "north", NOW + 1, NOW + 3)
        assert [change.status for change in kept] == ["status 1", "status 2"]
