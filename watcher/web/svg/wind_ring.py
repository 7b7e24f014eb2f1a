"""Where the wind blows, as an arrow in a ring with north up."""

import math

from markupsafe import Markup

from watcher.web.svg.svg import el

_SIZE = 92.0
_MIDDLE = _SIZE / 2


def wind_ring(wind_from_deg: float) -> Markup:
    """Draw the way the wind blows; a dashed ring and a question mark where nobody knows.

    What it shows stands in words beside it.
    """
    known = math.isfinite(wind_from_deg)
    kind = "ring" if known else "ring nothing"
    marks = [el("circle", class_=kind, cx=_MIDDLE, cy=_MIDDLE, r=_MIDDLE - 4)]
    if known:
        marks.append(
            el(
                "path",
                class_="arrow",
                d="M-5 -30H5V8H15L0 34L-15 8H-5Z",
                transform=f"translate({_MIDDLE:.0f} {_MIDDLE:.0f}) rotate({wind_from_deg:.0f})",
            )
        )
        marks.append(el("path", class_="north-mark", d=f"M{_MIDDLE:.0f} 0V8"))
    else:
        marks.append(el("text", "?", x=_MIDDLE, y=_MIDDLE + 9, text_anchor="middle"))
    box = f"0 0 {_SIZE:.0f} {_SIZE:.0f}"
    return el("svg", *marks, class_="wind-ring", viewBox=box, aria_hidden="true")
