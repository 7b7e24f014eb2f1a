"""The whole farm as a map: every boundary, and pictures of the ground below where there are any."""

import math
from collections.abc import Iterable, Mapping

import numpy as np
import shapely
from markupsafe import Markup
from shapely.geometry.base import BaseGeometry

from watcher.farm.geometry.ground import Ground, Polygonal
from watcher.farm.models import Neighbour
from watcher.i18n.message import plain_name
from watcher.units import System
from watcher.web.svg.below_map import MAP_WIDTH, grid
from watcher.web.svg.ground import kind_of
from watcher.web.svg.svg import el, path
from watcher.web_mercator import TILE_PX, tiles_over, to_square

_W, _H = MAP_WIDTH, 340.0
_AROUND = 1.15
_LETTERS_A_WIDTH = 8.0


def farm_map(
    ground: Ground,
    neighbours: Mapping[str, Neighbour],
    system: System,
    pictures: tuple[str, int] | None,
) -> tuple[Markup, float]:
    """Draw every boundary, north up; returns how many metres one unit of the map is as well.

    ``pictures`` is where tiles are asked for and their greatest zoom; None for the grid alone.
    """
    paper = _Paper([*ground.fields_deg.values(), *ground.neighbours_deg.values()])
    metres = paper.metres_a_unit(ground.middle[0])
    drawn = el(
        "svg",
        *grid(metres, (_W, _H), system),
        *(paper.tiles(*pictures) if pictures else ()),
        *(
            paper.shape(kind_of(neighbours[n].susceptibility), s)
            for n, s in ground.neighbours_deg.items()
        ),
        *(paper.shape("mine", s) for s in ground.fields_deg.values()),
        *(
            paper.label(name, shape)
            for name, shape in {**ground.neighbours_deg, **ground.fields_deg}.items()
        ),
        class_="map over-ground" if pictures else "map",
        viewBox=f"0 0 {_W:.0f} {_H:.0f}",
        role="img",
        aria_labelledby="map-says",
    )
    return drawn, metres


class _Paper:
    """From degrees to places on the paper, by the projection that map tiles have."""

    def __init__(self, shapes: Iterable[Polygonal]) -> None:
        west, south, east, north = shapely.total_bounds(list(shapes)).tolist()
        (x0, y0), (x1, y1) = to_square(north, west), to_square(south, east)
        wide, high = max(x1 - x0, 1e-9) * _AROUND, max(y1 - y0, 1e-9) * _AROUND
        self.world = min(_W / wide, _H / high)
        """Units of the paper that the whole square is wide."""
        self.x0 = (x0 + x1) / 2 - _W / 2 / self.world
        self.y0 = (y0 + y1) / 2 - _H / 2 / self.world

    def metres_a_unit(self, latitude: float) -> float:
        """Metres on the ground, on the ellipsoid, along a parallel. [m]"""
        squeezed = 1 - 0.00669437999014 * math.sin(math.radians(latitude)) ** 2  # WGS 84's e²
        parallel = 2 * math.pi * 6378137.0 * math.cos(math.radians(latitude)) / math.sqrt(squeezed)
        return parallel / self.world

    def __call__(self, longitude: float, latitude: float) -> tuple[float, float]:
        x, y = to_square(latitude, longitude)
        return (x - self.x0) * self.world, (y - self.y0) * self.world

    def on_paper(self, shape: BaseGeometry) -> BaseGeometry:
        """The shape in units of the paper."""
        return shapely.transform(shape, lambda at: np.array([self(*one) for one in at.tolist()]))

    def shape(self, kind: str, shape: BaseGeometry) -> Markup:
        rings = [
            ring
            for part in shapely.get_parts(self.on_paper(shape))
            for ring in (part.exterior, *part.interiors)
        ]
        d = "".join(path(ring.coords[:-1], closed=True) for ring in rings)
        return el("path", class_=kind, d=d, fill_rule="evenodd")

    def label(self, name: str, shape: BaseGeometry) -> Markup:
        point = self.on_paper(shape).representative_point()
        word = plain_name(name, 20)
        half = len(word) * _LETTERS_A_WIDTH / 2
        x = min(max(point.x, half), _W - half)
        return el("text", word, class_="place", x=x, y=point.y + 5, text_anchor="middle")

    def tiles(self, tiles_at: str, greatest_zoom: int) -> Iterable[Markup]:
        z = min(max(round(math.log2(self.world / TILE_PX)), 0), greatest_zoom)
        size = self.world / 2**z
        right, below = self.x0 + _W / self.world, self.y0 + _H / self.world
        for tile in tiles_over(self.x0, self.y0, right, below, z):
            yield el(
                "image",
                href=f"{tiles_at}/{z}/{tile.x}/{tile.y}",
                x=(tile.x / 2**z - self.x0) * self.world,
                y=(tile.y / 2**z - self.y0) * self.world,
                width=size + 0.2,
                height=size + 0.2,
            )
