"""Datastreams of an OGC SensorThings API service (version 1.1, OGC 18-088).

A unit is free text there: one that is not known is refused, and so is one given that contradicts
what the datastream declares. An observation of an interval stands at the interval's end.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from functools import partial
from urllib.parse import quote

import httpx
import structlog

from watcher.sources.base import Polled, SourceError
from watcher.sources.feeds.body import utc_epoch
from watcher.sources.http import FeedClient
from watcher.sources.json_text import Body, finite, first_text, fit
from watcher.sources.stations.rows import Rows, believed, number, observations
from watcher.sources.whole_bodies import origin_of
from watcher.weather.quantities import BY_NAME, InUnit, in_unit
from watcher.weather.series import Site

log = structlog.get_logger(__name__)

FIRST_S = 24 * 3600
"""How far back is asked at first (no source)."""
OVERLAP_S = 3600
"""How far back is asked again each time, for what comes late and for intervals (no source)."""
PAGE = 500
MOST_PAGES = 10
"""The rest comes with the next poll."""
MOST_OBSERVATIONS = 10 * PAGE
"""A page of more is refused: services may give other pages than asked for, not any (no source)."""
LONGEST_LINK = 4096

_SPELLINGS = {
    "[kn_i]": "kn",
    "[mi_i]/h": "mph",
    "[degF]": "degF",
    "m.s-1": "m/s",
    "m s-1": "m/s",
    "W.m-2": "W/m2",
    "W m-2": "W/m2",
    "Centigrade": "degC",
    "Degree Celsius": "degC",
    "Degree Fahrenheit": "degF",
    "DegreeCelsius": "degC",
    "DegreeFahrenheit": "degF",
}
"""Codes of UCUM and names of QUDT as ``watcher.units`` writes them (from memory)."""


class _Unit(Body):
    name: str | None = None
    symbol: str | None = None
    definition: str | None = None

    def spellings(self) -> list[str]:
        """Return how the unit may be meant, the likeliest first; a definition is often wrong."""
        texts = [self.symbol, self.name, (self.definition or "").rpartition("ucum:")[2]]
        return [_SPELLINGS.get(text, text) for text in texts if text]


class _Datastream(Body):
    unitOfMeasurement: _Unit | None = None  # noqa: N815 - as the standard writes it


class _Observation(Body):
    phenomenonTime: str  # noqa: N815 - as the standard writes it
    result: object = None


class _Page(Body):
    value: list[_Observation]


@dataclass(frozen=True)
class Datastream:
    """A datastream by its @iot.id, and the unit given for its results, if one was."""

    id: int | str
    unit: str | None = None

    @property
    def path(self) -> str:
        """Its place below the service's root (OData 4.01 part 2, 4.3.1)."""
        if isinstance(self.id, int):
            return f"Datastreams({self.id})"
        doubled = self.id.replace("'", "''")
        return f"Datastreams('{quote(doubled, safe='')}')"

    def measure(self, name: str, declared: _Unit) -> InUnit:
        """Return the quantity ``name`` in the stream's unit; ``ValueError`` if that is unsure."""
        fitting = [unit for unit in declared.spellings() if _fits(name, unit)]
        if self.unit is None:
            if not fitting:
                known = " or ".join(dict.fromkeys(BY_NAME[name].kind.shown.values()))
                raise ValueError(
                    f"{self.path} declares the unit {declared.spellings()}, which is none known of "
                    f"{name}; tell its unit, such as {known}"
                )
            return in_unit(name, fitting[0])
        kind = BY_NAME[name].kind
        if fitting and kind.scale(fitting[0]) != kind.scale(self.unit):
            raise ValueError(
                f"{self.path} declares {fitting[0]!r}, and {self.unit!r} is given; correct one"
            )
        return in_unit(name, self.unit)


def _fits(name: str, unit: str) -> bool:
    try:
        BY_NAME[name].kind.scale(unit)
    except ValueError:
        return False
    return True


class SensorthingsSource:
    """Some datastreams of the service at ``url``, by the quantity each of them gives."""

    attribution = ""

    def __init__(
        self,
        *,
        name: str,
        client: FeedClient,
        url: str,
        datastreams: Mapping[str, Datastream],
        every_s: float,
        site: Site,
        clock_ahead_s: float = 0.0,
    ) -> None:
        self.name = name
        self.every_s = every_s
        self._client = client
        self._url = url.rstrip("/")
        self._datastreams = datastreams
        self._site = site
        self._clock_ahead_s = clock_ahead_s
        self._measures: dict[str, InUnit] = {}
        self._newest: dict[str, int] = {}

    async def poll(self, now: int) -> Polled:
        """Return what was observed since the last poll. Raises ``SourceError``."""
        rows: Rows = {}
        newest = {}
        for name, stream in self._datastreams.items():
            measure = await self._measure(name, stream, now)
            since = self._newest.get(name, now - FIRST_S + OVERLAP_S) - OVERLAP_S
            found = await self._observed(name, stream, since, now)
            for time, value in found.items():
                row = rows.setdefault(time, {})
                row[measure.quantity.column] = measure.si(value)
            # Not from ahead: what comes at its time must still be asked for.
            newest[name] = min(now, max(found, default=since + OVERLAP_S))
        self._newest |= newest
        if not rows:
            return Polled.nothing_new()
        return Polled(observations(rows, now=now, site=self._site, source=self.name))

    async def _measure(self, name: str, stream: Datastream, now: int) -> InUnit:
        if name not in self._measures:
            read = partial(_measured_in, url=self._url, name=name, stream=stream)
            answer = await self._client.get(f"{self._url}/{stream.path}", read=read, now=now)
            self._measures[name] = answer.data
        return self._measures[name]

    async def _observed(
        self, name: str, stream: Datastream, since: int, now: int
    ) -> dict[int, float]:
        """Return the values of a stream after a time (true, not the station's clock's)."""
        by_its_clock = datetime.fromtimestamp(since + self._clock_ahead_s, UTC)
        url: str | None = f"{self._url}/{stream.path}/Observations"
        params = {
            "$filter": f"phenomenonTime gt {by_its_clock:%Y-%m-%dT%H:%M:%SZ}",
            "$orderby": "phenomenonTime asc",
            "$top": str(PAGE),
            "$select": "phenomenonTime,result",
        }
        read = partial(
            _page_of, at_start=name == "rain", clock_ahead_s=self._clock_ahead_s, now=now
        )
        found: dict[int, float] = {}
        wrong, first_wrong = 0, ""
        for _ in range(MOST_PAGES):
            if url is None:
                break
            answer = await self._client.get(url, read=read, now=now, params=params, recheck=True)
            page = answer.data
            found |= page.found
            wrong, first_wrong = wrong + page.wrong, first_wrong or page.first_wrong
            url, params = self._next(url, page.link), {}
        self._tell(stream, found, wrong, first_wrong)
        return found

    def _tell(
        self, stream: Datastream, found: Mapping[int, float], wrong: int, first_wrong: str
    ) -> None:
        if wrong and not found:
            raise SourceError(
                f"{self._url}/{stream.path}: nothing can be read, the first: {first_wrong}; check "
                "that this is the datastream meant"
            )
        if wrong:
            log.warning("passed over", source=self.name, count=wrong, first=first_wrong)

    def _next(self, url: str, link: str) -> str | None:
        """Return the address of the next page; the service may not send us elsewhere."""
        if not link:
            return None
        try:
            following = httpx.URL(url).join(link)
        except httpx.InvalidURL as error:
            raise SourceError(f"{self._url} sends on to no address: {error}") from error
        if origin_of(following) != origin_of(httpx.URL(self._url)):
            raise SourceError(
                f"{self._url} sends on to {following.host}; let it be set to the address it has"
            )
        return str(following)


def _measured_in(body: object, *, url: str, name: str, stream: Datastream) -> InUnit:
    """Return the quantity ``name`` in the unit of a datastream's body."""
    declared = fit(_Datastream, body).unitOfMeasurement or _Unit()
    try:
        return stream.measure(name, declared)
    except ValueError as error:
        raise SourceError(f"{url}: {error}") from error


@dataclass
class _Found:
    """What a page of observations holds: values by their true time, and what cannot be read."""

    link: str
    found: dict[int, float] = field(default_factory=dict)
    wrong: int = 0
    first_wrong: str = ""


def _page_of(body: object, *, at_start: bool, clock_ahead_s: float, now: int) -> _Found:
    """Return what a page holds; ``at_start``: an observation stands at its interval's start."""
    observed = fit(_Page, body).value
    if len(observed) > MOST_OBSERVATIONS:
        raise ValueError(f"it holds {len(observed)} observations; {PAGE} were asked for")
    page = _Found(first_text(body, ["@iot.nextLink"])[:LONGEST_LINK])
    for observation in observed:
        try:
            time = _time(observation.phenomenonTime, at_start=at_start)
            true_time = believed("its time", time - clock_ahead_s, now)
            value = _value(observation.result)
        except ValueError as error:
            page.wrong += 1
            page.first_wrong = page.first_wrong or f"{observation.phenomenonTime[:60]}: {error}"
        else:
            if value is not None:
                page.found[true_time] = value
    return page


def _time(interval: str, *, at_start: bool) -> int:
    """Return an instant, or where an observation of an interval ("start/end") stands."""
    start, _, end = interval.partition("/")
    return utc_epoch(start if at_start or not end else end)


def _value(result: object) -> float | None:
    """Return a result as a number, None for one that is missing; ``ValueError`` for others."""
    if result is None:
        return None
    value = number(result.strip()) if isinstance(result, str) else finite(result)
    if value is None:
        raise ValueError(f"{result!r:.40} is no number")
    return value
