"""Invented farms for the tests of everything above the judgement."""

from typing import Any

import numpy as np
import shapely

from watcher.farm import Farm
from watcher.farm.geometry.ground import Ground
from watcher.farm.models import FarmFile

LATITUDE, LONGITUDE = 41.0, -96.0
_METRES_A_DEGREE = 111_195.0


def tables() -> dict[str, Any]:
    """A farm of two fields, two sprayers and one neighbour, as the tables of a farm file."""
    return {
        "farm": {
            "name": "Invented farm",
            "time_zone": "America/Chicago",
            "units": "us",
            "record_rules": ["former 7 CFR 110"],
        },
        "sprayers": {"boom": _sprayer(), "old_boom": _sprayer()},
        "setups": {
            "fine": _setup("flat fan", "fine", "boom"),
            "coarse": _setup("air induction", "coarse", "boom"),
            "old_coarse": _setup("air induction", "coarse", "old_boom"),
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
            "creek_side": {"crop": "soybeans", "weeds": "moderate", "window": "contact"},
            "hill": {"crop": "soybeans", "weeds": "clean", "window": "contact"},
        },
        "neighbours": {"orchard": {"grows": "apples", "susceptibility": "susceptible"}},
        "sources": {"mast": {"kind": "push"}},
        "recipients": {
            "grower": {},
            "operator": {"hears": ["job"], "form": "sms"},
        },
    }


def watched_tables() -> dict[str, Any]:
    """The same farm with a mast of its own, whose wind is that at the boom, and a feed."""
    return tables() | {
        "sources": {
            "mast": {"kind": "push", "heights": {"wind": "0.628 m"}},
            "feed": {"kind": "met_norway"},
        }
    }


def _sprayer() -> dict[str, str]:
    return {
        "boom_width": "90 ft",
        "boom_height": "0.508 m",
        "speed": "12 mph",
        "tank": "1200 gal",
        "field_efficiency": "65 %",
        "fill_time": "15 min",
    }


def _setup(nozzle: str, droplets: str, sprayer: str) -> dict[str, str]:
    carrier = "15 gal/acre"
    return {"sprayer": sprayer, "nozzle": nozzle, "droplets": droplets, "carrier": carrier}


def build(given: dict[str, Any]) -> Farm:
    """A farm of those tables: 400 m squares 2 km apart, the orchard 10 m north of the first."""
    farm_file = FarmFile.model_validate(given)
    places = {name: 2000.0 * i for i, name in enumerate(farm_file.fields)}
    return Farm(
        config=farm_file,
        ground=Ground(
            fields_deg={name: _square(west, 0.0) for name, west in places.items()},
            neighbours_deg={name: _square(0.0, 410.0) for name in farm_file.neighbours},
        ),
    )


def _square(west_m: float, south_m: float, size_m: float = 400.0) -> shapely.Polygon:
    east = _METRES_A_DEGREE * np.cos(np.radians(LATITUDE))
    corners = [(0, 0), (size_m, 0), (size_m, size_m), (0, size_m)]
    return shapely.Polygon(
        [
            (LONGITUDE + (west_m + x) / east, LATITUDE + (south_m + y) / _METRES_A_DEGREE)
            for x, y in corners
        ]
    )
