"""Degrees ⇄ the square in which map tiles are numbered (EPSG:3857, OGC's WebMercatorQuad).

The world's square is 1 wide: x grows eastward from 180° W, y southward from the northern edge. At
zoom ``z`` it is cut into 2**z tiles each way.
"""

import math
from collections.abc import Iterator
from typing import NamedTuple

EDGE_DEG = math.degrees(math.atan(math.sinh(math.pi)))
"""Latitude at which the square ends: 85.0511°."""
TILE_PX = 256


class Tile(NamedTuple):
    """A tile by its zoom, column and row (from the north)."""

    z: int
    x: int
    y: int

    @property
    def is_one(self) -> bool:
        """Whether the zoom has such a column and row."""
        return self.z >= 0 and 0 <= self.x < 2**self.z and 0 <= self.y < 2**self.z


def to_square(latitude: float, longitude: float) -> tuple[float, float]:
    """Return where a place lies in the square; beyond its edge is on its edge."""
    latitude = min(max(latitude, -EDGE_DEG), EDGE_DEG)
    y = 0.5 - math.asinh(math.tan(math.radians(latitude))) / (2 * math.pi)
    return (longitude + 180.0) / 360.0, y


def to_degrees(x: float, y: float) -> tuple[float, float]:
    """Return latitude and longitude of a place in the square."""
    return math.degrees(math.atan(math.sinh(math.pi * (1 - 2 * y)))), x * 360.0 - 180.0


def tile_at(latitude: float, longitude: float, z: int) -> Tile:
    """Return the tile that holds a place."""
    most = 2**z - 1
    x, y = (int(part * 2**z) for part in to_square(latitude, longitude))
    return Tile(z, min(max(x, 0), most), min(max(y, 0), most))


def tiles_over(west: float, north: float, east: float, south: float, z: int) -> Iterator[Tile]:
    """Yield the tiles that a rectangle of the square lies on."""
    for y in range(max(int(north * 2**z), 0), min(int(south * 2**z), 2**z - 1) + 1):
        for x in range(max(int(west * 2**z), 0), min(int(east * 2**z), 2**z - 1) + 1):
            yield Tile(z, x, y)
