"""Any URL that answers with JSON, mapped to weather by JMESPath expressions (https://jmespath.org).

A JMESPath projection such as ``hours[].wind`` leaves nulls out; ``map(&wind, hours)`` keeps them
in their places. Values that came out fewer than the times are an error, never moved up.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, Literal
from urllib.parse import urlsplit

import jmespath
import numpy as np
from jmespath.parser import ParsedResult

from watcher.sources.base import Forecast, Observations, Polled, SourceError
from watcher.sources.feed_body import HOUR_S, check_current, in_si, numbers, readable, utc_epoch
from watcher.sources.http import Answer, FeedClient
from watcher.sources.json_text import finite
from watcher.sources.quality import future_flags
from watcher.units import convert
from watcher.weather.quantities import BY_NAME, Quantity
from watcher.weather.series import Site, WeatherSeries

MAX_AGE_S = 24 * HOUR_S
"""A forecast issued, or a newest observation made, earlier is an error (no source)."""
EPOCHS = (
    int(datetime(2000, 1, 1, tzinfo=UTC).timestamp()),
    int(datetime(2100, 1, 1, tzinfo=UTC).timestamp()),
)
"""A number outside is no time in seconds; in milliseconds, most likely."""


@dataclass(frozen=True)
class _Mapped:
    quantity: Quantity
    at: ParsedResult
    unit: str


class MappedJson:
    """A feed told by expressions. ``quantities`` maps a name to (expression, unit).

    ``times`` and every quantity yield lists of the same length, or one value each. Times are
    ISO 8601 with an offset, or epoch seconds. A quantity stands from its time on; a gust is the
    highest of the period that ends there, rain is the rate of the period that starts there.
    ``ValueError`` at construction names the setting that cannot be.
    """

    def __init__(
        self,
        *,
        name: str,
        client: FeedClient,
        url: str,
        gives: Literal["observations", "forecast"],
        times: str,
        quantities: Mapping[str, tuple[str, str]],
        site: Site,
        every_s: float,
        issued: str | None = None,
        attribution: str | None = None,
    ) -> None:
        self.name = name
        self.every_s = every_s
        self.attribution = attribution or f"Data from {urlsplit(url).hostname or name}"
        self._client = client
        self._url = url
        self._gives = gives
        self._site = site
        self._times = _compiled("times", times)
        self._issued = None if issued is None else _compiled("issued", issued)
        self._quantities = [_mapped(key, *told) for key, told in quantities.items()]

    async def poll(self, now: int) -> Polled:
        """Return what the mapping finds. Raises ``SourceError``."""
        answer = await self._client.get(self._url, now=now)
        with readable(answer.url):
            series = self._series(answer.data)
            issued_at = answer.fetched_at
            if self._issued is not None:
                issued_at = _epoch(self._issued.search(answer.data))
        if self._gives == "forecast":
            check_current(series, issued_at=issued_at, max_age_s=MAX_AGE_S, now=now)
            forecast = Forecast(series, issued_at, answer.fetched_at, self.attribution)
            return Polled(forecast=forecast)
        return Polled(observations=self._observed(series, answer, now))

    def _series(self, body: object) -> WeatherSeries:
        times = np.array([_epoch(time) for time in _listed(self._times.search(body))], np.int64)
        order = np.argsort(times, kind="stable")
        found = {}
        for mapped in self._quantities:
            told = _listed(mapped.at.search(body))
            if len(told) != times.size:
                raise ValueError(
                    f"{mapped.quantity.name} has {len(told)} values for {times.size} times "
                    '(a projection leaves nulls out; "map(&value, list)" keeps them)'
                )
            values = numbers(told, mapped.quantity.name)[order]
            kind = mapped.quantity.kind
            found[mapped.quantity.series] = in_si(values, mapped.unit, kind, {})
        return WeatherSeries.of(times[order], self._site, self.name, found)

    def _observed(self, series: WeatherSeries, answer: Answer, now: int) -> Observations:
        if not len(series) or now - series.times[-1] > MAX_AGE_S:
            raise SourceError(
                f"{answer.url} holds no observation of the last {MAX_AGE_S / HOUR_S:.0f} h; "
                "check the station"
            )
        names = [mapped.quantity.series for mapped in self._quantities]
        return Observations(series, future_flags(series.times, names, now))


def _compiled(key: str, expression: str) -> ParsedResult:
    try:
        return jmespath.compile(expression)
    except ValueError as error:  # every JMESPath error is one
        raise ValueError(f"{key}: {expression!r} is no JMESPath expression: {error}") from error


def _mapped(key: str, at: str, unit: str) -> _Mapped:
    if key not in BY_NAME:
        raise ValueError(f"quantities.{key} is not known; use {', '.join(BY_NAME)}")
    quantity = BY_NAME[key]
    try:
        convert(0.0, unit, quantity.kind)
    except ValueError as error:
        raise ValueError(f"quantities.{key}.unit: {error}") from error
    return _Mapped(quantity, _compiled(f"quantities.{key}.at", at), unit)


def _listed(found: Any) -> Sequence[object]:
    return found if isinstance(found, list) else [found]


def _epoch(time: object) -> int:
    if isinstance(time, str):
        return utc_epoch(time)
    seconds = finite(time)
    if seconds is None or not EPOCHS[0] <= seconds < EPOCHS[1]:
        raise ValueError(f"{time!r:.40} is neither an ISO 8601 time nor epoch seconds")
    return int(seconds)
