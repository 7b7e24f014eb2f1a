"""A year of made-up weather judged day by day, for cycles at every half hour of it."""

from collections.abc import Iterator

import numpy as np

from tests.support.farms import LATITUDE, LONGITUDE
from watcher.judge.judgement import Judgement, judge
from watcher.judge.ranking import Ranking, rank
from watcher.judge.timeline import Spoken, Timeline
from watcher.limits.farm_arrays import FarmArrays
from watcher.weather.series import QUANTITIES, Floats, Site, WeatherSeries

STEP_S = 1800
_AHEAD_S = 60 * 3600
_SITE = Site(LATITUDE, LONGITUDE, elevation_m=350.0, wind_height_m=0.12 + 0.508)


def _red_noise(rng: np.random.Generator, count: int, memory: float) -> Floats:
    """First-order autoregression of unit variance: weather that hangs together over hours."""
    out = np.empty(count)
    out[0] = rng.normal()
    for i, shock in enumerate(rng.normal(size=count - 1) * np.sqrt(1 - memory**2), start=1):
        out[i] = memory * out[i - 1] + shock
    return out


def weather(start: int, days: int, seed: int) -> WeatherSeries:
    """Half-hourly weather: seasons, days and nights, fronts, rain, and hours without a reading."""
    rng = np.random.default_rng(seed)
    times = start + STEP_S * np.arange((days * 86400 + _AHEAD_S) // STEP_S)
    day = (times - start) / 86400.0
    light = np.sin(2 * np.pi * (day + 0.4))
    wind = np.clip(2.4 + 1.2 * light + 1.4 * _red_noise(rng, times.size, 0.95), 0.1, None)
    temp = (
        14 - 12 * np.cos(2 * np.pi * day / 365) + 6 * light + 2 * _red_noise(rng, times.size, 0.97)
    )
    wet = _red_noise(rng, times.size, 0.9) > 1.8
    missing = _red_noise(rng, times.size, 0.8) > 2.2
    found = {
        "wind_m_s": wind,
        "gust_m_s": wind * 1.4,
        "wind_from_deg": (200 + 60 * _red_noise(rng, times.size, 0.97)) % 360,
        "wind_spread_deg": np.full(times.size, 12.0),
        "temp_c": temp,
        "humidity_pct": np.clip(62 - 18 * light + 8 * _red_noise(rng, times.size, 0.9), 12, 99),
        "cloud_pct": np.clip(50 + 35 * _red_noise(rng, times.size, 0.95), 0, 100),
        "rain_mm_h": np.where(wet, 1.2, 0.0),
    }
    for name in ("wind_m_s", "gust_m_s"):
        found[name] = np.where(missing, np.nan, found[name])
    return WeatherSeries.of(times, _SITE, "year", found)


def cycles(
    plan: FarmArrays, series: WeatherSeries, days: int
) -> Iterator[tuple[Judgement, Timeline, Ranking]]:
    """Every half hour's judgement, timeline and ranking, one block a day judged at once."""
    a_day = 86400 // STEP_S
    spoken = {name: Spoken("feed", 900.0, measured=False) for name in QUANTITIES}
    for day in range(days):
        first = day * a_day
        block = series.at(slice(first, first + a_day + _AHEAD_S // STEP_S))
        judgement = judge(plan, block)
        for index in range(a_day):
            blind = bool(np.isnan(block.wind_m_s[index]))
            wind = Spoken(None if blind else "mast", 60.0, measured=True)
            look = Timeline(block, index, spoken | {"wind_m_s": wind}, 0.0)
            yield judgement, look, rank(judgement, index)
