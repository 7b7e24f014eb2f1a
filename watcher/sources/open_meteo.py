"""Open-Meteo: hourly forecast of one place (https://open-meteo.com/en/docs).

The free service is for non-commercial use; a farm business needs a key, or a server of its own.
"""

from collections.abc import Mapping
from datetime import UTC, datetime

import numpy as np

from watcher.sources.base import Forecast, Polled, SourceError
from watcher.sources.feed_body import (
    HOUR_S,
    check_current,
    hour_earlier,
    in_si,
    numbers,
    over_both_hours,
    readable,
)
from watcher.sources.http import Answer, FeedClient
from watcher.sources.json_text import Body, first_text, fit
from watcher.units import Kind
from watcher.weather.series import Floats, Seconds, Site, WeatherSeries, epoch

ATTRIBUTION = (
    "Weather data by Open-Meteo.com (https://open-meteo.com/), CC BY 4.0 "
    "(https://creativecommons.org/licenses/by/4.0/); units and times changed"
)
BASE_URL = "https://api.open-meteo.com/v1"
PAST_H, AHEAD_H = 24, 84
STALE_S = 6 * HOUR_S
"""How far behind the hours asked for an answer may begin (common practice, no source)."""
MAX_APART_DEG = 1.0
"""An answer's grid cell lies within this of the place asked for (coarsest grids: 0.4°)."""

_INSTANT = {
    "wind_m_s": ("wind_speed_10m", Kind.SPEED),
    "wind_from_deg": ("wind_direction_10m", Kind.ANGLE),
    "temp_c": ("temperature_2m", Kind.TEMPERATURE),
    "humidity_pct": ("relative_humidity_2m", Kind.PERCENT),
    "dew_point_c": ("dew_point_2m", Kind.TEMPERATURE),
    "pressure_pa": ("surface_pressure", Kind.PRESSURE),
    "cloud_pct": ("cloud_cover", Kind.PERCENT),
}
_OF_PRECEDING_HOUR = {
    "gust_m_s": ("wind_gusts_10m", Kind.SPEED),
    "rain_mm_h": ("precipitation", Kind.RAIN_RATE),
    "rain_chance_pct": ("precipitation_probability", Kind.PERCENT),
    "solar_w_m2": ("shortwave_radiation", Kind.IRRADIANCE),
}
_VARIABLES = _INSTANT | _OF_PRECEDING_HOUR
# A sum over one hour is a rate per hour.
_SPELLINGS = {"mp/h": "mph", "kn": "knot", "mm": "mm/h", "inch": "in/h", "W/m²": "W/m**2"}


class _Place(Body):
    latitude: float
    longitude: float
    elevation: float
    utc_offset_seconds: int
    hourly: dict[str, list[object]]
    hourly_units: dict[str, str]


class OpenMeteo:
    """The forecast for a place. ``elevation_m`` is the place's own, for downscaling."""

    attribution = ATTRIBUTION

    def __init__(
        self,
        *,
        name: str,
        client: FeedClient,
        latitude: float,
        longitude: float,
        elevation_m: float | None = None,
        every_s: float = 1800.0,
        base_url: str = BASE_URL,
        api_key: str | None = None,
    ) -> None:
        self.name = name
        self.every_s = every_s
        self._client = client
        self._place = latitude, longitude
        self._url = f"{base_url.rstrip('/')}/forecast"
        self._params = {
            "latitude": str(round(latitude, 4)),
            "longitude": str(round(longitude, 4)),
            "hourly": ",".join(variable for variable, _ in _VARIABLES.values()),
            "past_hours": str(PAST_H),
            "forecast_hours": str(AHEAD_H),
            "wind_speed_unit": "ms",
            # Any other zone comes with one offset for the whole series, wrong across a DST change.
            "timezone": "GMT",
        }
        if elevation_m is not None:
            self._params["elevation"] = f"{elevation_m:.0f}"
        if api_key is not None:
            self._params["apikey"] = api_key

    async def poll(self, now: int) -> Polled:
        """Return the forecast. Raises ``SourceError``.

        The feed does not tell when its models ran: the forecast counts as issued when it was
        fetched, and an answer whose hours begin too long ago is an error.
        """
        answer = await self._client.get(self._url, now=now, params=self._params)
        series = self._series(answer)
        late_s = now // HOUR_S * HOUR_S - PAST_H * HOUR_S - int(series.times[0])
        if late_s > STALE_S:
            raise SourceError(
                f"{answer.url} answered with hours that begin {late_s / HOUR_S:.0f} h before those "
                "asked for, an old copy; it is asked again at the next poll"
            )
        check_current(series, issued_at=answer.fetched_at, max_age_s=STALE_S, now=now)
        return Polled(
            forecast=Forecast(series, answer.fetched_at, answer.fetched_at, self.attribution)
        )

    def _series(self, answer: Answer) -> WeatherSeries:
        with readable(answer.url):
            return series_of(answer.data, source=self.name, place=self._place)


def series_of(body: object, *, source: str, place: tuple[float, float]) -> WeatherSeries:
    """Return the hourly series of a body; ``ValueError`` for one that is not as documented.

    What the feed gives for the preceding hour is moved to the hour's start: rain, its chance and
    radiation; a gust becomes the larger of both hours. The last hour only completes the one
    before it and is left out.
    """
    if isinstance(body, list) and len(body) == 1:  # as several places would be
        body = body[0]
    if reason := first_text(body, ["reason"]):
        raise ValueError(f"it says {reason[:200]!a}")
    told = fit(_Place, body)
    if told.utc_offset_seconds != 0:
        raise ValueError(f"its times are {told.utc_offset_seconds} s off UTC")
    east = (told.longitude - place[1] + 180.0) % 360.0 - 180.0
    if max(abs(told.latitude - place[0]), abs(east)) > MAX_APART_DEG:
        raise ValueError(f"it is for {told.latitude}, {told.longitude}, not {place}")
    times = _times(told.hourly)
    series = WeatherSeries.of(
        times,
        Site(told.latitude, told.longitude, told.elevation),
        source,
        _quantities(told.hourly, told.hourly_units),
    )
    if len(series) < 2:
        raise ValueError("hourly holds less than two hours")
    return series.at(slice(None, -1))


def _times(hourly: Mapping[str, list[object]]) -> Seconds:
    texts = hourly.get("time", [])
    if not texts or not all(isinstance(text, str) for text in texts):
        raise ValueError("hourly.time is missing or not a list of times")
    moments = [datetime.strptime(str(text), "%Y-%m-%dT%H:%M").replace(tzinfo=UTC) for text in texts]
    times = np.array([epoch(moment) for moment in moments], dtype=np.int64)
    if np.any(np.diff(times) != HOUR_S):
        raise ValueError("hourly.time does not go hour by hour")
    return times


def _quantities(hourly: Mapping[str, list[object]], units: Mapping[str, str]) -> dict[str, Floats]:
    suffix = _suffix(hourly)
    found = {}
    for name, (variable, kind) in _VARIABLES.items():
        key = variable + suffix
        if key not in hourly:
            continue
        values = in_si(numbers(hourly[key], key), units.get(key), kind, _SPELLINGS)
        if name == "gust_m_s":
            values = over_both_hours(values)
        elif name in _OF_PRECEDING_HOUR:
            values = hour_earlier(values)
        found[name] = values
    return found


def _suffix(hourly: Mapping[str, list[object]]) -> str:
    """Return what the feed appends to every variable: the model's name, or nothing."""
    wind = _INSTANT["wind_m_s"][0]
    keys = [key for key in hourly if key == wind or key.startswith(f"{wind}_")]
    if len(keys) != 1:
        raise ValueError(f"hourly holds {len(keys)} of {wind}; it must be one model's")
    return keys[0].removeprefix(wind)
