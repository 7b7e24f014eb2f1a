"""The port itself: opened before anything begins, and never noisy when descriptors run out."""

import contextlib
import errno
import os
import socket
from typing import Any

from watcher.web.log_throttle import LogThrottle

_WAITING_AT_THE_PORT = 512
_OUT_OF_DESCRIPTORS = {errno.EMFILE, errno.ENFILE, errno.ENOBUFS, errno.ENOMEM}


class PortError(Exception):
    """The port cannot be opened. The text names host, port, settings and the mend."""


class Listener(socket.socket):
    """A listening socket that always takes what waits at it.

    Without a descriptor left a connection can neither be taken nor refused, and the event loop
    would try, and log, for ever. One descriptor is kept for that: it is given up for a moment, to
    take the connection and close it.
    """

    def __init__(self, *given: Any, throttled: LogThrottle | None = None, **named: Any) -> None:
        super().__init__(*given, **named)
        self._throttled = throttled or LogThrottle()
        self._spare: int | None = os.open(os.devnull, os.O_RDONLY)

    def accept(self) -> tuple[socket.socket, Any]:
        """Take a connection. Raises BlockingIOError when none waits, or none can be taken."""
        try:
            return super().accept()
        except OSError as error:
            if error.errno not in _OUT_OF_DESCRIPTORS:
                raise
            self._throttled.warn("connections refused", os.strerror(error.errno))
            self._turn_one_away()
            raise BlockingIOError(errno.EAGAIN, "out of descriptors") from error

    def listen(self, _backlog: int = 0) -> None:
        """Listen, with more room for those who wait than are taken in one round of the loop."""
        super().listen(_WAITING_AT_THE_PORT)

    def close(self) -> None:
        """Close it."""
        if self._spare is not None:
            os.close(self._spare)
            self._spare = None
        super().close()

    def _turn_one_away(self) -> None:
        if self._spare is not None:
            os.close(self._spare)
            self._spare = None
        with contextlib.suppress(OSError):
            super().accept()[0].close()
        with contextlib.suppress(OSError):
            self._spare = os.open(os.devnull, os.O_RDONLY)


def listen(host: str, port: int, throttled: LogThrottle | None = None) -> list[socket.socket]:
    """Open the port on every address of a host, and listen. Raises PortError."""
    try:
        found = socket.getaddrinfo(
            host or None, port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE
        )
    except (OSError, UnicodeError) as error:
        raise PortError(_wrong(host, port, "this machine knows no such host")) from error
    opened: list[socket.socket] = []
    trouble: OSError | None = None
    for family, kind, protocol, _, address in dict.fromkeys(found):
        try:
            # By its number: asyncio turns off waiting for more to send only where it sees TCP.
            opened.append(_opened(family, kind, protocol or socket.IPPROTO_TCP, address, throttled))
        except OSError as error:
            trouble = error
            if error.errno not in {errno.EADDRNOTAVAIL, errno.EAFNOSUPPORT}:
                break  # an address this machine does not have may be one of several
    if opened and (trouble is None or trouble.errno in {errno.EADDRNOTAVAIL, errno.EAFNOSUPPORT}):
        return opened
    for sock in opened:
        sock.close()
    why = os.strerror(trouble.errno) if trouble and trouble.errno else str(trouble)
    mend = {errno.EADDRINUSE: "another program has it (a second watch?): end that one, or "}
    raise PortError(_wrong(host, port, why, mend.get(trouble.errno or 0, "") if trouble else ""))


def _opened(
    family: int, kind: int, protocol: int, address: Any, throttled: LogThrottle | None
) -> socket.socket:
    sock = Listener(family, kind, protocol, throttled=throttled)
    try:
        sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        if family == socket.AF_INET6:
            sock.setsockopt(socket.IPPROTO_IPV6, socket.IPV6_V6ONLY, 1)
        sock.bind(address)
        sock.listen()
        sock.setblocking(False)
    except OSError:
        sock.close()
        raise
    return sock


def _wrong(host: str, port: int, why: str, mend: str = "") -> str:
    return (
        f"cannot listen on host {host!r}, port {port}: {why[:1].lower()}{why[1:]}; {mend}set "
        "WATCHER_PORT to another port or WATCHER_HOST to an address of this machine"
    )
