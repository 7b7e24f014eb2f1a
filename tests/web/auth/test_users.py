"""Who is let in, on what: hashes, tokens, roles, sessions, links."""

import sqlite3
from pathlib import Path

from argon2 import extract_parameters
from pydantic import SecretStr

from watcher.web.auth.sessions import (
    IDLE_S,
    MOST_PUSHED,
    MOST_PUSHED_OF_ONE,
    SessionStore,
    Subscription,
)
from watcher.web.auth.users import Role, User, Users, hashed, verify

NOW = 1_781_107_200
DRIVER = User("driver", Role.RUN)


def test_a_passphrase_is_kept_as_an_argon2id_hash_only() -> None:
    known = hashed("plain words")
    found = extract_parameters(known)
    assert found.type.name == "ID"
    # OWASP's least: 19 MiB, 2 passes, 1 lane (password storage cheat sheet, value from memory).
    assert (found.memory_cost, found.time_cost, found.parallelism) == (19 * 1024, 2, 1)
    assert "plain" not in known


def test_a_hash_knows_its_passphrase_and_no_other() -> None:
    known = hashed("plain words")
    assert verify(known, "plain words")
    assert not verify(known, "plain word")
    assert not verify("no hash at all", "plain words")


def test_the_program_is_told_by_its_token() -> None:
    access = Users(programs={"robot": SecretStr("look:0123456789abcdef")})
    assert access.program("0123456789abcdef") == User("robot", Role.LOOK)
    assert access.program("0123456789abcdeg") is None
    assert access.program("") is None


def test_nobody_is_let_in_by_default() -> None:
    assert Users().user("driver", "") is None
    assert Users().program("") is None


def test_the_file_is_readable_by_its_owner_only(tmp_path: Path) -> None:
    SessionStore(tmp_path / "door.db").close()
    assert (tmp_path / "door.db").stat().st_mode & 0o777 == 0o600


def test_the_file_holds_no_token(tmp_path: Path) -> None:
    sessions = SessionStore(tmp_path / "door.db")
    session = sessions.open(DRIVER, NOW, by_link=False)
    link = sessions.make_link(DRIVER, NOW)
    sessions.close()
    kept = (tmp_path / "door.db").read_bytes()
    assert session.encode() not in kept
    assert link.encode() not in kept


def test_the_secret_outlives_a_restart(tmp_path: Path) -> None:
    first = SessionStore(tmp_path / "door.db")
    secret = first.secret
    first.close()
    second = SessionStore(tmp_path / "door.db")
    assert second.secret == secret
    second.close()


def test_secrets_for_two_purposes_differ() -> None:
    sessions = SessionStore(None)
    found = {sessions.secret_for(purpose).get_secret_value() for purpose in ("seen", "other")}
    sessions.close()
    assert len(found) == 2


def test_a_session_in_use_does_not_end() -> None:
    sessions = SessionStore(None)
    token = sessions.open(DRIVER, NOW, by_link=False)
    for use in range(1, 5):
        assert sessions.session(token, NOW + use * (IDLE_S - 1)) is not None
    sessions.close()


def test_a_device_put_out_is_not_pushed_to_any_more() -> None:
    sessions = SessionStore(None)
    session = sessions.session(sessions.open(DRIVER, NOW, by_link=False), NOW)
    assert session is not None
    sessions.subscribe(session.number, Subscription("https://push.example/1", "{}"))
    assert len(sessions.subscriptions()) == 1
    sessions.shut(session.number)
    assert sessions.subscriptions() == []
    sessions.close()


def _session(sessions: SessionStore, name: str) -> int:
    found = sessions.session(sessions.open(User(name, Role.RUN), NOW, by_link=True), NOW)
    assert found is not None
    return found.number


def test_with_one_device_more_the_oldest_of_a_user_is_pushed_to_no_more() -> None:
    sessions = SessionStore(None)
    devices = [_session(sessions, "driver") for _ in range(3)]
    other = _session(sessions, "mate")
    sessions.subscribe(other, Subscription("https://push.example/mate", "{}"))
    for number in range(3 * MOST_PUSHED_OF_ONE):
        found = Subscription(f"https://push.example/{number}", "{}")
        sessions.subscribe(devices[number % 3], found)
    kept = [device.endpoint.rpartition("/")[2] for device in sessions.subscriptions()]
    newest = map(str, range(2 * MOST_PUSHED_OF_ONE, 3 * MOST_PUSHED_OF_ONE))
    assert sorted(kept) == sorted(["mate", *newest])
    sessions.close()


def test_all_users_together_have_a_bounded_number_of_devices_pushed_to() -> None:
    sessions = SessionStore(None)
    for number in range(MOST_PUSHED + 10):
        session = _session(sessions, f"user {number}")
        sessions.subscribe(session, Subscription(f"https://push.example/{number}", "{}"))
    assert len(sessions.subscriptions()) == MOST_PUSHED
    sessions.close()


def test_a_file_from_before_languages_and_ends_keeps_its_devices(tmp_path: Path) -> None:
    file = tmp_path / "door.db"
    sessions = SessionStore(file)
    sessions.subscribe(_session(sessions, "driver"), Subscription("https://push.example/1", "{}"))
    sessions.close()
    old = sqlite3.connect(file)
    for column in ("language", "ended"):
        old.execute(f"ALTER TABLE push DROP COLUMN {column}")
    old.commit()
    old.close()
    sessions = SessionStore(file)
    assert sessions.subscriptions() == [
        Subscription("https://push.example/1", "{}", user="driver"),
    ]
    sessions.close()


def test_a_device_whose_pushes_ended_is_kept_as_such_until_it_subscribes_anew(
    tmp_path: Path,
) -> None:
    file = tmp_path / "door.db"
    sessions = SessionStore(file)
    session, device = (
        _session(sessions, "driver"),
        Subscription("https://push.example/1", "{}", "es"),
    )
    sessions.subscribe(session, device)
    sessions.end(device.name, "410")
    assert sessions.devices == {}
    sessions.close()
    sessions = SessionStore(file)
    assert sessions.devices == {}
    found = sessions.subscription(session, device.endpoint)
    assert found is not None
    assert found[1] == "410"
    sessions.subscribe(session, device)
    assert list(sessions.devices) == [device.name]
    sessions.close()


def test_where_the_end_cannot_be_kept_nothing_more_is_pushed_either() -> None:
    sessions = SessionStore(None)
    device = Subscription("https://push.example/1", "{}")
    sessions.subscribe(_session(sessions, "driver"), device)
    sessions._file.execute("PRAGMA query_only=ON")
    sessions.end(device.name, "410")
    assert sessions.devices == {}
    sessions.close()


def test_a_token_may_have_a_last_day() -> None:
    access = Users(programs={"robot": SecretStr("run until 2026-06-10:0123456789abcdef")})
    robot = access.program("0123456789abcdef")
    assert robot == User("robot", Role.RUN, until=1_781_135_999)  # 2026-06-10T23:59:59Z
    assert not robot.over(1_781_135_999)
    assert robot.over(1_781_136_000)
