"""Files that others write into: what is new in them since the last look, line by line, once.

A file is known by its inode, whatever it is renamed to, and by the bytes before the place read up
to: one that was cut short, written anew or replaced under the same inode is read from its start.
A line counts once its end is written; one that goes on and on is cut, for the reader to refuse.
"""

import os
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

LOOK_BACK_S = 14 * 86_400
"""Files not written to for longer are passed over at first sight (no source): old weather is for
importing, not for watching."""
MOST_AT_FIRST = 4 * 2**20
"""Of a longer file only so many bytes from the end are read at first sight: weeks of minutes."""
MOST_AT_ONCE = 4 * 2**20
"""Bytes read at one look; the rest comes at the next."""
LONGEST_LINE = 64 * 1024
"""Bytes of a line, or of a header's line; a station's have a few hundred (no source)."""
_KNOWN_BY = 256

Key = tuple[int, int]


@dataclass(frozen=True)
class FilePosition:
    """How far a file was read, and the bytes before that."""

    offset: int
    before: bytes
    in_line: bool = False
    """Whether it lies within a line that was cut, whose rest is no line."""

    def is_in(self, file: BinaryIO) -> bool:
        """Whether the file still holds what was read of it."""
        return _before(file, self.offset) == self.before


@dataclass(frozen=True)
class Piece:
    """New lines of a file, without their ends, and its header.

    ``anew`` when they are the first of it that are read; ``place`` is where they end.
    """

    path: Path
    key: Key
    header: tuple[bytes, ...]
    lines: tuple[bytes, ...]
    anew: bool
    place: FilePosition


class GrowingFiles:
    """Follows the files that a pattern names.

    ``whole``: files are put there whole, so that a last line without an end counts, too, once its
    file has stood still from one look to the next.
    """

    def __init__(self, pattern: str, *, header_rows: int, whole: bool = False) -> None:
        self._pattern = Path(pattern)
        self._header_rows = header_rows
        self._whole = whole
        self._places: dict[Key, FilePosition] = {}
        self._seen: dict[Key, tuple[int, float]] = {}

    def new_pieces(self, now: int) -> list[Piece] | None:
        """Return what is new, of the file first that was longest not written to.

        None when the pattern names no file at all. The same comes again until ``advance`` was
        called with it. Reads files; raises ``OSError``.
        """
        found = sorted(self._files(), key=lambda path_state: path_state[1].st_mtime)
        there = {_key(state) for _, state in found}
        self._places = {key: place for key, place in self._places.items() if key in there}
        pieces, left = [], MOST_AT_ONCE
        for path, state in found:
            if left > 0 and (_key(state) in self._places or now - state.st_mtime <= LOOK_BACK_S):
                piece = self._piece(path, state, left)
                if piece is not None:
                    pieces.append(piece)
                    left -= sum(map(len, piece.lines))
        self._seen = {_key(state): (state.st_size, state.st_mtime) for _, state in found}
        return pieces if found else None

    def advance(self, piece: Piece) -> None:
        """Note that a piece was read."""
        self._places[piece.key] = piece.place

    def _files(self) -> Iterator[tuple[Path, os.stat_result]]:
        anchor = Path(self._pattern.anchor)
        for path in anchor.glob(str(self._pattern.relative_to(anchor))):
            try:
                if path.is_file():
                    yield path, path.stat()
            except FileNotFoundError:  # renamed or deleted in between
                continue

    def _piece(self, path: Path, state: os.stat_result, most: int) -> Piece | None:
        place = self._places.get(_key(state))
        stands = self._seen.get(_key(state)) == (state.st_size, state.st_mtime)
        try:
            with path.open("rb") as file:
                header = tuple(file.readline(LONGEST_LINE) for _ in range(self._header_rows))
                anew = place is None or not place.is_in(file)
                start = _first_line(file, sum(map(len, header)))
                offset = start if place is None or anew else place.offset
                new = _lines(file, offset, most, unfinished=self._whole and stands)
                cut = len(new) >= LONGEST_LINE and not new.endswith(b"\n")
                end = FilePosition(offset + len(new), _before(file, offset + len(new)), cut)
        except FileNotFoundError:
            return None
        if not new:
            return None
        lines = tuple(line.rstrip(b"\r") for line in new.removesuffix(b"\n").split(b"\n"))
        # What ends a line that was cut is no line; what goes on with it is as little one as before.
        rest = place is not None and place.in_line and not anew and b"\n" in new
        return Piece(path, _key(state), header, lines[1:] if rest else lines, anew, end)


def _key(state: os.stat_result) -> Key:
    return state.st_dev, state.st_ino


def _before(file: BinaryIO, offset: int) -> bytes:
    start = max(0, offset - _KNOWN_BY)
    file.seek(start)
    return file.read(offset - start)


def _first_line(file: BinaryIO, header: int) -> int:
    """Return where reading begins: after the header, or at a line near enough to the end."""
    start = file.seek(0, os.SEEK_END) - MOST_AT_FIRST
    if start <= header:
        return header
    file.seek(start)
    file.readline(LONGEST_LINE)
    return file.tell()


def _lines(file: BinaryIO, offset: int, most: int, *, unfinished: bool) -> bytes:
    """Return the finished lines from an offset on; at the end of the file the unfinished, too."""
    file.seek(offset)
    data = file.read(most)
    if unfinished and len(data) < most:
        return data
    finished = data.rfind(b"\n") + 1
    # Of a line without an end in sight so much is given out: else what follows is never reached.
    return data[:finished] if finished or len(data) < LONGEST_LINE else data
