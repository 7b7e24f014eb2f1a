"""What every polled feed's body is read with: numbers, units, times, and whether it is of today."""

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime
from typing import TYPE_CHECKING

import numpy as np

from watcher.sources.base import SourceError
from watcher.sources.json_text import finite
from watcher.units import Kind, convert
from watcher.weather.series import Floats, WeatherSeries, epoch

if TYPE_CHECKING:
    from jmespath.parser import ParsedResult

HOUR_S = 3600
CLOCKS_APART_S = 3600
"""An issue time further ahead than this is no clock error but nonsense (no source)."""
EPOCHS = (
    int(datetime(2000, 1, 1, tzinfo=UTC).timestamp()),
    int(datetime(2100, 1, 1, tzinfo=UTC).timestamp()),
)
"""A number outside is no time in seconds."""
_PARTS = (1, 10**3, 10**6, 10**9)
"""Seconds, thousandths, and finer: within these years no number can be taken for two of them."""


@contextmanager
def readable(url: str) -> Iterator[None]:
    """Turn the ``ValueError`` of a body that is not as documented into a ``SourceError``."""
    try:
        yield
    except ValueError as error:
        raise SourceError(
            f"{url} answered with a body that cannot be read: {error}; if this goes on, the feed "
            "has changed its form: use another source until this program knows it"
        ) from error


def numbers(values: Sequence[object], what: str) -> Floats:
    """Return JSON numbers as an array, null as NaN; ``ValueError`` for anything else."""
    found = [np.nan if value is None else finite(value) for value in values]
    if None in found:
        raise ValueError(f"{what} holds {values[found.index(None)]!r}, which is no number")
    return np.array(found, dtype=np.float64)


def in_si(values: Floats, unit: str | None, kind: Kind, spellings: Mapping[str, str]) -> Floats:
    """Return ``values`` of a feed's ``unit`` in the unit used inside for ``kind``.

    ``spellings`` says how ``watcher.units`` writes what the feed spells its own way. Every unit
    that fits a kind is a linear scale of it, so two points make the line.
    """
    if unit is None:
        raise ValueError(f"the unit of a {kind.name.lower()} is missing")
    spelt = spellings.get(unit, unit)
    zero = convert(0.0, spelt, kind)
    return zero + values * (convert(1.0, spelt, kind) - zero)


def utc_epoch(text: str) -> int:
    """Return an ISO 8601 time with its offset as epoch seconds."""
    return epoch(datetime.fromisoformat(text))


def moment(time: object) -> int:
    """Return an ISO 8601 time with its offset, or a number since 1970, as whole epoch seconds.

    The number may count seconds, thousandths, millionths or thousand-millionths.
    """
    if isinstance(time, str):
        return utc_epoch(time)
    given = finite(time)
    if given is not None:
        for part in _PARTS:
            if EPOCHS[0] <= given / part < EPOCHS[1]:
                return int(given / part)
    raise ValueError(f"{time!r:.40} is neither an ISO 8601 time nor epoch seconds")


def compiled(key: str, expression: str) -> "ParsedResult":
    """Return a JMESPath expression ready for use; ``ValueError`` names the setting."""
    import jmespath  # noqa: PLC0415 - for mapped sources only

    try:
        return jmespath.compile(expression)
    except ValueError as error:  # every JMESPath error is one
        raise ValueError(f"{key}: {expression!r} is no JMESPath expression: {error}") from error


def over_both_hours(gusts: Floats) -> Floats:
    """Return for each hour the larger of the gust stamped at its start and at its end.

    Feeds stamp the highest gust of the hour that *ends* at the time, while a value of
    ``WeatherSeries`` stands for the hour that begins there; the larger is right for either. NaN
    where one of the two is unknown, so always in the last hour. One that cannot be, as it is below
    0, is not hidden by the other.
    """
    following = np.append(gusts[1:], np.nan)
    lower = np.minimum(gusts, following)
    larger: Floats = np.where(lower < 0, lower, np.maximum(gusts, following))
    return larger


def hour_earlier(sums: Floats) -> Floats:
    """Return what is stamped at the end of an hour at its start; the last hour is unknown."""
    return np.append(sums[1:], np.nan)


def check_current(series: WeatherSeries, *, issued_at: int, max_age_s: int, now: int) -> None:
    """Raise ``SourceError`` unless the forecast reaches beyond now and is not issued too long ago.

    Copies days old have been served with status 200: only what is in the body tells.
    """
    hours = (now - issued_at) / HOUR_S
    if not len(series) or series.times[-1] + HOUR_S <= now:
        raise SourceError(
            f"{series.source} sent a forecast that is over already (issued {hours:.1f} h ago); "
            "it is asked again at the next poll"
        )
    if hours * HOUR_S > max_age_s or hours * HOUR_S < -CLOCKS_APART_S:
        raise SourceError(
            f"{series.source} sent a forecast issued {hours:.1f} h ago; it is asked again at the "
            "next poll; if the age is negative, check this machine's clock"
        )
