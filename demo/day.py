"""The weather of the day. INVENTED: it happened nowhere.

Everything is a function of time. ``forecast`` knows the trend of the day; ``truth`` is what comes
to pass: the same and, in the middle of the morning, a gust front that nobody foresaw.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

import numpy as np

from watcher.weather.series import Floats, Seconds
from watcher.weather.wind_profile import wind_at_height

Points = Sequence[tuple[float, float]]

ZONE = ZoneInfo("America/Chicago")
MIDNIGHT = int(datetime(2026, 6, 12, tzinfo=ZONE).timestamp())
MAST_M = 3.05
"""The day is told at the height of the station's anemometer, 10 ft; so is its wind."""
_MPH = 0.44704
_DAY_H = 24.0
_GUST = 1.32

# Through the day, as (hour, value): still at dawn, calm in the morning, breezy in the afternoon,
# still again in the evening.
_WIND_MPH: Points = (
    (0, 1.6), (5, 1.0), (6.5, 1.4), (7.5, 3.7), (8, 5.6), (8.5, 6.7), (9, 7.3), (10, 7.6),
    (11.75, 8.1), (12, 8.7), (12.5, 10.6), (13.5, 10.9), (16, 11.0), (17.5, 9.4), (18.25, 8.0),
    (19, 7.4), (19.5, 5.0), (20, 3.1), (20.5, 1.5), (24, 1.6),
)  # fmt: skip
_TEMP_C: Points = (
    (0, 16.0), (5.9, 12.6), (7, 14.6), (9, 19.4), (11, 22.5), (15.5, 25.5), (18, 24.9),
    (20, 22.2), (22, 18.4), (24, 16.0),
)  # fmt: skip
_DEW_POINT_C: Points = ((0, 12.2), (6, 11.8), (10, 14.0), (16, 15.4), (20, 15.2), (24, 12.2))
_CLOUD_PCT: Points = ((0, 10), (8, 25), (9.5, 55), (17, 50), (19, 15), (24, 10))
_PRESSURE_PA: Points = ((0, 97_020), (9, 97_130), (17, 96_880), (24, 97_020))
# In hours since the midnight before: from the east today, from the south-west tomorrow.
_FROM_DEG: Points = ((0, 90), (8, 95), (12, 110), (20, 120), (24, 150), (30, 215), (80, 225))
# How much warmer it is at 30 ft than at 5 ft: above zero that is an inversion.
_UPPER_WARMER_K: Points = (
    (0, 1.5), (6, 1.6), (7.25, 0.5), (7.75, -0.3), (19, -0.3), (19.5, 0.4), (20.5, 1.6), (24, 1.5),
)  # fmt: skip

FRONT_AT = MIDNIGHT + 10 * 3600 + 8 * 60
# What the front adds, by minutes since it began.
_FRONT: Mapping[str, Points] = {
    "wind_mph": ((0, 0), (4, 14), (8, 17), (14, 14), (20, 4), (25, 0)),
    "from_deg": ((0, 0), (3, 150), (6, 185), (16, 185), (26, 60), (40, 0)),
    "temp_k": ((0, 0), (2, -0.8), (9, -4.0), (40, -3.2), (150, 0)),
    "dew_point_k": ((0, 0), (9, -2.5), (150, 0)),
    "pressure_pa": ((0, 0), (6, 130), (25, 60), (60, 0)),
}


@dataclass(frozen=True)
class Weather:
    """The weather at some times, SI. Wind and gust at the height of the mast."""

    wind_m_s: Floats
    gust_m_s: Floats
    wind_from_deg: Floats
    temp_c: Floats
    temp_upper_c: Floats
    dew_point_c: Floats
    pressure_pa: Floats
    cloud_pct: Floats


def at(hour: float) -> int:
    """Return an hour of the day on the farm's clock as epoch seconds."""
    return MIDNIGHT + round(hour * 3600)


def truth(times: Seconds) -> Weather:
    """Return the weather as it comes to pass. ``times`` are epoch seconds."""
    since = (times - FRONT_AT) / 60.0
    added = {name: _through(points, since) for name, points in _FRONT.items()}
    return _weather(times, 1.0, added)


def forecast(times: Seconds) -> Weather:
    """Return the weather as it is forecast: no front, a little less wind, tomorrow like today."""
    return _weather(times, 0.95, {name: np.zeros(times.size) for name in _FRONT})


def at_ten_metres(wind_m_s: Floats) -> Floats:
    """Return a wind of the mast's height as forecasts tell it, at 10 m over grass."""
    return wind_at_height(wind_m_s=wind_m_s, from_m=MAST_M, to_m=10.0)


def humidity_pct(weather: Weather) -> Floats:
    """Return the relative humidity (Magnus, coefficients of WMO-No. 8)."""
    dew, temp = (17.62 * t / (243.12 + t) for t in (weather.dew_point_c, weather.temp_c))
    humidity: Floats = 100.0 * np.exp(dew - temp)
    return humidity


def _weather(times: Seconds, wind_share: float, added: Mapping[str, Floats]) -> Weather:
    since = (times - MIDNIGHT) / 3600.0
    hours = since % _DAY_H
    wind = (wind_share * _through(_WIND_MPH, hours) + added["wind_mph"]) * _MPH
    temp = _through(_TEMP_C, hours) + added["temp_k"]
    return Weather(
        wind_m_s=wind,
        gust_m_s=_GUST * wind,
        wind_from_deg=(_through(_FROM_DEG, since) + added["from_deg"]) % 360.0,
        temp_c=temp,
        temp_upper_c=temp + _through(_UPPER_WARMER_K, hours),
        dew_point_c=_through(_DEW_POINT_C, hours) + added["dew_point_k"],
        pressure_pa=_through(_PRESSURE_PA, hours) + added["pressure_pa"],
        cloud_pct=_through(_CLOUD_PCT, hours),
    )


def _through(points: Points, where: Floats) -> Floats:
    """A straight line from point to point, level beyond the ends."""
    x, y = np.array(points, dtype=np.float64).T
    values: Floats = np.interp(where, x, y)
    return values
