"""A process apart for each body that others sent, bounded in memory, time and descriptors.

One process is started from its beginning when there is something to read, so that it holds nothing
of the watch (``forked_readers``). It never reads anything foreign itself: for each body
it forks a reader, which gets the work over a socket of its own, answers over it and ends. The
kernel ends a reader that takes too long or too much; that costs the one body. When nothing has been
read for a while the process ends, as its memory is wanted seldom; when the watch ends, however it
ends, the other end of the socket closes and the process ends with it.

A process a body, and none kept for the next: nothing is left behind by a body that was read
before, and nothing has to be watched over.
"""

import asyncio
import contextlib
import os
import pickle
import signal
import socket
import sys
from collections.abc import Callable
from dataclasses import astuple, dataclass
from typing import Any, TypeVar

import structlog

from watcher.sources.base import SourceError
from watcher.sources.body_reader import SMALL_BYTES, BrokenReadError, guarded
from watcher.sources.forked_readers import HEADER_BYTES, Limits

T = TypeVar("T")

AT_ONCE = 2
"""Readers at work at the same time: one that hangs leaves the other to the rest."""
MOST_WAITING = 32
"""Bodies that may wait for a reader; more are refused."""
IDLE_S = 60.0
"""So long after the last body the process ends: sources are asked in bursts, minutes apart. [s]"""
_BEGINS_WITHIN_S = 15.0
"""Two imports on the slowest computer, the process's and its reader's, come before the work. [s]"""
MOST_ANSWERED = 32 * 2**20
"""Bytes of what a reader may make of a body."""
_PROGRAM = "watcher.sources.forked_readers"
_CHUNK = 256 * 1024
_LARGE_ANSWER = 256 * 1024

log = structlog.get_logger(__name__)


class BodyProcess:
    """Reads bodies in processes apart. ``close`` it last."""

    def __init__(self, limits: Limits | None = None, *, idle_s: float = IDLE_S) -> None:
        self._limits = limits or Limits()
        self._idle_s = idle_s
        self._running: _Running | None = None
        self._ending: asyncio.TimerHandle | None = None
        self._turns = asyncio.Semaphore(AT_ONCE)
        self._waiting = 0

    @property
    def pid(self) -> int | None:
        """The process that forks the readers, None while there is nothing to read."""
        return None if self._running is None else self._running.pid

    def close(self) -> None:
        """End the process."""
        self._stay()
        if self._running is not None:
            self._running.end()
            self._running = None

    async def read(self, work: Callable[[], T], *, size: int) -> T:
        """Return what ``work`` makes of ``size`` bytes that others sent; see ``BodyReader``."""
        if size <= SMALL_BYTES:
            return guarded(work)
        if self._waiting >= MOST_WAITING:
            raise SourceError("too much waits to be read already; send less at a time")
        self._waiting += 1
        self._stay()
        try:
            async with self._turns:
                answer = await self._answered(pickle.dumps(work, pickle.HIGHEST_PROTOCOL))
        finally:
            self._waiting -= 1
            if not self._waiting:
                self._ending = asyncio.get_running_loop().call_later(self._idle_s, self.close)
        large = len(answer) > _LARGE_ANSWER
        result: T = await asyncio.to_thread(_result, answer) if large else _result(answer)
        return result

    def _stay(self) -> None:
        if self._ending is not None:
            self._ending.cancel()
            self._ending = None

    async def _answered(self, job: bytes) -> bytes:
        """Return what a reader made of a job, as much of it as came."""
        loop = asyncio.get_running_loop()
        answer = bytearray()
        try:
            ours, theirs = socket.socketpair()
        except OSError as error:
            raise _not_started(error) from error
        with ours, contextlib.suppress(TimeoutError, OSError):
            ours.setblocking(False)
            with theirs:
                self._hand_over(theirs)
            # The reader ends by itself at its limit; this is for one that never began.
            async with asyncio.timeout(_BEGINS_WITHIN_S + self._limits.wall_s):
                await loop.sock_sendall(ours, job)
                ours.shutdown(socket.SHUT_WR)
                while len(answer) <= MOST_ANSWERED and (got := await loop.sock_recv(ours, _CHUNK)):
                    answer += got
        del answer[MOST_ANSWERED:]
        return bytes(answer)

    def _hand_over(self, theirs: socket.socket) -> None:
        if self._running is not None:
            try:
                self._running.hand_over(theirs)
            except BlockingIOError:
                raise
            except OSError:
                log.error("the process that reads what sources send was killed; another is started")
                self._running.end()
                self._running = None
            else:
                return
        try:
            self._running = _Running.begin(self._limits)
        except OSError as error:
            raise _not_started(error) from error
        self._running.hand_over(theirs)


@dataclass(frozen=True)
class _Running:
    """The process that forks the readers, and the socket on which it is asked to."""

    pid: int
    control: socket.socket

    @classmethod
    def begin(cls, limits: Limits) -> "_Running":
        """Start it from its beginning: the watch has threads and sockets and is not forked."""
        ours, theirs = socket.socketpair()
        most = [str(limit) for limit in astuple(limits)]
        with theirs:
            theirs.set_inheritable(True)
            arguments = [sys.executable, "-m", _PROGRAM, str(theirs.fileno()), *most]
            try:
                pid = os.posix_spawn(sys.executable, arguments, os.environ)
            except OSError:
                ours.close()
                raise
        ours.setblocking(False)
        return cls(pid, ours)

    def hand_over(self, theirs: socket.socket) -> None:
        """Have a reader forked that works over this socket."""
        socket.send_fds(self.control, [b"r"], [theirs.fileno()])

    def end(self) -> None:
        """End it; readers at work go on to their ends."""
        self.control.close()
        with contextlib.suppress(ProcessLookupError):
            os.kill(self.pid, signal.SIGKILL)  # it may still be importing
        with contextlib.suppress(ChildProcessError):
            os.waitpid(self.pid, 0)


def _not_started(error: OSError) -> SourceError:
    """The refusal where the machine, not what was sent, is the reason."""
    return SourceError(
        f"what it sent cannot be read just now: no process can be started for it ({error.strerror})"
    )


def _result(answer: bytes) -> Any:
    """Return what a reader made of its body, or raise what it raised."""
    length = int.from_bytes(answer[:HEADER_BYTES])
    if len(answer) < HEADER_BYTES or len(answer) != HEADER_BYTES + length:
        raise BrokenReadError.by("it took too long or too much memory, or was killed")
    with memoryview(answer) as whole:
        result = pickle.loads(whole[HEADER_BYTES:])  # noqa: S301 - of our own process
    if isinstance(result, Exception):
        raise result
    return result
