"""The open connections: how many there may be, and how long each may keep us waiting.

Whatever comes in over the port may at worst cost itself. So connections never take the descriptors
that the log, the feeds and the pushes need, and none is kept that does nothing. Where there is no
room for a new one, the one that has waited longest without a request is closed for it: who opens
thousands of silent connections closes their own, and a station's post still comes in.
"""

import contextlib
import resource
import socket
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import Enum
from ipaddress import IPv4Network, IPv6Network, ip_address, ip_network
from typing import Any

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

from watcher.addresses import sender
from watcher.web.log_throttle import LogThrottle

Network = IPv4Network | IPv6Network

KEPT_DESCRIPTORS = 256
"""Descriptors left to the rest: 15 connections of the log with 3 files each, feeds, brokers,
pushes under way, the files of the session and of the feeds, and as much again."""
MOST_CONNECTIONS, LEAST_CONNECTIONS = 400, 16
"""A farm has a few phones and stations; each connection keeps some memory."""
LOOPBACK = (ip_network("127.0.0.0/8"), ip_network("::1/128"))


@dataclass(frozen=True)
class Deadlines:
    """How long a connection may keep us waiting. [s]"""

    header_s: float = 10.0
    """From its opening, or the first byte of a later request, to the end of the request's head."""
    idle_s: float = 15.0
    """After an answer, until the next request begins."""
    body_s: float = 60.0
    """From the end of a request's head to the end of its body: a station on a poor line."""
    unread_s: float = 60.0
    """Without reading all, or at least 48 kB, of an answer that waits for its reader."""
    most_body: int = 1_000_000
    """A body may be so long at most, even one that nobody here reads. [bytes]"""


class _State(Enum):
    """What a connection is doing, and what is said of one that does so for too long."""

    FRESH = "no request"
    IDLE = "no further request"
    HEADER = "the head of a request not ended"
    BODY = "the body of a request not ended"
    ANSWERED = "answered"
    """A request is being answered: how long that takes is ours to answer for."""


_WITHOUT_REQUEST = {_State.FRESH, _State.IDLE, _State.HEADER}


def room(descriptors: int | None = None) -> int:
    """Return how many connections may be open with so many descriptors; this process's if None."""
    if descriptors is None:
        descriptors = resource.getrlimit(resource.RLIMIT_NOFILE)[0]
        if descriptors == resource.RLIM_INFINITY:
            return MOST_CONNECTIONS
    return min(MOST_CONNECTIONS, max(LEAST_CONNECTIONS, descriptors - KEPT_DESCRIPTORS))


class Connections:
    """Every open connection. ``sweep`` closes those that are overdue; call it twice a second."""

    def __init__(
        self,
        now: Callable[[], float],
        *,
        most: int | None = None,
        proxies: Sequence[Network] = LOOPBACK,
        deadlines: Deadlines | None = None,
        throttled: LogThrottle | None = None,
    ) -> None:
        """``now`` tells the time as the event loop does.

        One sender may have a quarter of the room. Behind a proxy all have its address: it may have
        three quarters, and must itself see to it that its clients share them.
        """
        self.now = now
        self.most = room() if most is None else most
        self.deadlines = deadlines or Deadlines()
        self._proxies = proxies
        self._throttled = throttled or LogThrottle()
        self._by_sender: dict[str, set[Connection]] = {}
        self._waiting: dict[str, dict[Connection, None]] = {}
        """Those without a request by sender, the one that has waited longest first."""
        self._open = 0

    def __len__(self) -> int:
        return self._open

    def most_of(self, address: str) -> int:
        """Return how many connections one address may have open."""
        return max(1, self.most * 3 // 4 if self._is_proxy(address) else self.most // 4)

    def admit(self, connection: "Connection") -> bool:
        """Take a new connection in, if need be for another one; returns whether there is room."""
        who = sender(connection.address)
        over = len(self._by_sender.get(who, ())) >= self.most_of(connection.address)
        if (over or self._open >= self.most) and not self._make_room(who if over else None):
            self._throttled.warn("connections refused", "all are in use", most=self.most)
            return False
        self._by_sender.setdefault(who, set()).add(connection)
        self._open += 1
        return True

    def forget(self, connection: "Connection") -> None:
        """Note that a connection is closed. Doing so again changes nothing."""
        who = sender(connection.address)
        mine = self._by_sender.get(who, set())
        if connection in mine:
            mine.discard(connection)
            self._open -= 1
        self._waiting.get(who, {}).pop(connection, None)
        for known in (self._by_sender, self._waiting):
            if not known.get(who, True):
                del known[who]

    def waits(self, connection: "Connection", *, without_request: bool) -> None:
        """Note whether a connection has no request under way, from now on."""
        who = sender(connection.address)
        self._waiting.get(who, {}).pop(connection, None)
        if without_request and connection in self._by_sender.get(who, ()):
            self._waiting.setdefault(who, {})[connection] = None

    def sweep(self) -> None:
        """Close what has kept us waiting for too long."""
        now = self.now()
        for connection in [c for mine in self._by_sender.values() for c in mine]:
            why = connection.overdue(now, self.deadlines)
            if why is not None:
                self._close(connection, why)

    def spoiled(self, connection: "Connection", why: str) -> None:
        """Close a connection for what came in over it."""
        self._close(connection, why)

    def _make_room(self, who: str | None) -> bool:
        """Close the oldest connection without a request, of one sender or of who has most."""
        if who is None and self._waiting:
            who = max(self._waiting, key=lambda one: len(self._waiting[one]))
        oldest = next(iter(self._waiting.get(who or "", ())), None)
        if oldest is None:
            return False
        self._close(oldest, "no room for it any more")
        return True

    def _close(self, connection: "Connection", why: str) -> None:
        self._throttled.warn("connections closed", why)
        self.forget(connection)
        connection.transport.abort()

    def _is_proxy(self, address: str) -> bool:
        try:
            parsed = ip_address(address.partition("%")[0])
        except ValueError:
            return False
        return any(parsed in network for network in self._proxies)


class Connection(H11Protocol):
    """One connection, looked after by ``connections``."""

    def __init__(self, connections: Connections, **options: Any) -> None:
        super().__init__(**options)
        self._all = connections
        self.address = ""
        self._state, self._since = _State.FRESH, connections.now()
        self._body_bytes = 0
        self._unread_since: float | None = None

    def connection_made(self, transport: Any) -> None:
        """Take a connection, or close it at once where there is no room."""
        super().connection_made(transport)
        self.address = self.client[0] if self.client else ""
        if not self._all.admit(self):
            transport.abort()
            return
        self._all.waits(self, without_request=True)
        _keep_alive(transport.get_extra_info("socket"))

    def data_received(self, data: bytes) -> None:
        """Take what came in; whatever cannot be made sense of ends this connection only."""
        if self.transport.is_closing():
            return
        self._body_bytes += len(data) if self._state is _State.BODY else 0
        try:
            super().data_received(data)
        except Exception as error:
            self._all.spoiled(self, type(error).__name__)
            return
        self._look()
        if self._body_bytes > self._all.deadlines.most_body:
            self._all.spoiled(self, "a body that is too long")

    def connection_lost(self, exc: Exception | None) -> None:
        """Note that it is closed."""
        super().connection_lost(exc)
        self._all.forget(self)

    def on_response_complete(self) -> None:
        """Begin to wait for the next request."""
        super().on_response_complete()
        self._look()

    def resume_writing(self) -> None:
        """Note that its reader reads."""
        self._unread_since = None
        super().resume_writing()

    def overdue(self, now: float, deadlines: Deadlines) -> str | None:
        """Return what this connection has kept us waiting for too long with, if anything."""
        if not self.transport.get_write_buffer_size():
            self._unread_since = None
        elif self._unread_since is None:
            self._unread_since = now
        elif now - self._unread_since >= deadlines.unread_s:
            return "an answer not read"
        allowed = {
            _State.FRESH: deadlines.header_s,
            _State.HEADER: deadlines.header_s,
            _State.IDLE: deadlines.idle_s,
            _State.BODY: deadlines.body_s,
        }.get(self._state)
        return self._state.value if allowed is not None and now - self._since >= allowed else None

    def _look(self) -> None:
        """See what the connection is doing now, and since when."""
        state = self._now_doing()
        if state is self._state:
            return
        # A head that is begun at once after the opening has no longer than from the opening.
        if not (self._state is _State.FRESH and state is _State.HEADER):
            self._since = self._all.now()
        self._state = state
        if state is not _State.BODY:
            self._body_bytes = 0
        self._all.waits(self, without_request=state in _WITHOUT_REQUEST)

    def _now_doing(self) -> _State:
        if self.conn.their_state is h11.SEND_BODY:
            return _State.BODY
        if self.cycle is not None and not self.cycle.response_complete:
            return _State.ANSWERED
        if self.conn.trailing_data[0]:
            return _State.HEADER
        return _State.FRESH if self.cycle is None else _State.IDLE


def _keep_alive(sock: socket.socket | None) -> None:
    """Have the system find out when the other side is gone without a word: within two minutes."""
    if sock is None:
        return
    with contextlib.suppress(OSError):
        sock.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
    for name, value in (
        ("TCP_KEEPIDLE", 60),
        ("TCP_KEEPINTVL", 15),
        ("TCP_KEEPCNT", 4),
        ("TCP_USER_TIMEOUT", 60_000),
    ):
        if hasattr(socket, name):
            with contextlib.suppress(OSError):
                sock.setsockopt(socket.IPPROTO_TCP, getattr(socket, name), value)
