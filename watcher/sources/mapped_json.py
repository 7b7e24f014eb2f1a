"""Any URL that answers with JSON, mapped to weather by JMESPath expressions (https://jmespath.org).

A JMESPath projection such as ``hours[].wind`` leaves nulls out; ``map(&wind, hours)`` keeps them
in their places. Values that came out fewer than the times are an error, never moved up.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal
from urllib.parse import urlsplit

import numpy as np
from jmespath.parser import ParsedResult

from watcher.sources.base import Forecast, Observations, Polled, SourceError
from watcher.sources.feed_body import (
    HOUR_S,
    check_current,
    compiled,
    in_si,
    moment,
    numbers,
    readable,
)
from watcher.sources.http import Answer, FeedClient
from watcher.sources.quality import future_flags
from watcher.weather.quantities import InUnit, in_unit
from watcher.weather.series import Site, WeatherSeries

MAX_AGE_S = 24 * HOUR_S
"""A forecast issued, or a newest observation made, earlier is an error (no source)."""


@dataclass(frozen=True)
class _Mapped:
    measure: InUnit
    at: ParsedResult

    @classmethod
    def of(cls, key: str, at: str, unit: str) -> "_Mapped":
        return cls(in_unit(key, unit), compiled(f"quantities.{key}.at", at))


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
        self._times = compiled("times", times)
        self._issued = None if issued is None else compiled("issued", issued)
        self._quantities = [_Mapped.of(key, *told) for key, told in quantities.items()]

    async def poll(self, now: int) -> Polled:
        """Return what the mapping finds. Raises ``SourceError``."""
        answer = await self._client.get(self._url, now=now)
        with readable(answer.url):
            series = self._series(answer.data)
            issued_at = answer.fetched_at
            if self._issued is not None:
                issued_at = moment(self._issued.search(answer.data))
        if self._gives == "forecast":
            check_current(series, issued_at=issued_at, max_age_s=MAX_AGE_S, now=now)
            forecast = Forecast(series, issued_at, answer.fetched_at, self.attribution)
            return Polled(forecast=forecast)
        return Polled(observations=self._observed(series, answer, now))

    def _series(self, body: object) -> WeatherSeries:
        times = np.array([moment(time) for time in _listed(self._times.search(body))], np.int64)
        order = np.argsort(times, kind="stable")
        found = {}
        for mapped in self._quantities:
            quantity, unit = mapped.measure.quantity, mapped.measure.unit
            told = _listed(mapped.at.search(body))
            if len(told) != times.size:
                raise ValueError(
                    f"{quantity.name} has {len(told)} values for {times.size} times "
                    '(a projection leaves nulls out; "map(&value, list)" keeps them)'
                )
            values = numbers(told, quantity.name)[order]
            found[quantity.series] = in_si(values, unit, quantity.kind, {})
        return WeatherSeries.of(times[order], self._site, self.name, found)

    def _observed(self, series: WeatherSeries, answer: Answer, now: int) -> Observations:
        if not len(series) or now - series.times[-1] > MAX_AGE_S:
            raise SourceError(
                f"{answer.url} holds no observation of the last {MAX_AGE_S / HOUR_S:.0f} h; "
                "check the station"
            )
        names = [mapped.measure.quantity.series for mapped in self._quantities]
        return Observations(series, future_flags(series.times, names, now))


def _listed(found: Any) -> Sequence[object]:
    return found if isinstance(found, list) else [found]
