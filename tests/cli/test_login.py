"""``watcher passphrase`` and ``watcher login-link``: what they print lets somebody in."""

import re
from pathlib import Path

import pytest
from typer.testing import CliRunner

from watcher.cli.app import app
from watcher.cli.login import KEYRING
from watcher.settings import SettingsError, read_settings
from watcher.web.auth.sessions import SessionStore
from watcher.web.auth.users import Role, User, Users

NAME = "driver"


@pytest.fixture(autouse=True)
def _own_state(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("WATCHER_STATE_DIR", str(tmp_path / "state"))


def test_the_line_it_prints_is_a_setting_that_lets_the_user_in(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    answer = CliRunner().invoke(app, ["passphrase", NAME, "--role", "run"], input="plain\nplain\n")
    assert answer.exit_code == 0, answer.output
    line = next(x for x in answer.stdout.splitlines() if x.startswith("WATCHER_USERS__"))
    assert "plain" not in line
    (tmp_path / ".env").write_text(f"{line}\n")
    settings = read_settings()
    assert Users(settings.users).user(NAME, "plain") == User(NAME, Role.RUN)
    assert Users(settings.users).user(NAME, "other") is None


def test_the_link_it_prints_lets_a_device_in_once(tmp_path: Path) -> None:
    answer = CliRunner().invoke(app, ["login-link", "phone", "--role", "administer"])
    assert answer.exit_code == 0, answer.output
    link = re.search(r"http://127\.0\.0\.1:8047/login/(\S+)", answer.stdout)
    assert link
    sessions = SessionStore(tmp_path / "state" / KEYRING)
    now = int((tmp_path / "state" / KEYRING).stat().st_mtime)
    assert sessions.use_link(link[1], now) == User("phone", Role.ADMINISTER)
    assert sessions.use_link(link[1], now) is None
    sessions.close()


def test_the_link_goes_to_the_address_in_the_settings(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("WATCHER_ADDRESS", "https://farm.example/")
    answer = CliRunner().invoke(app, ["login-link", "phone"])
    assert "https://farm.example/login/" in answer.stdout


@pytest.mark.parametrize(
    ("variable", "value"),
    [
        ("WATCHER_USERS__anna", "run:plain-words-in-the-settings"),
        ("WATCHER_USERS__anna", "king:$argon2id$v=19$m=19456,t=2,p=1$c2FsdA$aGFzaA"),
        ("WATCHER_PROGRAMS__robot", "look:short"),
        ("WATCHER_ADDRESS", "https://farm.example/path"),
        ("WATCHER_ADDRESS", "hill.example"),
    ],
)
def test_what_cannot_be_meant_is_refused_without_showing_it(
    monkeypatch: pytest.MonkeyPatch, variable: str, value: str
) -> None:
    monkeypatch.setenv(variable, value)
    with pytest.raises(SettingsError) as caught:
        read_settings()
    assert variable in str(caught.value)
    assert value not in str(caught.value)


@pytest.mark.parametrize("host", ["127.0.0.1", "0.0.0.0", "::", "localhost"])
def test_a_link_no_phone_can_follow_has_no_code_and_says_what_to_set(
    monkeypatch: pytest.MonkeyPatch, host: str
) -> None:
    monkeypatch.setenv("WATCHER_HOST", host)
    answer = CliRunner().invoke(app, ["login-link", "phone"])
    assert answer.exit_code == 0, answer.output
    assert "█" not in answer.stdout
    assert "WATCHER_ADDRESS" in answer.stdout
    assert "http://0.0.0.0" not in answer.stdout


def test_a_link_a_phone_can_follow_has_a_code(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("WATCHER_ADDRESS", "https://farm.example")
    answer = CliRunner().invoke(app, ["login-link", "phone"])
    assert "█" in answer.stdout
    assert "WATCHER_ADDRESS" not in answer.stdout


def test_a_link_that_cannot_be_kept_is_not_printed(tmp_path: Path) -> None:
    (tmp_path / "state").mkdir()
    (tmp_path / "state" / KEYRING).write_bytes(b"not a database at all " * 400)
    answer = CliRunner().invoke(app, ["login-link", "phone"])
    assert answer.exit_code == 2
    assert "file of sessions" in answer.stderr
    assert "/login/" not in answer.stdout
    assert (tmp_path / "state" / KEYRING).read_bytes() == b"not a database at all " * 400


@pytest.mark.parametrize("value", ["", "farm.example", "10.0.0.0/99"])
def test_a_proxy_that_is_no_address_is_refused(monkeypatch: pytest.MonkeyPatch, value: str) -> None:
    monkeypatch.setenv("WATCHER_PROXIES", value)
    with pytest.raises(SettingsError, match="WATCHER_PROXIES: must be addresses"):
        read_settings()
