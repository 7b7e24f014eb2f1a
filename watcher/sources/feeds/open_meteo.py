"""Open-Meteo: hourly forecast of one place (https://open-meteo.com/en/docs).

The free service is for non-commercial use; a farm business needs a key, or a server of its own.
"""

from collections.abc import Mapping
from datetime import UTC, datetime
from functools import partial

import numpy as np

from watcher.sources.base import Forecast, GivenValues, Polled, SourceError, Statistic
from watcher.sources.feeds.body import (
    HOUR_S,
    check_current,
    hour_earlier,
    in_si,
    numbers,
    over_both_hours,
)
from watcher.sources.http import FeedClient
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
_STATISTICS: dict[str, Statistic] = {
    "gust_m_s": "maximum",
    "rain_mm_h": "sum",  # of one hour, so that its rate is the same number
    "rain_chance_pct": "probability",
    "solar_w_m2": "mean",
}
_VARIABLES = _INSTANT | _OF_PRECEDING_HOUR
_SOIL = {"soil_temperature_6cm": 2 / 3, "soil_temperature_18cm": 1 / 3}
"""What is read at 10 cm of the depths there are: along a straight line between the two. Common
practice, no source; models without these depths leave the soil unknown."""
# A sum over one hour is a rate per hour.
_SPELLINGS = {"mp/h": "mph", "kn": "knot", "mm": "mm/h", "inch": "in/h", "W/m²": "W/m**2"}


class _Place(Body):
    latitude: float
    longitude: float
    elevation: float
    utc_offset_seconds: int
    hourly: dict[str, list[object]]
    hourly_units: dict[str, str]


class OpenMeteoFeed:
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
            "hourly": ",".join((*(variable for variable, _ in _VARIABLES.values()), *_SOIL)),
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
        read = partial(_read, source=self.name, place=self._place)
        answer = await self._client.get(self._url, read=read, now=now, params=self._params)
        series, given, model = answer.data
        late_s = now // HOUR_S * HOUR_S - PAST_H * HOUR_S - int(series.times[0])
        if late_s > STALE_S:
            raise SourceError(
                f"{answer.url} answered with hours that begin {late_s / HOUR_S:.0f} h before those "
                "asked for, an old copy; it is asked again at the next poll"
            )
        check_current(series, issued_at=answer.fetched_at, max_age_s=STALE_S, now=now)
        at = answer.fetched_at
        forecast = Forecast(series, at, at, self.attribution, model=model, given=given)
        return Polled(forecast=forecast)


def _read(
    body: object, *, source: str, place: tuple[float, float]
) -> tuple[WeatherSeries, tuple[GivenValues, ...], str | None]:
    series = series_of(body, source=source, place=place)
    forecast = fit(_Place, body[0] if isinstance(body, list) else body)
    suffix = _suffix(forecast.hourly)
    return series, _as_given(forecast, suffix), suffix.lstrip("_") or None


def _as_given(forecast: _Place, suffix: str) -> tuple[GivenValues, ...]:
    """Return what the body says, unmoved: what is of the preceding hour begins an hour earlier."""
    times = _times(forecast.hourly)
    found = []
    for name, (variable, kind) in _VARIABLES.items():
        if variable + suffix not in forecast.hourly:
            continue
        key = variable + suffix
        values = numbers(forecast.hourly[key], key)
        values = in_si(values, forecast.hourly_units.get(key), kind, _SPELLINGS)
        interval = HOUR_S if name in _OF_PRECEDING_HOUR else 0
        statistic = _STATISTICS.get(name, "instant")
        intervals = np.full(times.shape, interval, dtype=np.int64)
        found.append(GivenValues(name, statistic, times - interval, intervals, values))
    return tuple(found)


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
    forecast = fit(_Place, body)
    if forecast.utc_offset_seconds != 0:
        raise ValueError(f"its times are {forecast.utc_offset_seconds} s off UTC")
    east = (forecast.longitude - place[1] + 180.0) % 360.0 - 180.0
    if max(abs(forecast.latitude - place[0]), abs(east)) > MAX_APART_DEG:
        raise ValueError(f"it is for {forecast.latitude}, {forecast.longitude}, not {place}")
    times = _times(forecast.hourly)
    series = WeatherSeries.of(
        times,
        Site(forecast.latitude, forecast.longitude, forecast.elevation),
        source,
        _quantities(forecast.hourly, forecast.hourly_units),
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
    if all(variable + suffix in hourly for variable in _SOIL):
        found["soil_temp_10cm_c"] = _soil(hourly, units, suffix)
    return found


def _soil(hourly: Mapping[str, list[object]], units: Mapping[str, str], suffix: str) -> Floats:
    """Return the temperature of the soil at 10 cm; missing where a depth is. [T], degC"""
    soil = np.zeros(len(hourly["time"]))
    for variable, share in _SOIL.items():
        values = numbers(hourly[variable + suffix], variable + suffix)
        if np.isnan(values).all():  # the unit of what a model does not have is no unit
            return values
        unit = units.get(variable + suffix)
        soil = soil + share * in_si(values, unit, Kind.TEMPERATURE, _SPELLINGS)
    return soil


def _suffix(hourly: Mapping[str, list[object]]) -> str:
    """Return what the feed appends to every variable: the model's name, or nothing."""
    wind = _INSTANT["wind_m_s"][0]
    keys = [key for key in hourly if key == wind or key.startswith(f"{wind}_")]
    if len(keys) != 1:
        raise ValueError(f"hourly holds {len(keys)} of {wind}; it must be one model's")
    return keys[0].removeprefix(wind)
