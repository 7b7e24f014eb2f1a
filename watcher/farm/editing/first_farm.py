"""A farm written for the first time, step by step: what stands beside a field, and names."""

import re
import unicodedata
from collections.abc import Collection, Iterable
from typing import Literal

import numpy as np
import shapely
from shapely.affinity import translate
from shapely.geometry.base import BaseGeometry

from watcher.farm.geometry.ground import Ground, Polygonal

Side = Literal["north", "east", "south", "west"]
SIDES: tuple[Side, ...] = ("north", "east", "south", "west")
_TOWARDS = {"north": (0.0, 1.0), "east": (1.0, 0.0), "south": (0.0, -1.0), "west": (-1.0, 0.0)}
DEEP_M = 100.0
"""What grows beside a field is taken to reach so far until it is drawn: as far as reach asks."""
_LEAST_M2 = 200.0
_SLIVERS_M = (0.1, 0.5, 2.0)
_MOST_LETTERS = 40


def beside(shape: Polygonal, side: Side, others: Iterable[Polygonal] = ()) -> Polygonal:
    """Return the ground on one side of a field, from its edge on. Degrees in and out.

    It is the field moved that way and all between, without the field and ``others``: nothing of it
    lies further off than what truly grows there.
    """
    ground = Ground({"field": shape, **{str(i): s for i, s in enumerate(others)}}, {})
    own = ground.fields["field"]
    x, y = _TOWARDS[side]
    parts = shapely.get_parts(own)
    swept = shapely.union_all(
        [shapely.convex_hull(shapely.union(p, translate(p, x * DEEP_M, y * DEEP_M))) for p in parts]
    )
    left = swept.difference(shapely.union_all(list(ground.fields.values())))
    whole = shapely.union_all(_large(left))
    # Without what is thin, or a corner that is rounded would cross the edge beside it.
    tried = (_rounded(ground.in_degrees(_without_slivers(whole, thin))) for thin in _SLIVERS_M)
    return next((found for found in tried if found.is_valid), shapely.Polygon())


def _large(ground_m: BaseGeometry) -> list[BaseGeometry]:
    parts = shapely.get_parts(ground_m)
    return [p for p in parts if p.geom_type == "Polygon" and p.area >= _LEAST_M2]


def _without_slivers(ground_m: BaseGeometry, thin_m: float) -> BaseGeometry:
    within = shapely.buffer(ground_m, -thin_m / 2, join_style="mitre")
    return shapely.buffer(within, thin_m / 2, join_style="mitre")


def _rounded(degrees: BaseGeometry) -> Polygonal:
    areas = [p for p in shapely.get_parts(degrees) if p.geom_type == "Polygon"]
    found = shapely.transform(shapely.union_all(areas), lambda each: np.round(each, 7))
    return found if isinstance(found, Polygonal) else shapely.Polygon()


def name_for(text: str, taken: Collection[str], otherwise: str) -> str:
    """Return a name the farm file takes that looks like a text, and is not taken yet."""
    plain = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode()
    base = re.sub(r"[^A-Za-z0-9]+", "_", plain).strip("_").lower()[:_MOST_LETTERS] or otherwise
    found, number = base, 1
    while found in taken:
        number += 1
        found = f"{base}_{number}"
    return found
