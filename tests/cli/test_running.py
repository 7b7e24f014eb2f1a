"""``watcher run`` beside what is in its way: a taken port, a spoiled file of sessions."""

import os
import socket
import subprocess
import sys
from pathlib import Path

import httpx
import pytest

from tests.support.service_process import Service, write_farm
from watcher.cli.login import KEYRING
from watcher.store import runs
from watcher.store.database import Database

pytestmark = pytest.mark.long


def test_a_port_in_use_is_one_clear_line_and_nothing_is_begun(tmp_path: Path) -> None:
    write_farm(tmp_path)
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        done = subprocess.run(
            [sys.executable, "-m", "watcher", "run"],
            env={k: v for k, v in os.environ.items() if not k.startswith("WATCHER_")}
            | {
                "WATCHER_FARM": str(tmp_path / "farm.toml"),
                "WATCHER_STATE_DIR": str(tmp_path / "state"),
                "WATCHER_CONTACT": "grower@farm.example",
                "WATCHER_PORT": str(port),
            },
            capture_output=True,
            text=True,
            timeout=120,
            check=False,
        )
    assert done.returncode == 2
    assert done.stdout == ""
    [said] = done.stderr.splitlines()
    for part in ("127.0.0.1", str(port), "already in use", "WATCHER_PORT", "WATCHER_HOST"):
        assert part in said
    log = Database(f"sqlite:///{tmp_path / 'state' / 'watch.db'}")
    with log.reading() as session:
        assert runs.last(session) is None
    log.close()


@pytest.mark.parametrize("spoiled", [b"", b"not a database at all " * 400])
def test_a_spoiled_file_of_sessions_does_not_keep_the_watch_from_starting(
    tmp_path: Path, spoiled: bytes
) -> None:
    write_farm(tmp_path)
    (tmp_path / KEYRING).write_bytes(spoiled)
    with Service(tmp_path, "json://127.0.0.1:9/phone") as service:
        service.start()
        assert service.post() == 200
        assert httpx.get(f"http://127.0.0.1:{service.port}/login", timeout=30).status_code == 200
        assert service.stop() == 0
    assert "file of sessions was" in (tmp_path / "output.txt").read_text()
