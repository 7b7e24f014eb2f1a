"""What stands below a map and under it: north, how long a length is, the wind, the plain grid."""

import math
from collections.abc import Iterator

from markupsafe import Markup

from watcher.units import Kind, System, amount, convert
from watcher.web.svg.svg import el

MAP_WIDTH = 400.0
"""Of every map that is drawn here."""
_ROUND = (1, 2, 5)
_SQUARES = 6


def round_length(most_m: float, system: System) -> float:
    """Return the longest round length in the farm's unit that is no longer. [m]"""
    wanted = amount(most_m, Kind.LENGTH, system)
    power = 10 ** math.floor(math.log10(wanted))
    number = max(r * power for r in _ROUND if r * power <= wanted)
    return convert(float(number), Kind.LENGTH.shown[system], Kind.LENGTH)


def ruler(
    metres_a_unit: float, width: float, system: System, wind_from_deg: float | None = None
) -> Markup:
    """Draw north and a round length, as wide in all as the map is, and the wind where it is asked.

    The wind's arrow points where it blows; a question mark stands for one that is not known.
    """
    metres = round_length(width / 3 * metres_a_unit, system)
    length = metres / metres_a_unit
    return el(
        "svg",
        el("path", class_="arrow", d="M12 4L18 28L12 23L6 28Z"),
        el("text", "N", class_="north", x=24, y=24),
        el("path", class_="ruler", d=f"M52 14V22H{52 + length:.1f}V14"),
        el("text", Kind.LENGTH.show(metres, system), x=60 + length, y=24),
        *([] if wind_from_deg is None else [_wind(wind_from_deg, width - 20.0)]),
        class_="below-map",
        viewBox=f"0 0 {width:.0f} 34",
        aria_hidden="true",
    )


def _wind(wind_from_deg: float, x: float) -> Markup:
    ring = el("circle", class_="rose", cx=x, cy=17, r=16)
    if math.isnan(wind_from_deg):
        return el("g", ring, el("text", "?", class_="place", x=x, y=23, text_anchor="middle"))
    arrow = el(
        "path",
        class_="arrow",
        d="M-2.5 -13H2.5V4H8L0 14L-8 4H-2.5Z",
        transform=f"translate({x:.0f} 17) rotate({wind_from_deg:.0f})",
    )
    return el("g", ring, arrow)


def grid(metres_a_unit: float, size: tuple[float, float], system: System) -> Iterator[Markup]:
    """Draw squares of a round length over a map, so that it tells distances by itself."""
    width, height = size
    step = round_length(width * metres_a_unit / _SQUARES, system) / metres_a_unit
    for i in range(1, math.ceil(width / step)):
        yield el("path", class_="grid", d=f"M{i * step:.1f} 0V{height:.0f}")
    for i in range(1, math.ceil(height / step)):
        yield el("path", class_="grid", d=f"M0 {i * step:.1f}H{width:.0f}")
