"""Any URL that answers with JSON, mapped to weather by JMESPath expressions (https://jmespath.org).

A JMESPath projection such as ``hours[].wind`` leaves nulls out; ``map(&wind, hours)`` keeps them
in their places. Values that came out fewer than the times are an error, never moved up.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal
from urllib.parse import urlsplit

import numpy as np

from watcher.sources.base import Forecast, Observations, Polled, SourceError
from watcher.sources.feeds.body import HOUR_S, check_current, compiled, in_si, moment, numbers
from watcher.sources.http import FeedClient
from watcher.sources.quality.check import future_flags
from watcher.weather.quantities import InUnit, in_unit
from watcher.weather.series import Site, WeatherSeries

if TYPE_CHECKING:
    from jmespath.parser import ParsedResult

MAX_AGE_S = 24 * HOUR_S
"""A forecast issued, or a newest observation made, earlier is an error (no source)."""


@dataclass(frozen=True)
class _Mapped:
    measure: InUnit
    at: "ParsedResult"

    @classmethod
    def of(cls, key: str, at: str, unit: str) -> "_Mapped":
        return cls(in_unit(key, unit), compiled(f"quantities.{key}.at", at))


@dataclass(frozen=True)
class JsonMapping:
    """Where a feed's JSON holds what; all of it can be sent to the process that reads bodies."""

    source: str
    site: Site
    times: "ParsedResult"
    issued: "ParsedResult | None"
    quantities: Sequence[_Mapped]

    @classmethod
    def of(
        cls,
        *,
        source: str,
        site: Site,
        times: str,
        issued: str | None,
        quantities: Mapping[str, tuple[str, str]],
    ) -> "JsonMapping":
        """Build it from expressions; ``ValueError`` names the setting that cannot be."""
        return cls(
            source=source,
            site=site,
            times=compiled("times", times),
            issued=None if issued is None else compiled("issued", issued),
            quantities=tuple(_Mapped.of(key, *mapped) for key, mapped in quantities.items()),
        )

    def read(self, body: object) -> tuple[int | None, WeatherSeries]:
        """Return the time of issue, if it is given, and the series; ``ValueError``."""
        times = np.array([moment(time) for time in _listed(self.times.search(body))], np.int64)
        order = np.argsort(times, kind="stable")
        found = {}
        for mapped in self.quantities:
            quantity, unit = mapped.measure.quantity, mapped.measure.unit
            listed = _listed(mapped.at.search(body))
            if len(listed) != times.size:
                raise ValueError(
                    f"{quantity.name} has {len(listed)} values for {times.size} times "
                    '(a projection leaves nulls out; "map(&value, list)" keeps them)'
                )
            values = numbers(listed, quantity.name)[order]
            found[quantity.column] = in_si(values, unit, quantity.kind, {})
        series = WeatherSeries.of(times[order], self.site, self.source, found)
        return None if self.issued is None else moment(self.issued.search(body)), series


class MappedJsonFeed:
    """A feed described by expressions. ``quantities`` maps a name to (expression, unit).

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
        self._mapping = JsonMapping.of(
            source=name, site=site, times=times, issued=issued, quantities=quantities
        )

    async def poll(self, now: int) -> Polled:
        """Return what the mapping finds. Raises ``SourceError``."""
        answer = await self._client.get(self._url, read=self._mapping.read, now=now)
        issued_at, series = answer.data
        if self._gives == "forecast":
            issued_at = answer.fetched_at if issued_at is None else issued_at
            check_current(series, issued_at=issued_at, max_age_s=MAX_AGE_S, now=now)
            run_at = answer.data[0]
            at = answer.fetched_at
            forecast = Forecast(series, issued_at, at, self.attribution, run_at=run_at)
            return Polled(forecast=forecast)
        return Polled(observations=self._observed(series, answer.url, now))

    def _observed(self, series: WeatherSeries, url: str, now: int) -> Observations:
        if not len(series) or now - series.times[-1] > MAX_AGE_S:
            raise SourceError(
                f"{url} holds no observation of the last {MAX_AGE_S / HOUR_S:.0f} h; "
                "check the station"
            )
        names = [mapped.measure.quantity.column for mapped in self._mapping.quantities]
        return Observations(series, future_flags(series.times, names, now))


def _listed(found: Any) -> Sequence[object]:
    return found if isinstance(found, list) else [found]
