"""Invented large farms for figures: fields in a grid, each with neighbours round it."""

import math
from itertools import product

import numpy as np
import shapely

from tests.support.farms import tables
from watcher.farm import Farm
from watcher.farm.geometry.ground import Ground
from watcher.farm.models import FarmFile
from watcher.weather.series import Site, WeatherSeries

_LATITUDE, _LONGITUDE, _METRES_A_DEGREE = 41.0, -96.0, 111_195.0
_FIELD_M, _APART_M, _GAP_M = 400.0, 1000.0, 10.0
_WEEDS = ("clean", "moderate", "weedy")
_SUSCEPTIBLE = ("susceptible", "tolerant", "very susceptible")
_STEP = _FIELD_M + _GAP_M
_ROUND = ((0.0, _STEP), (_STEP, 0.0), (0.0, -_STEP), (-_STEP, 0.0), (_STEP, _STEP))
"""Where the neighbours of a field lie: on its four sides and off a corner. [m]"""


def large_farm(fields: int, neighbours_each: int) -> Farm:
    """A farm of square fields, each with up to five neighbours 10 m off, and four setups."""
    entries = tables()
    fine, coarse = entries["setups"]["fine"], entries["setups"]["coarse"]
    entries["setups"] = {
        "fine": fine,
        "coarse": coarse,
        "coarse_7": coarse | {"carrier": "7 gal/acre"},
        "medium": coarse | {"nozzle": "pre-orifice", "droplets": "medium"},
    }
    across = math.ceil(math.sqrt(fields))
    corners = {f"f{i}": (_APART_M * (i % across), _APART_M * (i // across)) for i in range(fields)}
    beside = {
        f"n{i}_{k}": (west + _ROUND[k][0], south + _ROUND[k][1])
        for (i, (west, south)), k in product(enumerate(corners.values()), range(neighbours_each))
    }
    entries["windows"]["contact"] |= {
        "temperature": {"low": "10 degC", "high": "29 degC"},
        "humidity": {"low": "35 %"},
        "rain_free_before": {"low": "1 h"},
        "droplets": {"low": "fine"},
    }
    entries["fields"] = {
        name: {"crop": "soybeans", "weeds": _WEEDS[i % 3], "window": "contact"}
        for i, name in enumerate(corners)
    }
    entries["neighbours"] = {
        name: {"grows": "vines", "susceptibility": _SUSCEPTIBLE[i % 3]}
        for i, name in enumerate(beside)
    }
    return Farm(
        config=FarmFile.model_validate(entries),
        ground=Ground(
            fields_deg={name: _square(*at) for name, at in corners.items()},
            neighbours_deg={name: _square(*at) for name, at in beside.items()},
        ),
    )


def changeable_weather(hours: int) -> WeatherSeries:
    """Hours of weather that passes through every status: wind, gusts, heat and showers."""
    rng = np.random.default_rng(3)
    day = np.arange(hours) * (2 * np.pi / 24)
    return WeatherSeries.of(
        1_781_107_200 + 3600 * np.arange(hours),
        Site(_LATITUDE, _LONGITUDE, elevation_m=350.0, wind_height_m=10.0),
        "invented",
        {
            "wind_m_s": 3.5 + 2.0 * np.cos(day) + rng.random(hours),
            "gust_m_s": 5.0 + 2.0 * np.cos(day) + 3.0 * rng.random(hours),
            "wind_from_deg": 360.0 * rng.random(hours),
            "wind_spread_deg": 8.0 + 20.0 * rng.random(hours),
            "temp_c": 21.0 + 6.0 * np.cos(day),
            "humidity_pct": 60.0 - 20.0 * np.cos(day),
            "cloud_pct": np.full(hours, 60.0),
            "rain_mm_h": np.where(rng.random(hours) < 0.05, 1.0, 0.0),
        },
    )


def _square(west_m: float, south_m: float) -> shapely.Polygon:
    east = _METRES_A_DEGREE * math.cos(math.radians(_LATITUDE))
    return shapely.box(
        _LONGITUDE + west_m / east,
        _LATITUDE + south_m / _METRES_A_DEGREE,
        _LONGITUDE + (west_m + _FIELD_M) / east,
        _LATITUDE + (south_m + _FIELD_M) / _METRES_A_DEGREE,
    )
