"""A process apart for each body that others sent, bounded in memory, time and descriptors.

One process is started from its beginning when there is something to read, so that it holds nothing
of the watch, and imports what readers need. It never reads anything foreign itself: for each body
it forks a reader, which gets the work over a socket of its own, answers over it and ends. The
kernel ends a reader that takes too long or too much; that costs the one body. When nothing has been
read for a while the process ends, as its memory is wanted seldom; when the watch ends, however it
ends, the other end of the socket closes and the process ends with it.

A process a body, and none kept for the next: nothing is left behind by a body that was read
before, and nothing has to be watched over.
"""

import asyncio
import contextlib
import importlib
import os
import pickle
import resource
import signal
import socket
import sys
from collections.abc import Callable, Sequence
from dataclasses import astuple, dataclass
from pathlib import Path
from typing import Any, NoReturn, TypeVar

import structlog

from watcher.sources.base import SourceError
from watcher.sources.body_reader import SMALL_BYTES, BrokenReadError, guarded
from watcher.sources.stations.bad_reading import BadReadingError

T = TypeVar("T")

AT_ONCE = 2
"""Readers at work at the same time: one that hangs leaves the other to the rest."""
MOST_WAITING = 32
"""Bodies that may wait for a reader; more are refused."""
IDLE_S = 60.0
"""So long after the last body the process ends: sources are asked in bursts, minutes apart. [s]"""
MOST_ANSWERED = 32 * 2**20
"""Bytes of what a reader may make of a body."""
_READERS = ("watcher.sources.feeds.", "watcher.sources.stations.", "watcher.sources.tiles")
"""What is imported before readers are forked, of what the watch has imported."""
_HEADER_BYTES = 8
_CHUNK = 256 * 1024
_LARGE_ANSWER = 256 * 1024

log = structlog.get_logger(__name__)


@dataclass(frozen=True)
class Limits:
    """What one reader may take: seconds by the clock and of work, and bytes beside what it shares
    with the watch."""

    wall_s: float = 8.0
    cpu_s: int = 4
    memory: int = 192 * 2**20
    descriptors: int = 16


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
            async with asyncio.timeout(2 * self._limits.wall_s):
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
    """The process that forks the readers, and the socket on which it is told to."""

    pid: int
    control: socket.socket

    @classmethod
    def begin(cls, limits: Limits) -> "_Running":
        """Start it from its beginning: the watch has threads and sockets and is not forked."""
        ours, theirs = socket.socketpair()
        known = [name for name in sys.modules if name.startswith(_READERS)]
        told = [str(limit) for limit in astuple(limits)]
        with theirs:
            theirs.set_inheritable(True)
            arguments = [sys.executable, "-m", __name__, str(theirs.fileno()), *told, *known]
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
    length = int.from_bytes(answer[:_HEADER_BYTES])
    if len(answer) < _HEADER_BYTES or len(answer) != _HEADER_BYTES + length:
        raise BrokenReadError.by("it took too long or too much memory, or was killed")
    with memoryview(answer) as whole:
        result = pickle.loads(whole[_HEADER_BYTES:])  # noqa: S301 - of our own process
    if isinstance(result, Exception):
        raise result
    return result


def _fork_readers(control: socket.socket, limits: Limits) -> NoReturn:
    """Fork a reader for every socket handed over, until the other end is closed."""
    with contextlib.suppress(BaseException):
        control = _alone_with(control)
        # The watch stops in order when its group is asked to, and then closes the other end.
        for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
            signal.signal(number, signal.SIG_IGN)
        signal.signal(signal.SIGCHLD, signal.SIG_IGN)  # readers that ended are not waited for
        while handed := _handed_over(control):
            if os.fork() == 0:
                control.close()
                _read_one(handed, limits)
            handed.close()
    os._exit(0)


def _alone_with(control: socket.socket) -> socket.socket:
    """Close every other descriptor; returns the socket under another number."""
    nowhere = os.open(os.devnull, os.O_RDWR)
    for number in range(3):
        os.dup2(nowhere, number)
    kept = os.dup2(control.detach(), 3)
    os.closerange(4, os.sysconf("SC_OPEN_MAX"))
    return socket.socket(fileno=kept)


def _handed_over(control: socket.socket) -> socket.socket | None:
    """Return the next socket handed over, None when there will be no more."""
    while True:
        got, numbers, _, _ = socket.recv_fds(control, 1, 1)
        if not got:
            return None
        if numbers:
            return socket.socket(fileno=numbers[0])


def _read_one(handed: socket.socket, limits: Limits) -> NoReturn:
    """Do the one job that comes over the socket, and end."""
    with contextlib.suppress(BaseException):
        _confine(limits)
        handed.sendall(_outcome(handed))
    os._exit(0)


def _confine(limits: Limits) -> None:
    signal.signal(signal.SIGALRM, signal.SIG_DFL)
    signal.setitimer(signal.ITIMER_REAL, limits.wall_s)
    held = int(Path("/proc/self/statm").read_text().split()[0]) * resource.getpagesize()
    for limit, most in (
        (resource.RLIMIT_CPU, limits.cpu_s),
        (resource.RLIMIT_CORE, 0),
        (resource.RLIMIT_FSIZE, 0),
        (resource.RLIMIT_NOFILE, limits.descriptors),
        (resource.RLIMIT_AS, held + limits.memory),
    ):
        resource.setrlimit(limit, (most, most))
    os.nice(5)
    with contextlib.suppress(OSError):  # where memory runs out, this goes first
        Path("/proc/self/oom_score_adj").write_bytes(b"1000")


def _outcome(handed: socket.socket) -> bytes:
    job = bytearray()
    while got := handed.recv(_CHUNK):
        job += got
    result: object
    try:
        result = guarded(pickle.loads(job))  # noqa: S301 - of our own process
    except (SourceError, BadReadingError) as refused:
        result = refused.with_traceback(None)
    answer = pickle.dumps(result, pickle.HIGHEST_PROTOCOL)
    return len(answer).to_bytes(_HEADER_BYTES) + answer


def _start(arguments: Sequence[str]) -> NoReturn:
    """Be the process that forks the readers, started from its beginning."""
    number, wall_s, cpu_s, memory, descriptors, *known = arguments
    for name in known:
        importlib.import_module(name)
    limits = Limits(float(wall_s), int(cpu_s), int(memory), int(descriptors))
    _fork_readers(socket.socket(fileno=int(number)), limits)


if __name__ == "__main__":
    _start(sys.argv[1:])
