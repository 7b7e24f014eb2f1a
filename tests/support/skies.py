"""Made-up weather over the invented farm, and what the judge makes of it."""

from typing import Any

import numpy as np

from tests.support.farms import LATITUDE, LONGITUDE
from watcher.judge.judgement import Judgement, judge
from watcher.judge.ranking import Ranking, rank
from watcher.judge.timeline import Spoken, Timeline
from watcher.limits.farm_arrays import FarmArrays
from watcher.weather.series import QUANTITIES, Site, WeatherSeries

MORNING = 1_781_107_200  # 2026-06-10 11:00 in Chicago's zone
MPH = 0.44704
_FAIR = {
    "wind_m_s": 5 * MPH,
    "gust_m_s": 8 * MPH,
    "temp_c": 20.0,
    "humidity_pct": 55.0,
    "wind_from_deg": 0.0,
    "wind_spread_deg": 10.0,
    "cloud_pct": 60.0,
    "rain_mm_h": 0.0,
}
_HOURS = 72
# Sensor at boom height over the default canopy, so that wind bounds can be read off directly.
_SITE = Site(LATITUDE, LONGITUDE, elevation_m=350.0, wind_height_m=0.12 + 0.508)


def timeline(now: int = MORNING, wind_age_s: float = 60.0, **quantities: Any) -> Timeline:
    """A timeline of hours of fair weather from now on, some quantities changed.

    ``wind_mph`` and ``gust_mph`` may stand for the quantities in m/s; a value or a value an hour.
    """
    found = {
        {"wind_mph": "wind_m_s", "gust_mph": "gust_m_s"}.get(name, name): np.asarray(value)
        * (MPH if name.endswith("_mph") else 1.0)
        for name, value in quantities.items()
    }
    values = {name: np.broadcast_to(v, _HOURS) for name, v in (_FAIR | found).items()}
    times = now + 3600 * np.arange(_HOURS)
    measured = not np.isnan(values["wind_m_s"][0])
    spoken = {name: Spoken("open_meteo", 1500.0, measured=False) for name in QUANTITIES}
    spoken["wind_m_s"] = Spoken("mast" if measured else None, wind_age_s, measured=True)
    series = WeatherSeries.of(times, _SITE, "timeline", values)
    return Timeline(series, 0, spoken, wind_uncertainty_m_s=0.0)


def judged(plan: FarmArrays, look: Timeline) -> tuple[Judgement, Ranking]:
    judgement = judge(plan, look.series, wind_uncertainty_m_s=look.wind_uncertainty_m_s)
    return judgement, rank(judgement, look.now_index)
