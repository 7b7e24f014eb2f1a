"""A boundary that is being drawn: how large it is, who lies how far off, what it would cover."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import shapely

from watcher.farm.geometry.ground import Ground, Polygonal

Role = Literal["field", "neighbour"]
CARELESS = 0.02
"""Share of the smaller of two areas that may lie in both: so carefully lines are drawn."""
_LEAST_M2 = 10.0
"""Less than this is where two lines meet."""


@dataclass(frozen=True)
class LiesOff:
    """What lies near a boundary, and how far from it. [m]"""

    name: str
    role: Role
    distance_m: float


@dataclass(frozen=True)
class Overlap:
    """Ground that would lie in two boundaries."""

    name: str
    role: Role
    area_m2: float
    share: float
    """Of the smaller of the two."""

    @property
    def is_careless(self) -> bool:
        """Whether it is no more than two lines drawn by hand come to."""
        return self.share <= CARELESS


@dataclass(frozen=True)
class DrawnShape:
    """What a boundary comes to beside all others."""

    area_m2: float
    near: tuple[LiesOff, ...]
    """Nearest first: the neighbours of a field, the fields of a neighbour."""
    overlaps: tuple[Overlap, ...]


def share_of_smaller(one: Polygonal, other: Polygonal) -> float:
    """Return what share of the smaller of two shapes beside each other lies in both. Degrees in."""
    # Both lie at the same latitude, so that square degrees will do for a share.
    return float(one.intersection(other).area / min(one.area, other.area))


def drawn(
    shape: Polygonal, name: str, role: Role, around: Ground, *, within_m: float = 0.0
) -> DrawnShape:
    """Look at a boundary in degrees as the farm would have it under a name and role.

    ``near`` is who lies within ``within_m``.
    """
    fields, neighbours = dict(around.fields_deg), dict(around.neighbours_deg)
    fields.pop(name, None)
    neighbours.pop(name, None)
    with_it = {**fields, name: shape}, neighbours
    if role == "neighbour":
        with_it = fields, {**neighbours, name: shape}
    ground = Ground(*with_it) if with_it[0] else Ground({name: shape}, {})
    whole = ground.fields | ground.neighbours
    own = whole.pop(name)
    roles: dict[str, Role] = dict.fromkeys(neighbours, "neighbour")
    roles |= dict.fromkeys(fields, "field")
    off = [LiesOff(n, roles[n], float(own.distance(s))) for n, s in whole.items()]
    near = [one for one in off if one.role != role and one.distance_m <= within_m]
    overlaps = (_overlap(own, n, roles[n], s) for n, s in whole.items() if n != name)
    # Neighbours may lie in each other: a house in its garden.
    named = [one for one in overlaps if one is not None and "field" in {role, one.role}]
    return DrawnShape(
        float(own.area),
        tuple(sorted(near, key=lambda one: one.distance_m)),
        tuple(sorted(named, key=lambda one: -one.area_m2)),
    )


def _overlap(own: Polygonal, name: str, role: Role, other: Polygonal) -> Overlap | None:
    if not shapely.intersects(own, other):
        return None
    area = float(own.intersection(other).area)
    if area < _LEAST_M2:
        return None
    return Overlap(name, role, area, share_of_smaller(own, other))


def among(shapes: Mapping[str, Polygonal]) -> list[tuple[str, Overlap]]:
    """Return where fields that come together overlap each other, each pair once."""
    names, found = list(shapes), []
    for at, name in enumerate(names):
        others = Ground({other: shapes[other] for other in names[at + 1 :]}, {})
        looked = drawn(shapes[name], name, "field", others)
        found += [(name, overlap) for overlap in looked.overlaps]
    return found
