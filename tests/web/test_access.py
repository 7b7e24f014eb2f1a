"""Who is let in, on what: hashes, tokens, roles, sessions, links, attempts."""

from pathlib import Path

import pytest
from argon2 import extract_parameters
from pydantic import SecretStr

from watcher.web.access import Access, Role, User, hashed, verify
from watcher.web.attempts import FROM_ONE_PLACE, IN_ALL, WITHIN_S, Attempts
from watcher.web.keyring import IDLE_S, Keyring, Subscription

NOW = 1_781_107_200
ANNA = User("anna", Role.RUN)


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
    access = Access(programs={"robot": SecretStr("look:0123456789abcdef")})
    assert access.program("0123456789abcdef") == User("robot", Role.LOOK)
    assert access.program("0123456789abcdeg") is None
    assert access.program("") is None


def test_nobody_is_let_in_by_default() -> None:
    assert Access().user("anna", "") is None
    assert Access().program("") is None


def test_the_file_is_readable_by_its_owner_only(tmp_path: Path) -> None:
    Keyring(tmp_path / "door.db").close()
    assert (tmp_path / "door.db").stat().st_mode & 0o777 == 0o600


def test_the_file_holds_no_token(tmp_path: Path) -> None:
    keyring = Keyring(tmp_path / "door.db")
    session = keyring.open(ANNA, NOW, by_link=False)
    link = keyring.make_link(ANNA, NOW)
    keyring.close()
    kept = (tmp_path / "door.db").read_bytes()
    assert session.encode() not in kept
    assert link.encode() not in kept


def test_the_secret_outlives_a_restart(tmp_path: Path) -> None:
    first = Keyring(tmp_path / "door.db")
    secret = first.secret
    first.close()
    second = Keyring(tmp_path / "door.db")
    assert second.secret == secret
    second.close()


def test_secrets_for_two_purposes_differ() -> None:
    keyring = Keyring(None)
    told = {keyring.secret_for(purpose).get_secret_value() for purpose in ("seen", "other")}
    keyring.close()
    assert len(told) == 2


def test_a_session_in_use_does_not_end() -> None:
    keyring = Keyring(None)
    token = keyring.open(ANNA, NOW, by_link=False)
    for use in range(1, 5):
        assert keyring.session(token, NOW + use * (IDLE_S - 1)) is not None
    keyring.close()


def test_a_device_put_out_is_not_pushed_to_any_more() -> None:
    keyring = Keyring(None)
    session = keyring.session(keyring.open(ANNA, NOW, by_link=False), NOW)
    assert session is not None
    keyring.subscribe(session.number, Subscription("https://push.example/1", "{}"))
    assert len(keyring.subscriptions()) == 1
    keyring.shut(session.number)
    assert keyring.subscriptions() == []
    keyring.close()


def test_one_address_may_fail_only_so_often() -> None:
    attempts = Attempts()
    for _ in range(FROM_ONE_PLACE - 1):
        attempts.wrong("10.0.0.1", NOW)
    assert attempts.wait_s("10.0.0.1", NOW) == 0
    attempts.wrong("10.0.0.1", NOW)
    assert attempts.wait_s("10.0.0.1", NOW + 60) == WITHIN_S - 60
    assert attempts.wait_s("10.0.0.2", NOW + 60) == 0


def test_many_addresses_together_are_stopped_too() -> None:
    attempts = Attempts()
    for number in range(IN_ALL):
        attempts.wrong(f"10.0.0.{number}", NOW)
    assert attempts.wait_s("10.0.1.1", NOW) == WITHIN_S


@pytest.mark.parametrize("after_s", [WITHIN_S, WITHIN_S + 1])
def test_wrong_attempts_are_forgotten(after_s: int) -> None:
    attempts = Attempts()
    for _ in range(FROM_ONE_PLACE):
        attempts.wrong("10.0.0.1", NOW)
    assert attempts.wait_s("10.0.0.1", NOW + after_s) == 0
