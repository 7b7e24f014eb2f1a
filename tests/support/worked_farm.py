"""The farm of the worked cases: four fields that differ in weeds and neighbour, three setups."""

from collections.abc import Mapping
from typing import Any

import numpy as np
import shapely

from watcher.farm import Farm
from watcher.farm.geometry.ground import Ground
from watcher.farm.models import FarmFile
from watcher.weather.series import Site, WeatherSeries

# Sensor at boom height over the default canopy, so that wind bounds can be read off directly.
BOOM_HEIGHT_M = 0.12 + 0.508
NOON_UTC = 1_781_107_200  # 2026-06-10 16:00 UTC = 11:00 local in Chicago's zone
LATITUDE, LONGITUDE = 41.0, -96.0
TESTED = {"drift_reduction": "75 %"}
"""What the coarse nozzles save (invented)."""


def _square(west_m: float, south_m: float, size_m: float = 400.0) -> shapely.Polygon:
    metres_a_degree = 111_195.0
    east = metres_a_degree * np.cos(np.radians(LATITUDE))
    corners = [(0, 0), (size_m, 0), (size_m, size_m), (0, size_m)]
    return shapely.Polygon(
        [
            (LONGITUDE + (west_m + x) / east, LATITUDE + (south_m + y) / metres_a_degree)
            for x, y in corners
        ]
    )


def farm_tables() -> dict[str, Any]:
    """The worked cases' farm as the tables of a farm file, for tests to change."""
    field = {"crop": "soybeans", "window": "contact"}
    return {
        "farm": {"name": "Invented farm", "time_zone": "America/Chicago", "units": "us"},
        "sprayers": {
            "boom": {
                "boom_width": "90 ft",
                "boom_height": "0.508 m",
                "speed": "12 mph",
                "tank": "1200 gal",
                "field_efficiency": "65 %",
                "fill_time": "15 min",
            }
        },
        "setups": {
            "fine15": _setup("flat fan", "fine", "15 gal/acre"),
            "coarse15": _setup("air induction", "coarse", "15 gal/acre") | TESTED,
            "coarse7": _setup("air induction", "coarse", "7 gal/acre") | TESTED,
        },
        "windows": {
            "contact": {
                "wind": {"low": "3 mph", "high": "10 mph", "origin": "label"},
                "gust": {"high": "15 mph"},
                "delta_t": {"low": "2 delta_degC", "high": "8 delta_degC"},
                "rain_free_after": {"low": "4 h", "origin": "label"},
            }
        },
        "fields": {
            "W": field | {"weeds": "weedy"},
            "S": field | {"weeds": "weedy"},
            "C": field | {"weeds": "clean"},
            "K": field | {"weeds": "clean"},
        },
        "neighbours": {
            "vines_S": {"grows": "vines", "susceptibility": "susceptible"},
            "vines_K": {"grows": "vines", "susceptibility": "susceptible"},
        },
        "sources": {"yard": {"kind": "push"}},
    }


def _setup(nozzle: str, droplets: str, carrier: str) -> dict[str, str]:
    return {"sprayer": "boom", "nozzle": nozzle, "droplets": droplets, "carrier": carrier}


def build_farm(tables: Mapping[str, Any]) -> Farm:
    """A farm of those tables; fields 2 km apart, each neighbour 10 m north of its field."""
    found = FarmFile.model_validate(tables)
    places = {name: 2000.0 * i for i, name in enumerate(found.fields)}
    return Farm(
        config=found,
        ground=Ground(
            fields_deg={name: _square(west, 0.0) for name, west in places.items()},
            neighbours_deg={
                name: _square(places[name.removeprefix("vines_")], 410.0)
                for name in found.neighbours
            },
        ),
    )


_FAIR = {
    "temp_c": 20.0,
    "humidity_pct": 55.0,
    "wind_from_deg": 0.0,
    "wind_spread_deg": 10.0,
    "cloud_pct": 60.0,
    "rain_mm_h": 0.0,
}
_MPH = 0.44704


def fair_weather(
    *,
    hours: int = 72,
    start: int = NOON_UTC,
    wind_mph: Any = 5.0,
    gust_mph: Any = None,
    **quantities: Any,
) -> WeatherSeries:
    """Hours of fair weather with some quantities changed: a value, or a value an hour."""
    wind = np.broadcast_to(np.asarray(wind_mph, float) * _MPH, hours)
    gust = wind * 1.3 if gust_mph is None else np.asarray(gust_mph, float) * _MPH
    values = _FAIR | {"wind_m_s": wind, "gust_m_s": gust} | quantities
    site = Site(LATITUDE, LONGITUDE, elevation_m=350.0, wind_height_m=BOOM_HEIGHT_M)
    times = start + 3600 * np.arange(hours)
    return WeatherSeries.of(
        times, site, "test", {k: np.broadcast_to(v, hours) for k, v in values.items()}
    )
