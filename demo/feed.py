"""The simulated feed: answers as Open-Meteo documents it (https://open-meteo.com/en/docs).

It knows the trend of the day and nothing of the front.
"""

import json
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from http.server import BaseHTTPRequestHandler
from typing import Any
from urllib.parse import parse_qs, urlsplit

import numpy as np

from demo import day
from demo.loopback import HOST, serving
from watcher.weather import sun
from watcher.weather.series import Floats, Seconds

_HOUR_S = 3600
_UNITS = {
    "wind_speed_10m": "m/s",
    "wind_direction_10m": "°",
    "temperature_2m": "°C",
    "relative_humidity_2m": "%",
    "dew_point_2m": "°C",
    "surface_pressure": "hPa",
    "cloud_cover": "%",
    "wind_gusts_10m": "m/s",
    "precipitation": "mm",
    "precipitation_probability": "%",
    "shortwave_radiation": "W/m²",
    "soil_temperature_6cm": "°C",
    "soil_temperature_18cm": "°C",
}


@contextmanager
def feed(now: Callable[[], int]) -> Iterator[str]:
    """Serve forecasts of the day until the block ends; yields the address before ``/forecast``."""

    class Feed(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            asked = urlsplit(self.path)
            if asked.path != "/v1/forecast":
                self.send_error(404)
                return
            body = json.dumps(answer(parse_qs(asked.query), now())).encode()
            self.send_response(200)
            self.send_header("Content-Type", "application/json; charset=utf-8")
            self.send_header("Content-Length", str(len(body)))
            # Caches go by the machine's clock, the demo does not.
            self.send_header("Cache-Control", "no-store")
            self.end_headers()
            self.wfile.write(body)

        def log_message(self, *_: Any) -> None:
            pass

    with serving(Feed) as port:
        yield f"http://{HOST}:{port}/v1"


def answer(query: dict[str, list[str]], now: int) -> dict[str, object]:
    """Return the body for a query: the hours asked for, of the variables asked for."""
    latitude, longitude = float(query["latitude"][0]), float(query["longitude"][0])
    hour = now // _HOUR_S * _HOUR_S
    first = hour - int(query["past_hours"][0]) * _HOUR_S
    times = np.arange(first, hour + int(query["forecast_hours"][0]) * _HOUR_S, _HOUR_S)
    known = _variables(times, latitude, longitude)
    asked = query["hourly"][0].split(",")
    return {
        "latitude": latitude,
        "longitude": longitude,
        "elevation": 400.0,
        "generationtime_ms": 0.1,
        "utc_offset_seconds": 0,
        "timezone": "GMT",
        "timezone_abbreviation": "GMT",
        "hourly_units": {"time": "iso8601"} | {name: _UNITS[name] for name in asked},
        "hourly": {
            "time": [f"{datetime.fromtimestamp(int(t), UTC):%Y-%m-%dT%H:%M}" for t in times],
            **{name: [round(float(v), 1) for v in known[name]] for name in asked},
        },
    }


def _variables(times: Seconds, latitude: float, longitude: float) -> dict[str, Floats]:
    weather = day.forecast(times)
    elevation = sun.elevation(times=times, latitude=latitude, longitude=longitude)
    clear_sky = 1000.0 * np.maximum(np.sin(np.radians(elevation)), 0.0)
    dry, soil = np.zeros(times.size), np.full(times.size, 17.0)
    return {
        "wind_speed_10m": day.at_ten_metres(weather.wind_m_s),
        "wind_direction_10m": weather.wind_from_deg,
        "temperature_2m": weather.temp_c,
        "relative_humidity_2m": day.humidity_pct(weather),
        "dew_point_2m": weather.dew_point_c,
        "surface_pressure": weather.pressure_pa / 100.0,
        "cloud_cover": weather.cloud_pct,
        "wind_gusts_10m": day.at_ten_metres(weather.wind_m_s)
        + (weather.gust_m_s - weather.wind_m_s),
        "precipitation": dry,
        "precipitation_probability": dry,
        "soil_temperature_6cm": soil,
        "soil_temperature_18cm": soil,
        "shortwave_radiation": clear_sky * (1.0 - 0.6 * weather.cloud_pct / 100.0),
    }
