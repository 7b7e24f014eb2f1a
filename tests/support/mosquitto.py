"""A real MQTT broker of the test's own: a mosquitto process on a free loopback port."""

import shutil
import socket
import subprocess
import time
from collections.abc import Sequence
from pathlib import Path

import pytest


def free_port() -> int:
    """Return a port of loopback that nobody listens on."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


def program() -> str:
    """Return the broker's program, or skip the test."""
    found = shutil.which("mosquitto", path="/usr/sbin:/usr/bin:/usr/local/sbin:/usr/local/bin")
    if found is None:
        pytest.skip("no mosquitto here (Debian package mosquitto)")
    return found


class Mosquitto:
    """A broker that can be killed and started again. It remembers nothing across a restart."""

    def __init__(self, folder: Path, settings: Sequence[str] = ("allow_anonymous true",)) -> None:
        self.port = free_port()
        self._program = program()
        self._config = folder / "mosquitto.conf"
        # As root the broker would become another user, who may not read the test's files.
        lines = ["user root", f"listener {self.port} 127.0.0.1", *settings]
        self._config.write_text("\n".join(lines) + "\n")
        self._process: subprocess.Popen[bytes] | None = None

    def start(self) -> "Mosquitto":
        self._process = subprocess.Popen(
            [self._program, "-c", str(self._config)],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        for _ in range(200):
            with socket.socket() as probe:
                if probe.connect_ex(("127.0.0.1", self.port)) == 0:
                    return self
            assert self._process.poll() is None, "the broker ended by itself"
            time.sleep(0.02)
        raise AssertionError("the broker does not listen")

    def kill(self) -> None:
        if self._process is not None:
            self._process.kill()
            self._process.wait()
            self._process = None
