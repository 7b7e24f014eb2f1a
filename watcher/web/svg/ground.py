"""A map of one field: its boundary, the neighbours, what is left, and the reach of the spray."""

import math
from collections.abc import Iterator, Sequence

import shapely
from markupsafe import Markup
from shapely.geometry.base import BaseGeometry

from watcher.farm.geometry.ground import Ground
from watcher.farm.models import Susceptibility
from watcher.i18n.message import plain_name
from watcher.judge.judgement import Judgement
from watcher.limits.buffers import LeftStrip
from watcher.web.svg.below_map import MAP_WIDTH, grid
from watcher.web.svg.reach import SprayReach
from watcher.web.svg.svg import el, path
from watcher.web_mercator import TILE_PX, tiles_over, to_degrees, to_square

_W, _H, _EDGE = MAP_WIDTH, 340.0, 10.0
_AROUND_M = 60.0
_LETTERS_A_WIDTH = 8.0


class _Place:
    """From metres east and north to places on the paper."""

    def __init__(self, shown: tuple[float, float, float, float]) -> None:
        west, south, east, north = shown
        self.scale = min((_W - 2 * _EDGE) / (east - west), (_H - 2 * _EDGE) / (north - south))
        self.x0 = _W / 2 - self.scale * (west + east) / 2
        self.y0 = _H / 2 + self.scale * (south + north) / 2
        self.shown = shown

    def __call__(self, x: float, y: float) -> tuple[float, float]:
        return self.x0 + self.scale * x, self.y0 - self.scale * y

    @property
    def box(self) -> shapely.Polygon:
        """All the ground on the paper."""
        half_w, half_h = _W / 2 / self.scale, _H / 2 / self.scale
        x, y = (_W / 2 - self.x0) / self.scale, (self.y0 - _H / 2) / self.scale
        return shapely.box(x - half_w, y - half_h, x + half_w, y + half_h)


def ground_map(
    judgement: Judgement,
    case: tuple[int, int, int],
    reach: SprayReach,
    strips: Sequence[LeftStrip],
    pictures: tuple[str, int] | None,
) -> tuple[Markup, float]:
    """Draw the map, north up; returns how many metres one unit of it is as well.

    ``pictures`` is where tiles are asked for and their greatest zoom.
    """
    field, _, _ = case
    plan = judgement.plan
    ground = plan.farm.ground
    mine = ground.fields[plan.fields[field]]
    around = max(plan.farm.config.judging.reach, _AROUND_M)
    place = _Place(mine.buffer(around).bounds)
    seen = {n: s for n, s in ground.neighbours.items() if s.intersects(place.box)}
    others = [s for n, s in ground.fields.items() if s is not mine and s.intersects(place.box)]
    neighbours = plan.farm.config.neighbours
    left = [
        ground.beside(plan.fields[field], one.neighbour, one.gap_m + one.depth_m)
        for one in strips
        if math.isfinite(one.depth_m)
    ]
    drawn = el(
        "svg",
        *grid(1 / place.scale, (_W, _H), plan.farm.config.farm.units),
        *(_tiles(ground, place, *pictures) if pictures else ()),
        *(_shape("other", shape, place) for shape in others),
        *([_shape("reach", reach.shape, place)] if reach.shape is not None else []),
        *(_shape(kind_of(neighbours[n].susceptibility), s, place) for n, s in seen.items()),
        _shape("mine", mine, place),
        *(_shape("to-leave", shape, place) for shape in left if not shape.is_empty),
        *(_label(n, shape.intersection(place.box), place) for n, shape in seen.items()),
        _label(plan.fields[field], mine, place),
        class_="map over-ground" if pictures else "map",
        viewBox=f"0 0 {_W:.0f} {_H:.0f}",
        role="img",
        aria_labelledby="map-says",
    )
    return drawn, 1 / place.scale


def _tiles(ground: Ground, place: _Place, tiles_at: str, greatest_zoom: int) -> Iterator[Markup]:
    """The pictures below a map in metres: on a field each is as good as straight."""
    west, south, east, north = ground.in_degrees(place.box).bounds
    (x0, y0), (x1, y1) = to_square(north, west), to_square(south, east)
    z = min(max(round(math.log2(_W / TILE_PX / (x1 - x0))), 0), greatest_zoom)

    def on_paper(x: int, y: int) -> tuple[float, float]:
        at = ground.point(*to_degrees(x / 2**z, y / 2**z))
        return place(at.x, at.y)

    for tile in tiles_over(x0, y0, x1, y1, z):
        left, top = on_paper(tile.x, tile.y)
        right, bottom = on_paper(tile.x + 1, tile.y + 1)
        yield el(
            "image",
            href=f"{tiles_at}/{z}/{tile.x}/{tile.y}",
            x=left,
            y=top,
            width=right - left + 0.3,
            height=bottom - top + 0.3,
            preserveAspectRatio="none",
        )


def kind_of(susceptibility: Susceptibility) -> str:
    """How a neighbour is drawn, by what it stands."""
    return f"n-{susceptibility.value.replace(' ', '-')}"


def _shape(kind: str, shape: BaseGeometry, place: _Place) -> Markup:
    visible = shapely.simplify(shape.intersection(place.box), 0.5 / place.scale)
    rings = [
        ring
        for part in shapely.get_parts(visible)
        if part.geom_type == "Polygon"
        for ring in (part.exterior, *part.interiors)
    ]
    d = "".join(path((place(x, y) for x, y in ring.coords[:-1]), closed=True) for ring in rings)
    return el("path", class_=kind, d=d, fill_rule="evenodd")


def _label(name: str, shape: BaseGeometry, place: _Place) -> Markup:
    if shape.is_empty:
        return Markup("")
    point = shape.representative_point()
    x, y = place(point.x, point.y)
    word = plain_name(name, 20)
    half = len(word) * _LETTERS_A_WIDTH / 2
    x = min(max(x, half), _W - half)
    return el("text", word, class_="place", x=x, y=y + 5, text_anchor="middle")
