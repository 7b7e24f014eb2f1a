"""The US National Weather Service, api.weather.gov: grid forecast, and a station's observations
(https://www.weather.gov/documentation/services-web-api).
"""

from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass
from functools import partial
from math import isfinite, nan
from typing import TypeVar
from urllib.parse import quote

import structlog

from watcher.sources.base import Forecast, GivenValues, Observations, Polled, SourceError
from watcher.sources.body_reader import BrokenReadError
from watcher.sources.feeds.body import HOUR_S, check_current
from watcher.sources.feeds.nws_bodies import grid_as_given, grid_forecast, station_observations
from watcher.sources.http import Answer, FeedClient, StatusError
from watcher.sources.json_text import Body, fit
from watcher.weather.series import WeatherSeries

ATTRIBUTION = (
    "Data from the US National Weather Service (https://www.weather.gov/), in the public domain; "
    "units changed"
)
BASE_URL = "https://api.weather.gov"
ACCEPT = "application/geo+json"
MAX_AGE_S = 24 * HOUR_S
"""A forecast issued earlier is an old copy (common practice, no source)."""
OLDEST_REPORT_S = 6 * HOUR_S
"""Reports come up to four hours late on bad days; older ones are of no use (no source)."""
REPORTS = 12
"""Reports asked for: an hour of five-minute ones, whose gaps fill each other."""
RESOLVED_FOR_S = 24 * HOUR_S
"""Offices renumber their grids without notice: the cell of a place is looked up daily."""

T = TypeVar("T")

_Grid = tuple[int, WeatherSeries, tuple[GivenValues, ...]]

_log = structlog.get_logger(__name__)


class _Cell(Body):
    gridId: str  # noqa: N815 - the feed's spelling
    gridX: int  # noqa: N815
    gridY: int  # noqa: N815


class _PointBody(Body):
    properties: _Cell


@dataclass(frozen=True)
class _Resolved:
    path: str
    at: int


class UsWeatherServiceFeed:
    """Forecast for a place, and observations of ``station`` (such as ``"KOMA"``) when one is named.

    ``elevation_m`` stands in where the feed has none; unknown without. ``station_wind_height_m``
    is the height of the station's wind sensor: 10 m at airports, other networks differ.
    """

    attribution = ATTRIBUTION

    def __init__(
        self,
        *,
        name: str,
        client: FeedClient,
        latitude: float,
        longitude: float,
        elevation_m: float | None = None,
        station: str | None = None,
        station_wind_height_m: float = 10.0,
        every_s: float = 900.0,
        base_url: str = BASE_URL,
    ) -> None:
        self.name = name
        self.every_s = every_s
        self._client = client
        # Zeros at the end and more than four decimals are answered with a redirect or an error.
        self._place = round(latitude, 4), round(longitude, 4)
        self._elevation_m = nan if elevation_m is None else elevation_m
        self._station = station
        self._wind_height_m = station_wind_height_m
        self._base_url = base_url.rstrip("/")
        self._cell: _Resolved | None = None

    async def poll(self, now: int) -> Polled:
        """Return forecast and observations. Raises ``SourceError`` when there is neither.

        If only one of them fails, the other is returned and the failure logged; what is missing
        grows old and is then unknown.
        """
        failures: list[SourceError] = []
        forecast = await self._tried(self._forecast, now, failures)
        observations = None
        if self._station is not None:
            observations = await self._tried(self._observations, now, failures)
        if forecast is None and observations is None:
            broken = any(isinstance(failure, BrokenReadError) for failure in failures)
            raise (BrokenReadError if broken else SourceError)("; ".join(map(str, failures)))
        for failure in failures:
            _log.warning("half of a source failed", source=self.name, why=str(failure))
        return Polled(observations=observations, forecast=forecast)

    async def _tried(
        self, ask: Callable[[int], Awaitable[T]], now: int, failures: list[SourceError]
    ) -> T | None:
        try:
            return await ask(now)
        except SourceError as error:
            failures.append(error)
            return None

    async def _forecast(self, now: int) -> Forecast:
        answer = await self._grid(now)
        issued_at, series, given = answer.data
        if isfinite(series.site.elevation_m):  # for bodies that leave it out
            self._elevation_m = series.site.elevation_m
        check_current(series, issued_at=issued_at, max_age_s=MAX_AGE_S, now=now)
        at = answer.fetched_at
        return Forecast(series, issued_at, at, self.attribution, run_at=issued_at, given=given)

    async def _grid(self, now: int) -> Answer[_Grid]:
        """Return what the cell's body holds; when the cell is gone, that of the place's new one."""
        read = partial(
            _read_grid,
            source=self.name,
            place=self._place,
            elevation_m=self._elevation_m,
            now=now,
        )
        if self._cell is None or now - self._cell.at >= RESOLVED_FOR_S:
            self._cell = await self._resolve(now)
        try:
            return await self._get(self._cell.path, read, now)
        except StatusError as error:
            if error.status != 404:
                raise
            self._cell = await self._resolve(now)
            return await self._get(self._cell.path, read, now)

    async def _resolve(self, now: int) -> _Resolved:
        latitude, longitude = self._place
        path = f"points/{latitude},{longitude}"
        answer = await self._get(path, partial(fit, _PointBody), now, recheck=True)
        cell = answer.data.properties
        path = f"gridpoints/{quote(cell.gridId, safe='')}/{cell.gridX},{cell.gridY}"
        if self._cell is not None and path != self._cell.path:
            _log.warning("the place has a new grid cell", source=self.name, cell=path)
        return _Resolved(path, now)

    async def _observations(self, now: int) -> Observations:
        station = quote(self._station or "", safe="")
        path = f"stations/{station}/observations"
        read = partial(
            station_observations,
            source=self.name,
            place=self._place,
            elevation_m=self._elevation_m,
            wind_height_m=self._wind_height_m,
            oldest=now - OLDEST_REPORT_S,
            now=now,
        )
        answer = await self._get(path, read, now, params={"limit": str(REPORTS)})
        if not len(answer.data.series):
            raise SourceError(
                f"{answer.url} holds no report of the last {OLDEST_REPORT_S / HOUR_S:.0f} h; "
                "if this goes on, name another station"
            )
        return answer.data

    async def _get(
        self,
        path: str,
        read: Callable[[object], T],
        now: int,
        *,
        params: Mapping[str, str] | None = None,
        recheck: bool = False,
    ) -> Answer[T]:
        url = f"{self._base_url}/{path}"
        return await self._client.get(
            url, read=read, now=now, params=params, accept=ACCEPT, recheck=recheck
        )


def _read_grid(
    body: object, *, source: str, place: tuple[float, float], elevation_m: float, now: int
) -> _Grid:
    issued_at, series = grid_forecast(
        body, source=source, place=place, elevation_m=elevation_m, now=now
    )
    return issued_at, series, grid_as_given(body)
