"""An invented field in the middle with neighbours where a test wants them, laid out in metres."""

from collections.abc import Mapping
from typing import Any

import numpy as np
import pyproj
import shapely
from numpy.typing import NDArray

from tests.support.worked_farm import LATITUDE, LONGITUDE, farm_tables
from watcher.farm import Farm
from watcher.farm.geometry.ground import Ground
from watcher.farm.models import FarmFile

FIELD = shapely.box(-200, -200, 200, 200)
_LOCAL = pyproj.CRS.from_proj4(
    f"+proj=aeqd +lat_0={LATITUDE} +lon_0={LONGITUDE} +datum=WGS84 +units=m"
)
_TO_DEGREES = pyproj.Transformer.from_crs(_LOCAL, "EPSG:4326", always_xy=True)


def beside(side: str, gap_m: float, depth_m: float = 100.0) -> shapely.Polygon:
    """A neighbour along one whole side of the field."""
    near, far = 200.0 + gap_m, 200.0 + gap_m + depth_m
    north = shapely.box(-200, near, 200, far)
    return turned(north, {"N": 0, "E": 1, "S": 2, "W": 3}[side])


def turned(shape: shapely.Polygon, quarters: int) -> shapely.Polygon:
    """The shape turned clockwise about the middle of the field by quarter turns."""

    def turn(xy: NDArray[np.float64]) -> NDArray[np.float64]:
        for _ in range(quarters):
            xy = np.column_stack([xy[:, 1], -xy[:, 0]])
        return xy

    return shapely.transform(shape, turn)


def compass_farm(
    neighbours: Mapping[str, shapely.Polygon],
    *,
    field: shapely.Polygon = FIELD,
    entries: Mapping[str, Any] | None = None,
    plan: Mapping[str, Any] | None = None,
    tables: Mapping[str, Any] | None = None,
) -> Farm:
    """A farm of one field, ``"F"``, and these neighbours, susceptible unless they say otherwise.

    ``entries`` changes single neighbours' entries, ``plan`` the field's, ``tables`` whole tables.
    """
    vines = {"grows": "vines", "susceptibility": "susceptible"}
    file = farm_tables()
    file["fields"] = {
        "F": {"crop": "soybeans", "window": "contact", "weeds": "clean"} | dict(plan or {})
    }
    file["neighbours"] = {name: vines | (entries or {}).get(name, {}) for name in neighbours}
    return Farm(
        config=FarmFile.model_validate(file | dict(tables or {})),
        ground=Ground(
            fields_deg={"F": in_degrees(field)},
            neighbours_deg={name: in_degrees(shape) for name, shape in neighbours.items()},
        ),
    )


def in_degrees(shape: shapely.Polygon) -> shapely.Polygon:
    """The shape in degrees, x longitude and y latitude."""
    return shapely.transform(
        shape, lambda xy: np.column_stack(_TO_DEGREES.transform(xy[:, 0], xy[:, 1]))
    )
