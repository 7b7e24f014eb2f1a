"""An invented farm of fields of several kinds, of all sizes, each beside a neighbour."""

from typing import Any

import shapely

from tests.support.worked_farm import LATITUDE, LONGITUDE, farm_tables
from watcher.farm import Farm
from watcher.farm.geometry.ground import Ground
from watcher.farm.models import FarmFile

ASKED: tuple[dict[str, Any], ...] = (
    {"weeds": "weedy", "window": "contact"},
    {"weeds": "clean", "window": "contact"},
    {"weeds": "weedy", "window": "contact", "canopy": "0.6 m"},
    {"weeds": "weedy", "window": "contact", "target": "grasses"},
    {"weeds": "weedy", "window": "contact", "setups": ["coarse15"]},
    {"weeds": "weedy", "window": "contact", "limits": {"wind": {"high": "7 mph"}}},
    {"weeds": "weedy", "window": "contact", "limits": {"delta_t": {"margin": 0.3}}},
    {"weeds": "moderate", "window": "daylight"},
)
"""What fields ask for: told apart by one thing after another. Setups alone make no other kind."""
KINDS = len(ASKED) - 1


def _box(west: float, south: float, size: float) -> shapely.Polygon:
    """A square, placed and sized in thousandths of a degree: about 100 m."""
    west, south = LONGITUDE + west / 1000, LATITUDE + south / 1000
    return shapely.box(west, south, west + size / 1000, south + size / 1000)


def mixed_farm() -> Farm:
    """Three fields of each kind, of all sizes, each beside a neighbour."""
    tables = farm_tables()
    tables["windows"]["daylight"] = {
        "wind": {"low": "2 mph", "high": "12 mph"},
        "humidity": {"low": "45 %"},
        "rain_free_before": {"low": "2 h"},
        "after_sunrise": {"low": "1 h"},
        "inversion": {"tolerate": "none"},
    }
    names = [f"f{i}" for i in range(3 * len(ASKED))]
    tables["fields"] = {
        name: {"crop": "soybeans", **ASKED[i % len(ASKED)]} for i, name in enumerate(names)
    }
    tables["neighbours"] = {
        f"n{i}": {
            "grows": "vines",
            "susceptibility": ("susceptible", "very susceptible", "tolerant")[i % 3],
            "no_spray_distance": f"{20 * (i % 4)} m",
        }
        for i in range(len(names))
    }
    size = {name: 2 + i / 5 for i, name in enumerate(names)}
    return Farm(
        config=FarmFile.model_validate(tables),
        ground=Ground(
            fields_deg={name: _box(20 * i, 0, size[name]) for i, name in enumerate(names)},
            neighbours_deg={
                f"n{i}": _box(20 * i, size[name] + 0.2, 3) for i, name in enumerate(names)
            },
        ),
    )
