"""``watcher fleet``: farms of one log on the command line."""

from collections.abc import Callable

import pytest
from click.testing import Result

Command = Callable[..., Result]


def test_the_farms_of_a_log_are_listed(command: Command) -> None:
    found = command("fleet", "list")
    assert found.exit_code == 0
    words = [word for word in found.stdout.split() if word[0].isalnum()]
    assert words == ["number", "name", "1", "farm"]


def test_a_second_farm_in_a_file_is_refused_with_what_to_do(command: Command) -> None:
    found = command("fleet", "add", "north")
    assert found.exit_code == 2
    assert "WATCHER_STATE_DIR" in found.stderr


@pytest.mark.long
def test_what_must_be_set_for_a_farm_is_said(
    command: Command, server_url: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("WATCHER_DATABASE_URL", server_url)
    found = command("fleet", "add", "north")
    assert found.exit_code == 0
    assert "WATCHER_FARM_NUMBER=2" in found.stdout
    assert "north" in command("fleet", "list").stdout


def test_a_farm_the_log_has_not_is_named(command: Command, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("WATCHER_FARM_NUMBER", "7")
    found = command("messages")
    assert found.exit_code == 2
    assert 'farm 7: it holds no farm of that number; see those it has with "watcher fleet' in (
        found.stderr.replace("\n", " ")
    )
    assert command("fleet", "list").exit_code == 0
