"""A map of one field: its boundary, the neighbours, the wind, and the reach of the spray."""

import math

import shapely
from markupsafe import Markup
from shapely.geometry.base import BaseGeometry

from watcher.farm.models import Susceptibility
from watcher.i18n.message import plain_name
from watcher.judge.judgement import Judgement
from watcher.units import Kind, System
from watcher.web.svg.below_map import round_length
from watcher.web.svg.reach import SprayReach
from watcher.web.svg.svg import el, path

_W, _H, _EDGE = 400.0, 340.0, 10.0
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
    judgement: Judgement, case: tuple[int, int, int], reach: SprayReach, system: System
) -> Markup:
    """Draw the map, north up."""
    field, _, time = case
    plan = judgement.plan
    ground = plan.farm.ground
    mine = ground.fields[plan.fields[field]]
    around = max(plan.farm.config.judging.reach, _AROUND_M)
    place = _Place(mine.buffer(around).bounds)
    seen = {n: s for n, s in ground.neighbours.items() if s.intersects(place.box)}
    others = [s for n, s in ground.fields.items() if s is not mine and s.intersects(place.box)]
    neighbours = plan.farm.config.neighbours
    return el(
        "svg",
        *(_shape("other", shape, place) for shape in others),
        *([_shape("reach", reach.shape, place)] if reach.shape is not None else []),
        *(_shape(kind_of(neighbours[n].susceptibility), s, place) for n, s in seen.items()),
        _shape("mine", mine, place),
        *(_label(n, shape.intersection(place.box), place) for n, shape in seen.items()),
        _label(plan.fields[field], mine, place),
        _wind(float(judgement.series.wind_from_deg[time])),
        _ruler(place, system),
        class_="map",
        viewBox=f"0 0 {_W:.0f} {_H:.0f}",
        role="img",
        aria_labelledby="map-says",
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


def _wind(wind_from_deg: float) -> Markup:
    """An arrow the way the wind blows, in the upper right corner; a question mark without one."""
    x, y = _W - 40.0, 40.0
    ring = el("circle", class_="rose", cx=x, cy=y, r=34)
    north = el("text", "N", class_="north", x=x, y=y - 22, text_anchor="middle")
    if math.isnan(wind_from_deg):
        return el("g", ring, el("text", "?", class_="place", x=x, y=y + 8, text_anchor="middle"))
    arrow = el(
        "path",
        class_="arrow",
        d="M-4 -18H4V6H11L0 22L-11 6H-4Z",
        transform=f"translate({x:.0f} {y:.0f}) rotate({wind_from_deg:.0f})",
    )
    return el("g", ring, north, arrow)


def _ruler(place: _Place, system: System) -> Markup:
    """A length on the ground, round in the farm's unit."""
    metres = round_length(110.0 / place.scale, system)
    length = metres * place.scale
    y = _H - 14.0
    return el(
        "g",
        el("path", class_="ruler", d=f"M14 {y - 5}V{y}H{14 + length:.1f}V{y - 5}"),
        el("text", Kind.LENGTH.show(metres, system), x=20 + length, y=y + 2),
        class_="scale",
    )
