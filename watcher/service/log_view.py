"""What the log holds of a span of time: a source's weather, the fields' statuses, what was sent."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

from sqlalchemy.orm import Session

from watcher.store import aggregates, outbox, statuses
from watcher.store.database import Database
from watcher.store.export import write_observations
from watcher.store.tables import Outgoing, StatusChange
from watcher.weather.series import WeatherSeries

_DAY_S = 86_400


@dataclass(frozen=True)
class LogView:
    """A span of the log. ``measured`` is as fine as it is kept; None without a source."""

    measured: WeatherSeries | None
    changes: Sequence[tuple[str, StatusChange]]
    """The field, and how its status changed; the newest first."""
    messages: Sequence[Outgoing]
    """The newest of all, the newest first."""


def look_at_log(
    session: Session,
    source: str | None,
    fields: Iterable[str],
    span: tuple[int, int],
    *,
    most_changes: int,
    most_messages: int,
) -> LogView:
    """Look at the log from a moment to another, both included. [epoch s]"""
    first, end = span[0], span[1] + 1
    changes = [
        (field, change)
        for field in fields
        for change in statuses.history(session, field, first, end)
    ]
    changes.sort(key=lambda found: -found[1].at)
    return LogView(
        None if source is None else aggregates.finest(session, source, first, end),
        changes[:most_changes],
        outbox.newest(session, most_messages),
    )


def csv_by_day(log: Database, source: str, start: int, end: int) -> Iterator[str]:
    """Yield a source's readings as CSV, a day at a time, in one look at the log; the heading once.

    ``start <= time < end``, in epoch seconds.
    """
    piece = _Piece()
    days = [*range(start, end, _DAY_S), end]
    with log.reading() as session:
        for first, last in pairwise(days):
            write_observations(session, [source], first, last, piece)  # type: ignore[arg-type]
            text = piece.take()
            yield text if first == start else text.partition("\r\n")[2]


class _Piece:
    """A text file that is handed on in pieces instead of being kept."""

    def __init__(self) -> None:
        self.written: list[str] = []

    def write(self, text: str) -> int:
        self.written.append(text)
        return len(text)

    def take(self) -> str:
        taken, self.written = "".join(self.written), []
        return taken


def messages_before(session: Session, number: int | None, limit: int) -> list[Outgoing]:
    """Return messages with a number below this one, the newest first; all where that is None."""
    return outbox.page_of_newest(session, number, limit)
