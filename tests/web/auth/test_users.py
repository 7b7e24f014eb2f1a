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
    keyring = SessionStore(tmp_path / "door.db")
    session = keyring.open(DRIVER, NOW, by_link=False)
    link = keyring.make_link(DRIVER, NOW)
    keyring.close()
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
    keyring = SessionStore(None)
    told = {keyring.secret_for(purpose).get_secret_value() for purpose in ("seen", "other")}
    keyring.close()
    assert len(told) == 2


def test_a_session_in_use_does_not_end() -> None:
    keyring = SessionStore(None)
    token = keyring.open(DRIVER, NOW, by_link=False)
    for use in range(1, 5):
        assert keyring.session(token, NOW + use * (IDLE_S - 1)) is not None
    keyring.close()


def test_a_device_put_out_is_not_pushed_to_any_more() -> None:
    keyring = SessionStore(None)
    session = keyring.session(keyring.open(DRIVER, NOW, by_link=False), NOW)
    assert session is not None
    keyring.subscribe(session.number, Subscription("https://push.example/1", "{}"))
    assert len(keyring.subscriptions()) == 1
    keyring.shut(session.number)
    assert keyring.subscriptions() == []
    keyring.close()


def _session(keyring: SessionStore, name: str) -> int:
    found = keyring.session(keyring.open(User(name, Role.RUN), NOW, by_link=True), NOW)
    assert found is not None
    return found.number


def test_with_one_device_more_the_oldest_of_a_user_is_pushed_to_no_more() -> None:
    keyring = SessionStore(None)
    devices = [_session(keyring, "driver") for _ in range(3)]
    other = _session(keyring, "mate")
    keyring.subscribe(other, Subscription("https://push.example/mate", "{}"))
    for number in range(3 * MOST_PUSHED_OF_ONE):
        told = Subscription(f"https://push.example/{number}", "{}")
        keyring.subscribe(devices[number % 3], told)
    kept = [device.endpoint.rpartition("/")[2] for device in keyring.subscriptions()]
    newest = map(str, range(2 * MOST_PUSHED_OF_ONE, 3 * MOST_PUSHED_OF_ONE))
    assert sorted(kept) == sorted(["mate", *newest])
    keyring.close()


def test_all_users_together_have_a_bounded_number_of_devices_pushed_to() -> None:
    keyring = SessionStore(None)
    for number in range(MOST_PUSHED + 10):
        session = _session(keyring, f"user {number}")
        keyring.subscribe(session, Subscription(f"https://push.example/{number}", "{}"))
    assert len(keyring.subscriptions()) == MOST_PUSHED
    keyring.close()


def test_a_file_from_before_languages_and_ends_keeps_its_devices(tmp_path: Path) -> None:
    file = tmp_path / "door.db"
    keyring = SessionStore(file)
    keyring.subscribe(_session(keyring, "driver"), Subscription("https://push.example/1", "{}"))
    keyring.close()
    old = sqlite3.connect(file)
    for column in ("language", "ended"):
        old.execute(f"ALTER TABLE push DROP COLUMN {column}")
    old.commit()
    old.close()
    keyring = SessionStore(file)
    assert keyring.subscriptions() == [
        Subscription("https://push.example/1", "{}", user="driver"),
    ]
    keyring.close()


def test_a_device_whose_pushes_ended_is_kept_as_such_until_it_subscribes_anew(
    tmp_path: Path,
) -> None:
    file = tmp_path / "door.db"
    keyring = SessionStore(file)
    session, device = (
        _session(keyring, "driver"),
        Subscription("https://push.example/1", "{}", "es"),
    )
    keyring.subscribe(session, device)
    keyring.end(device.name, "410")
    assert keyring.devices == {}
    keyring.close()
    keyring = SessionStore(file)
    assert keyring.devices == {}
    found = keyring.subscription(session, device.endpoint)
    assert found is not None
    assert found[1] == "410"
    keyring.subscribe(session, device)
    assert list(keyring.devices) == [device.name]
    keyring.close()


def test_where_the_end_cannot_be_kept_nothing_more_is_pushed_either() -> None:
    keyring = SessionStore(None)
    device = Subscription("https://push.example/1", "{}")
    keyring.subscribe(_session(keyring, "driver"), device)
    keyring._file.execute("PRAGMA query_only=ON")
    keyring.end(device.name, "410")
    assert keyring.devices == {}
    keyring.close()


def test_a_token_may_have_a_last_day() -> None:
    access = Users(programs={"robot": SecretStr("run until 2026-06-10:0123456789abcdef")})
    robot = access.program("0123456789abcdef")
    assert robot == User("robot", Role.RUN, until=1_781_135_999)  # 2026-06-10T23:59:59Z
    assert not robot.over(1_781_135_999)
    assert robot.over(1_781_136_000)
