"""A station that writes CSV files: one that grows, or new ones dropped in a folder."""

import asyncio

import structlog

from watcher.sources.base import Polled, SourceError
from watcher.sources.csv_rows import CsvReader, Known, Layout, NoSuchColumnError, Told
from watcher.sources.growing_files import GrowingFiles, Key, Piece
from watcher.sources.rows import Merged, observations
from watcher.weather.series import Site

log = structlog.get_logger(__name__)


class CsvStation:
    """A station whose files are looked at every ``every_s``."""

    attribution = ""

    def __init__(
        self, *, name: str, files: GrowingFiles, layout: Layout, every_s: float, site: Site
    ) -> None:
        self.name = name
        self.every_s = every_s
        self._files = files
        self._layout = layout
        self._site = site
        self._known: dict[Key, Known] = {}
        self._merged = Merged()

    async def poll(self, now: int) -> Polled:
        """Return what was written since the last look. Raises ``SourceError``."""
        told = await asyncio.to_thread(self._look, now)
        if told.amiss:
            log.warning("passed over", source=self.name, count=told.amiss, first=told.first_amiss)
        if not told.rows:
            return Polled.nothing_new()
        rows = self._merged.with_(told.rows)
        return Polled(observations(rows, now=now, site=self._site, source=self.name))

    def _look(self, now: int) -> Told:
        pieces = self._news(now)
        told = Told()
        reader = CsvReader(self._layout, told, now)
        try:
            known = [(piece, self._read(reader, piece)) for piece in pieces]
        except NoSuchColumnError as error:
            raise SourceError(f"{error}; correct the columns told, or names_row") from error
        if told.amiss and not told.rows:
            raise SourceError(
                f"nothing can be read of {told.amiss} lines or values, the first: "
                f"{told.first_amiss}; compare the file with what is told of it"
            )
        for piece, then in known:
            self._files.advance(piece)
            self._known[piece.key] = then
        return told

    def _news(self, now: int) -> list[Piece]:
        try:
            pieces = self._files.news(now)
        except OSError as error:
            raise SourceError(
                f"{error.filename} cannot be read ({error.strerror}); let the watch read it"
            ) from error
        if pieces is None:
            raise SourceError("there is no file yet; check the path that files tells")
        return pieces

    def _read(self, reader: CsvReader, piece: Piece) -> Known:
        known = None if piece.anew else self._known.get(piece.key)
        return reader.read(str(piece.path), piece.header, piece.lines, known)
