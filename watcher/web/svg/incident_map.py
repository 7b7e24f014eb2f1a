"""The map of an account on a page: the place, what lies around, and the wind's cones."""

import shapely
from markupsafe import Markup

from watcher.i18n.message import plain_name
from watcher.records.layout import PageMap, Ring
from watcher.web.svg.svg import el, path

_SIZE, _LETTERS_A_WIDTH = 400.0, 8.0


def incident_map(shown: PageMap) -> Markup:
    """Draw a map, north up; it goes ``half_m`` to each side of its middle."""
    scale = _SIZE / 2 / (shown.half_m or 1.0)

    def drawn(kind: str, rings: tuple[Ring, ...]) -> Markup:
        d = "".join(
            path(
                ((_SIZE / 2 + x * scale, _SIZE / 2 - y * scale) for x, y in ring[:-1]), closed=True
            )
            for ring in rings
        )
        return el("path", class_=kind, d=d, fill_rule="evenodd")

    def named(name: str, ring: Ring) -> Markup:
        point = shapely.Polygon(ring).centroid
        word = plain_name(name, 20)
        half = len(word) * _LETTERS_A_WIDTH / 2
        x = min(max(_SIZE / 2 + point.x * scale, half), _SIZE - half)
        return el(
            "text", word, class_="place", x=x, y=_SIZE / 2 - point.y * scale + 5,
            text_anchor="middle",
        )  # fmt: skip

    return el(
        "svg",
        *(drawn("lies", rings) for _, rings in shown.beside),
        *(drawn("cone", (ring,)) for _, ring in shown.cones),
        drawn("mine", shown.field),
        *(named(name, rings[0]) for name, rings in shown.beside),
        *(named(name, ring) for name, ring in shown.cones),
        el("path", class_="arrow", d="M14 34L20 10L26 34L20 28Z"),
        el("text", "N", class_="north", x=20, y=48, text_anchor="middle"),
        class_="map",
        viewBox=f"0 0 {_SIZE:.0f} {_SIZE:.0f}",
        role="img",
        aria_labelledby="map-says",
    )
