"""Refused posts: counted by station, reason and hour, for a day, and never one by one."""

from sqlalchemy import func, select

from watcher.store import refused
from watcher.store.database import Database
from watcher.store.refused import DAY_S, MOST_ADDRESSES, Refused
from watcher.store.tables import RefusedPost

NOW = 1_781_107_200
HOUR = 3600


def post(at: int, source: str = "mast", address: str = "10.0.0.7", count: int = 1) -> Refused:
    return Refused(source, "token", count, at, "a wrong token", (address,))


def add(log: Database, *posts: Refused, now: int = NOW) -> None:
    with log.writing() as session:
        refused.add(session, posts, now)


def of_last_day(log: Database, now: int = NOW) -> dict[str, dict[str, Refused]]:
    with log.reading() as session:
        return {source: dict(of) for source, of in refused.of_last_day(session, now).items()}


def rows(log: Database) -> int:
    with log.reading() as session:
        return session.scalars(select(func.count()).select_from(RefusedPost)).one()


def test_posts_of_a_day_are_added_up(log: Database) -> None:
    add(log, post(NOW - 5 * HOUR, count=2), post(NOW - 9), post(NOW - 4, "yard"))
    add(log, Refused("mast", "body", 1, NOW - 7, "no unit", ("10.0.0.9",)))
    found = of_last_day(log)
    assert found["mast"] == {
        "token": Refused("mast", "token", 3, NOW - 9, "a wrong token", ("10.0.0.7",)),
        "body": Refused("mast", "body", 1, NOW - 7, "no unit", ("10.0.0.9",)),
    }
    assert found["yard"]["token"].count == 1


def test_however_many_come_they_are_a_row_an_hour_for_a_day(log: Database) -> None:
    for at in range(NOW, NOW + 3 * DAY_S, HOUR // 2):
        add(log, *(post(at, address=f"10.0.{n}.{at % 250}") for n in range(5)), now=at)
    assert rows(log) <= DAY_S // HOUR + 2
    [whole] = of_last_day(log, NOW + 3 * DAY_S)["mast"].values()
    assert len(whole.addresses) == MOST_ADDRESSES
    assert 5 * 46 <= whole.count <= 5 * 50


def test_the_last_addresses_are_remembered_the_very_last_one_last(log: Database) -> None:
    for second, address in enumerate(["a", "b", "c", "a", "d"]):
        add(log, post(NOW + second, address=address))
    assert of_last_day(log)["mast"]["token"].addresses == ("c", "a", "d")


def test_a_day_later_they_are_forgotten(log: Database) -> None:
    add(log, post(NOW))
    assert of_last_day(log, NOW + DAY_S - 1) != {}
    assert of_last_day(log, NOW + DAY_S) == {}
    add(log, now=NOW + DAY_S + HOUR)
    assert rows(log) == 0
