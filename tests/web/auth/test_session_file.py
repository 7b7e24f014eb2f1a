"""Whatever is wrong with the file of sessions as the watch starts costs sessions only."""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
import structlog

from watcher.web.auth import session_file
from watcher.web.auth.session_file import open_session_store
from watcher.web.auth.sessions import (
    MOST_CALENDARS_OF_ONE,
    CalendarFeed,
    SessionStore,
    SessionStoreDamagedError,
    SessionStoreError,
)
from watcher.web.auth.users import Role, User

NOW = 1_781_107_200
DRIVER = User("driver", Role.RUN)


@contextmanager
def _opened(file: Path) -> Iterator[SessionStore]:
    sessions = open_session_store(file, lambda: NOW)
    try:
        yield sessions
    finally:
        sessions.close()


def _kept(file: Path) -> tuple[bytes, str]:
    """Make a file with a session; return its secret and the session's token."""
    sessions = SessionStore(file)
    token = sessions.open(DRIVER, NOW, by_link=False)
    secret = sessions.secret
    sessions.close()
    return secret, token


def _foreign(file: Path) -> None:
    file.unlink()
    other = sqlite3.connect(file)
    other.execute("CREATE TABLE session (what TEXT)")
    other.commit()
    other.close()


def _changed(statement: str) -> object:
    def change(file: Path) -> None:
        known = sqlite3.connect(file)
        known.execute(statement)
        known.commit()
        known.close()

    return change


DAMAGE = {
    "no database": lambda file: file.write_bytes(b"not a database at all " * 400),
    "zeros": lambda file: file.write_bytes(bytes(8192)),
    "cut off": lambda file: file.write_bytes(file.read_bytes()[:5000]),
    "pages lost": lambda file: file.write_bytes(
        file.read_bytes()[:4096] + bytes(file.stat().st_size - 4096)
    ),
    "another program's": _foreign,
    "secret too short": _changed("UPDATE secret SET bytes = x'00'"),
    "secret a text": _changed("UPDATE secret SET bytes = 'word'"),
    "two secrets": _changed("INSERT INTO secret SELECT * FROM secret"),
    "unknown role": _changed("UPDATE session SET role = 77"),
}


@pytest.mark.parametrize("damage", DAMAGE.values(), ids=DAMAGE)
def test_a_damaged_file_is_moved_aside_kept_and_begun_anew(tmp_path: Path, damage: object) -> None:
    file = tmp_path / "door.db"
    _, token = _kept(file)
    damage(file)
    before = file.read_bytes()
    with structlog.testing.capture_logs() as said, _opened(file) as sessions:
        assert sessions.session(token, NOW) is None
        assert sessions.session(sessions.open(DRIVER, NOW, by_link=False), NOW) is not None
    assert (tmp_path / f"door.db.damaged-{NOW}").read_bytes() == before
    assert [line["log_level"] for line in said] == ["error"]
    assert "links in alerts sent before cannot acknowledge" in said[0]["lost"]
    with _opened(file) as again:  # the new one lasts
        assert again.sessions(NOW)


def test_a_file_that_was_emptied_is_begun_anew_and_told(tmp_path: Path) -> None:
    file = tmp_path / "door.db"
    file.touch()
    with structlog.testing.capture_logs() as said, _opened(file) as sessions:
        assert sessions.open(DRIVER, NOW, by_link=False)
    assert [line["event"] for line in said] == ["the file of sessions was empty"]


def test_a_sound_or_new_file_is_opened_without_a_word(tmp_path: Path) -> None:
    secret, token = _kept(tmp_path / "door.db")
    with structlog.testing.capture_logs() as said:
        with _opened(tmp_path / "door.db") as sessions:
            assert sessions.secret == secret
            assert sessions.session(token, NOW) is not None
        with _opened(tmp_path / "other.db"):
            pass
    assert said == []


def test_a_folder_in_its_place_is_moved_aside(tmp_path: Path) -> None:
    (tmp_path / "door.db").mkdir()
    with _opened(tmp_path / "door.db") as sessions:
        assert sessions.open(DRIVER, NOW, by_link=False)
    assert (tmp_path / f"door.db.damaged-{NOW}").is_dir()


def test_what_can_be_read_only_is_read_and_the_new_kept_in_memory(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = tmp_path / "door.db"
    secret, token = _kept(file)
    before = file.read_bytes()
    _unwritable(monkeypatch, file)
    with structlog.testing.capture_logs() as said, _opened(file) as sessions:
        assert sessions.secret == secret
        assert sessions.session(token, NOW) is not None
        assert sessions.session(sessions.open(DRIVER, NOW, by_link=False), NOW) is not None
    assert file.read_bytes() == before
    assert "cannot be written" in said[0]["event"]


def _unwritable(monkeypatch: pytest.MonkeyPatch, file: Path) -> None:
    """Open this file as on a disk that is mounted read-only, for root too."""
    connect = sqlite3.connect

    def read_only(name: object, **given: object) -> sqlite3.Connection:
        if name == file:
            return connect(f"{file.as_uri()}?mode=ro", uri=True, **given)  # type: ignore[call-overload,no-any-return]
        return connect(name, **given)  # type: ignore[call-overload,no-any-return]

    monkeypatch.setattr(sqlite3, "connect", read_only)


def test_what_cannot_be_made_is_kept_in_memory(tmp_path: Path) -> None:
    file = tmp_path / "no such folder" / "door.db"
    with structlog.testing.capture_logs() as said, _opened(file) as sessions:
        assert sessions.session(sessions.open(DRIVER, NOW, by_link=False), NOW) is not None
    assert "cannot be used" in said[0]["event"]


def test_what_cannot_be_moved_aside_is_left_and_the_new_kept_in_memory(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = tmp_path / "door.db"
    file.write_bytes(b"not a database at all " * 400)

    def rename(self: Path, _to: Path) -> Path:
        raise PermissionError(13, "Permission denied", str(self))

    monkeypatch.setattr(session_file.Path, "rename", rename)
    with _opened(file) as sessions:
        assert sessions.open(DRIVER, NOW, by_link=False)
    assert file.read_bytes() == b"not a database at all " * 400


def test_the_file_itself_says_what_is_wrong_with_it(tmp_path: Path) -> None:
    (tmp_path / "door.db").write_bytes(b"not a database at all " * 400)
    with pytest.raises(SessionStoreDamagedError, match="is damaged"):
        SessionStore(tmp_path / "door.db")
    with pytest.raises(SessionStoreError, match="cannot be used"):
        SessionStore(tmp_path / "no such folder" / "door.db")


def test_a_file_from_before_has_addresses_of_calendars_too(tmp_path: Path) -> None:
    file = tmp_path / "sessions.db"
    _kept(file)
    known = sqlite3.connect(file)
    known.execute("DROP TABLE calendar")
    known.close()
    with _opened(file) as sessions:
        sessions.make_calendar("driver", NOW)
        [feed] = sessions.calendars("driver")
        assert sessions.read_calendar(feed.id, "driver", NOW + 5)
        assert not sessions.read_calendar(feed.id, "mate", NOW + 5)
        assert sessions.calendars("driver") == [CalendarFeed(feed.id, NOW, NOW + 5)]


def test_of_too_many_addresses_of_calendars_the_oldest_goes(tmp_path: Path) -> None:
    with _opened(tmp_path / "sessions.db") as sessions:
        for n in range(MOST_CALENDARS_OF_ONE + 1):
            sessions.make_calendar("driver", NOW + n)
        sessions.make_calendar("mate", NOW)
        made = [feed.made_at - NOW for feed in sessions.calendars("driver")]
        assert made == list(range(1, MOST_CALENDARS_OF_ONE + 1))
        assert len(sessions.calendars("mate")) == 1
