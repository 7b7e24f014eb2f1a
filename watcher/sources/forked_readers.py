"""The process that forks a reader for every body: what ``body_process`` starts.

It imports little, as it is kept for a while; what a body needs beside that is imported by its
reader, when the work is unpacked, and goes with it.
"""

import contextlib
import math
import os
import pickle
import resource
import signal
import socket
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import NoReturn

from watcher.sources.base import SourceError
from watcher.sources.body_reader import guarded
from watcher.sources.stations.bad_reading import BadReadingError

HEADER_BYTES = 8
"""Length of an answer, in front of it."""
_CHUNK = 256 * 1024


@dataclass(frozen=True)
class Limits:
    """What one reader may take: seconds by the clock and of work, and bytes beside what it begins
    with."""

    wall_s: float = 8.0
    cpu_s: int = 4
    memory: int = 192 * 2**20
    descriptors: int = 16


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
        work = pickle.loads(_job(handed))  # noqa: S301 - of our own process; imports what it needs
        _confine(limits)
        handed.sendall(_outcome(work))
    os._exit(0)


def _job(handed: socket.socket) -> bytes:
    job = bytearray()
    while got := handed.recv(_CHUNK):
        job += got
    return bytes(job)


def _confine(limits: Limits) -> None:
    """Bound what is done from here on: nothing foreign was looked at before."""
    signal.signal(signal.SIGALRM, signal.SIG_DFL)
    signal.setitimer(signal.ITIMER_REAL, limits.wall_s)
    held = int(Path("/proc/self/statm").read_text().split()[0]) * resource.getpagesize()
    worked_s = math.ceil(time.process_time())
    for limit, most in (
        (resource.RLIMIT_CPU, worked_s + limits.cpu_s),
        (resource.RLIMIT_CORE, 0),
        (resource.RLIMIT_FSIZE, 0),
        (resource.RLIMIT_NOFILE, limits.descriptors),
        (resource.RLIMIT_AS, held + limits.memory),
    ):
        resource.setrlimit(limit, (most, most))
    os.nice(5)
    with contextlib.suppress(OSError):  # where memory runs out, this goes first
        Path("/proc/self/oom_score_adj").write_bytes(b"1000")


def _outcome(work: Callable[[], object]) -> bytes:
    result: object
    try:
        result = guarded(work)
    except (SourceError, BadReadingError) as refused:
        result = refused.with_traceback(None)
    answer = pickle.dumps(result, pickle.HIGHEST_PROTOCOL)
    return len(answer).to_bytes(HEADER_BYTES) + answer


if __name__ == "__main__":
    number, wall_s, cpu_s, memory, descriptors = sys.argv[1:]
    _fork_readers(
        socket.socket(fileno=int(number)),
        Limits(float(wall_s), int(cpu_s), int(memory), int(descriptors)),
    )
