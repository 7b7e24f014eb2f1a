"""A station that writes CSV files: one that grows, or new ones dropped in a folder."""

import asyncio
from collections.abc import Sequence
from functools import partial

import structlog

from watcher.sources.base import Polled, SourceError
from watcher.sources.body_reader import BodyReader, InPlace
from watcher.sources.stations.csv_rows import (
    CsvContents,
    CsvReader,
    Known,
    Layout,
    NoSuchColumnError,
)
from watcher.sources.stations.growing_files import GrowingFiles, Key, Piece
from watcher.sources.stations.rows import observations
from watcher.weather.series import Site

log = structlog.get_logger(__name__)


class CsvSource:
    """A station whose files are looked at every ``every_s``."""

    attribution = ""

    def __init__(
        self,
        *,
        name: str,
        files: GrowingFiles,
        layout: Layout,
        every_s: float,
        site: Site,
        reader: BodyReader | None = None,
    ) -> None:
        self.name = name
        self.every_s = every_s
        self._files = files
        self._layout = layout
        self._site = site
        self._reader = reader or InPlace()
        self._known: dict[Key, Known] = {}

    async def poll(self, now: int) -> Polled:
        """Return what was written since the last look. Raises ``SourceError``."""
        pieces = await asyncio.to_thread(self._news, now)
        known = [None if piece.anew else self._known.get(piece.key) for piece in pieces]
        work = partial(_read, self._layout, pieces, known, now)
        try:
            contents, then = await self._reader.read(work, size=sum(map(_size, pieces)))
        except SourceError:
            for piece in pieces:
                if piece.place.in_line:  # of a line without an end only what follows can be read
                    self._files.advance(piece)
            raise
        for piece, known_then in zip(pieces, then, strict=True):
            self._files.advance(piece)
            self._known[piece.key] = known_then
        if contents.amiss:
            log.warning(
                "passed over", source=self.name, count=contents.amiss, first=contents.first_amiss
            )
        if not contents.rows:
            return Polled.nothing_new()
        # Of a long file even this takes a while.
        made = partial(observations, contents.rows, now=now, site=self._site, source=self.name)
        return Polled(await asyncio.to_thread(made))

    def _news(self, now: int) -> list[Piece]:
        try:
            pieces = self._files.new_pieces(now)
        except OSError as error:
            raise SourceError(
                f"{error.filename} cannot be read ({error.strerror}); let the watch read it"
            ) from error
        if pieces is None:
            raise SourceError("there is no file yet; check the path that files tells")
        return pieces


def _read(
    layout: Layout, pieces: Sequence[Piece], known: Sequence[Known | None], now: int
) -> tuple[CsvContents, list[Known]]:
    """Return what pieces of files tell, and what is then known of each file."""
    contents = CsvContents()
    reader = CsvReader(layout, contents, now)
    try:
        then = [
            reader.read(str(piece.path), piece.header, piece.lines, known_before)
            for piece, known_before in zip(pieces, known, strict=True)
        ]
    except NoSuchColumnError as error:
        raise SourceError(f"{error}; correct its columns in the farm file, or names_row") from error
    if contents.amiss and not contents.rows:
        raise SourceError(
            f"nothing can be read of {contents.amiss} lines or values, the first: "
            f"{contents.first_amiss}; compare the file with its entry in the farm file"
        )
    return contents, then


def _size(piece: Piece) -> int:
    return sum(map(len, piece.header)) + sum(map(len, piece.lines))
