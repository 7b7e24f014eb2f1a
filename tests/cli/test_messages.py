"""Receipts and acknowledgement on the command line."""

from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import Result

from tests.cli.conftest import NOW
from watcher.cli.context import out
from watcher.store import outbox
from watcher.store.database import Database
from watcher.store.outbox import NewMessage

Command = Callable[..., Result]


@pytest.fixture
def alerts(command: Command, tmp_path: Path) -> None:
    """An alert sent twelve minutes late, and one that failed."""
    log = Database(f"sqlite:///{tmp_path / 'watch.db'}")
    with log.writing() as session:
        for ref, who in (("K7QM2", "grower"), ("ABCDE", "sprayer_operator")):
            outbox.put(
                session,
                NewMessage(
                    key=ref,
                    short_id=ref,
                    about="job:1",
                    kind="stop",
                    recipient=who,
                    title="Stop [bold]hill",
                    body="Stop spraying.",
                    created_at=NOW - 900,
                    caused_at=NOW - 900,
                    due_at=NOW - 900,
                    urgent=True,
                ),
            )
        sent, failed = outbox.claim(session, NOW - 900, 60, 2)
        outbox.mark_sent(session, sent.id, NOW - 180)
        outbox.mark_failed(session, failed.id, 1, "error=404", None)
    log.close()


def words(done: Result) -> str:
    return " ".join(done.output.replace("│", " ").split())


def test_receipts_say_what_became_of_every_message(command, alerts, monkeypatch) -> None:
    monkeypatch.setattr(out, "_width", 200)  # one line a message
    said = words(command("messages"))
    assert "K7QM2 10:45 grower" in said
    assert "sent 10:57, 12 min late" in said
    assert "failed, attempts 1: error=404" in said
    assert "(bold]hill" in said


def test_what_a_device_has_shown_is_said(command, alerts, tmp_path, monkeypatch) -> None:
    log = Database(f"sqlite:///{tmp_path / 'watch.db'}")
    with log.writing() as session:
        found = NewMessage(
            key="push",
            short_id="P2P2P",
            about="job:1",
            kind="stop",
            recipient="device:QWERTY22",
            title="Stop hill",
            body="Stop spraying.",
            created_at=NOW - 120,
            caused_at=NOW - 120,
            due_at=NOW - 120,
        )
        outbox.put(session, found)
        assert outbox.mark_shown(session, "P2P2P", found.recipient, NOW - 60, since=NOW - 900)
        assert not outbox.mark_shown(session, "P2P2P", found.recipient, NOW, since=NOW - 900)
    log.close()
    monkeypatch.setattr(out, "_width", 200)  # one line a message
    said = words(command("messages"))
    assert "P2P2P 10:58 device:QWERTY22 Stop hill sent 10:59, shown 10:59" in said


def test_an_alert_is_acknowledged_by_its_id_once(command, alerts, monkeypatch) -> None:
    monkeypatch.setattr(out, "_width", 200)  # one line a message
    assert "Noted: K7QM2 was seen by driver." in words(command("seen", "k7qm2", "--by", "driver"))
    assert "11:00 driver" in words(command("messages"))
    again = command("seen", "K7QM2")
    assert again.exit_code == 0
    assert "K7QM2 was already seen by driver." in words(again)
    unknown = command("seen", "QQQQQ")
    assert unknown.exit_code == 2
    assert "no message of the last day" in words(unknown)


def test_before_anything_was_told_it_says_so(command) -> None:
    assert "Nothing has been sent yet." in command("messages").output
