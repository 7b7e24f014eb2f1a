"""One small state in a file whose room is taken beforehand: a full disk still takes it.

The file has two halves of the same size. A state goes into the half that holds the older one and
counts only with its checksum: one that was cut off leaves the other half, and what it holds, whole.
(On file systems that never write in place a full disk may still refuse it.)
"""

import hashlib
import os
import struct
from contextlib import suppress
from pathlib import Path

HALF_BYTES = 8 * 1024**2
"""Packed, a day of readings of one station at one a second."""
_HEAD = struct.Struct("<8sQI32s")  # mark, number of the state, its length, checksum of it
_MARK = b"kept\x00v1\n"


class TooLargeError(OSError):
    """The state does not fit into its half of the file."""


class KeptFile:
    """The file. Every method raises OSError where the disk does not do as asked."""

    def __init__(self, path: Path, *, half_bytes: int = HALF_BYTES) -> None:
        """Nothing is opened before the first use."""
        self.path, self._half_bytes = path, half_bytes

    def reserve(self) -> None:
        """Take the room on the disk, unless that is done already."""
        size = 2 * self._half_bytes
        with self._opened(os.O_RDWR | os.O_CREAT) as file:
            if os.fstat(file).st_size >= size:
                return
            os.posix_fallocate(file, 0, size)
            os.fsync(file)

    def write(self, state: bytes) -> None:
        """Keep a state in place of the one before the last; on return it is on the disk."""
        if len(state) > self._half_bytes - _HEAD.size:
            raise TooLargeError(f"{len(state)} bytes do not fit into {self.path}")
        kept = self._kept()
        number = max((number for number, _ in kept.values()), default=0) + 1
        half = min((0, 1), key=lambda half: kept[half][0] if half in kept else 0)
        digest = _digest(number, state)
        with self._opened(os.O_RDWR | os.O_CREAT) as file:
            at = half * self._half_bytes
            _write_whole(file, _HEAD.pack(_MARK, number, len(state), digest) + state, at)
            os.fsync(file)

    def read(self) -> bytes | None:
        """Return the newest state that is whole, None where there is none."""
        return max(self._kept().values(), default=(0, None))[1]

    def _kept(self) -> dict[int, tuple[int, bytes]]:
        """Return the whole states with their numbers, by half."""
        found: dict[int, tuple[int, bytes]] = {}
        with suppress(FileNotFoundError), self._opened(os.O_RDONLY) as file:
            for half in (0, 1):
                head = os.pread(file, _HEAD.size, half * self._half_bytes)
                if len(head) < _HEAD.size:
                    continue
                mark, number, length, digest = _HEAD.unpack(head)
                if mark != _MARK or length > self._half_bytes:
                    continue
                state = os.pread(file, length, half * self._half_bytes + _HEAD.size)
                if _digest(number, state) == digest:
                    found[half] = number, state
        return found

    def _opened(self, flags: int) -> "_Opened":
        return _Opened(self.path, flags)


class _Opened:
    """A file descriptor for as long as a block lasts; the file is for its owner only."""

    def __init__(self, path: Path, flags: int) -> None:
        self._path, self._flags = path, flags

    def __enter__(self) -> int:
        self._file = os.open(self._path, self._flags | os.O_CLOEXEC, 0o600)
        return self._file

    def __exit__(self, *_: object) -> None:
        os.close(self._file)


def _digest(number: int, state: bytes) -> bytes:
    return hashlib.blake2s(number.to_bytes(8, "little") + state).digest()


def _write_whole(file: int, data: bytes, at: int) -> None:
    view = memoryview(data)
    while view:
        written = os.pwrite(file, view, at)
        view, at = view[written:], at + written
