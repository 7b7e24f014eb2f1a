"""Times as a station writes them, in its own form and by its own clock, as epoch seconds."""

import re
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta, timezone, tzinfo
from itertools import pairwise
from zoneinfo import ZoneInfo

from watcher.sources.feed_body import moment
from watcher.sources.rows import number

_OFFSET = re.compile(r"([+-])(\d\d):(\d\d)")
_LEAST_ROWS_FOR_ORDER = 3


def zone_of(text: str) -> tzinfo:
    """Return a zone by its IANA name, or of an offset that never changes ("-06:00")."""
    match = _OFFSET.fullmatch(text)
    if match is None:
        return ZoneInfo(text)
    ahead = timedelta(hours=int(match[2]), minutes=int(match[3]))
    return timezone(-ahead if match[1] == "-" else ahead)


class LocalTimes:
    """Reads times: ``form`` is "iso", "epoch", or directives as of ``strptime``."""

    def __init__(self, form: str, zone: tzinfo) -> None:
        self._form = form
        self._zone = zone

    def read(self, text: str) -> datetime:
        """Return a time as written, aware only if it tells its zone; ``ValueError``."""
        if self._form == "epoch":
            seconds = number(text)
            return datetime.fromtimestamp(moment(seconds), UTC)
        if self._form == "iso":
            if len(text) <= len("2026-06-12"):
                raise ValueError(f"{text!r} has no time of day")
            return datetime.fromisoformat(text)
        return datetime.strptime(text, self._form)  # noqa: DTZ007 - the zone comes with ``epoch``

    def epoch(self, time: datetime, last: int | None) -> int:
        """Return epoch seconds; of an hour that the clock showed twice the one after ``last``.

        Without ``last``, and where both would be, the earlier: rather too old than too new. A time
        that the clock never showed is a ``ValueError``: such a clock does not change with the zone.
        """
        if time.tzinfo is not None:
            return int(time.timestamp())
        first, second = (
            int(time.replace(tzinfo=self._zone, fold=fold).timestamp()) for fold in (0, 1)
        )
        if datetime.fromtimestamp(first, self._zone).replace(tzinfo=None, fold=0) != time.replace(
            microsecond=0
        ):
            raise ValueError(
                f"{time} was skipped when the clock went forward; if the station's clock does not "
                'change, give its zone as an offset, such as "-06:00"'
            )
        return second if last is not None and first < last and second != first else first


def newest_first(times: Sequence[datetime]) -> bool:
    """Whether times run backwards, as in files that are written newest first.

    Two alone do not tell: a clock set back in autumn looks the same.
    """
    bare = [time.replace(tzinfo=None) for time in times]
    back = sum(later < earlier for earlier, later in pairwise(bare))
    return len(bare) >= _LEAST_ROWS_FOR_ORDER and 2 * back > len(bare) - 1
