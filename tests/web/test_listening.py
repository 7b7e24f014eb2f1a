"""The port is opened before anything begins; without descriptors it neither hangs nor is noisy."""

import contextlib
import os
import resource
import socket
from collections.abc import Iterator

import pytest

from watcher.web.listening import PortError, listen


@pytest.fixture
def taken() -> Iterator[int]:
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        yield other.getsockname()[1]


def test_a_port_that_is_taken_is_told_with_host_port_setting_and_mend(taken: int) -> None:
    with pytest.raises(PortError) as caught:
        listen("127.0.0.1", taken)
    said = str(caught.value)
    assert "\n" not in said
    for part in ("127.0.0.1", str(taken), "address already in use", "WATCHER_PORT", "WATCHER_HOST"):
        assert part in said


@pytest.mark.parametrize("host", ["192.0.2.1", "no-such-host.invalid", "a" * 300, "host name"])
def test_a_host_that_is_not_this_machines_is_told(host: str) -> None:
    with pytest.raises(PortError) as caught:
        listen(host, 0)
    assert repr(host) in str(caught.value)


def test_every_address_of_a_host_is_listened_at() -> None:
    for sock in listen("localhost", 0):
        with sock, socket.create_connection(sock.getsockname()[:2], timeout=10):
            assert sock.accept()[0].close() is None


def test_without_a_descriptor_left_who_comes_is_turned_away() -> None:
    [listener] = listen("127.0.0.1", 0)
    with listener, socket.create_connection(listener.getsockname(), timeout=10) as client:
        with _no_descriptor_left(), pytest.raises(BlockingIOError):
            listener.accept()
        assert client.recv(1) == b""
        with socket.create_connection(listener.getsockname(), timeout=10):
            listener.setblocking(True)
            listener.accept()[0].close()


@contextlib.contextmanager
def _no_descriptor_left() -> Iterator[None]:
    """Use up every descriptor while the block runs."""
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    used = [os.open(os.devnull, os.O_RDONLY)]
    resource.setrlimit(resource.RLIMIT_NOFILE, (used[0] + 20, hard))
    try:
        with contextlib.suppress(OSError):
            while True:
                used.append(os.open(os.devnull, os.O_RDONLY))
        yield
    finally:
        for one in used:
            os.close(one)
        resource.setrlimit(resource.RLIMIT_NOFILE, (soft, hard))
