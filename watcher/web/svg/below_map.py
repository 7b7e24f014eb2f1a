"""What stands below a map: which way is north, and how long a length is."""

import math

from markupsafe import Markup

from watcher.units import Kind, System, amount, convert
from watcher.web.svg.svg import el

_ROUND = (1, 2, 5)


def round_length(most_m: float, system: System) -> float:
    """Return the longest round length in the farm's unit that is no longer. [m]"""
    wanted = amount(most_m, Kind.LENGTH, system)
    power = 10 ** math.floor(math.log10(wanted))
    number = max(r * power for r in _ROUND if r * power <= wanted)
    return convert(float(number), Kind.LENGTH.shown[system], Kind.LENGTH)


def ruler(metres_a_unit: float, width: float, system: System) -> Markup:
    """Draw north and a round length, as wide in all as the map is."""
    metres = round_length(width / 3 * metres_a_unit, system)
    length = metres / metres_a_unit
    return el(
        "svg",
        el("path", class_="arrow", d="M12 2L18 22L12 18L6 22Z"),
        el("text", "N", class_="north", x=24, y=20),
        el("path", class_="ruler", d=f"M52 11V18H{52 + length:.1f}V11"),
        el("text", Kind.LENGTH.show(metres, system), x=60 + length, y=20),
        class_="below-map",
        viewBox=f"0 0 {width:.0f} 26",
        aria_hidden="true",
    )
