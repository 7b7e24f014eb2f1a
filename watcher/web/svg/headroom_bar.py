"""The margin left to a limit, drawn as a length from the post that stands for its bound."""

import math

from markupsafe import Markup

from watcher.judge.reasons import Reason
from watcher.limits.status import LimitState
from watcher.web.svg.svg import el

_WIDTH, _HEIGHT = 260.0, 16.0
_POST = 60.0
_BAR = 10.0
_TOP = (_HEIGHT - _BAR) / 2
_LEAST = 3.0
"""A bar shorter than this would not be seen."""


def headroom_bar(reason: Reason, margin: float) -> Markup:
    """Draw one limit: to the right of the post the margin left, to its left by how much it broke.

    A whole scale of the limit is the whole length; a tick stands where its margin ends. A limit
    of which nothing is known is an empty dashed box.
    """
    return el(
        "svg",
        *_marks(reason, margin),
        class_=f"headroom {reason.stand.name.lower()}",
        viewBox=f"0 0 {_WIDTH:.0f} {_HEIGHT:.0f}",
        aria_hidden="true",
    )


def _marks(reason: Reason, margin: float) -> list[Markup]:
    right = _WIDTH - _POST
    post = el("path", class_="post", d=f"M{_POST:.0f} 0V{_HEIGHT:.0f}")
    line = el("path", class_="track", d=f"M0 {_HEIGHT / 2:.0f}H{_WIDTH:.0f}")
    if reason.stand is LimitState.UNKNOWN or math.isnan(reason.headroom):
        return [_bar("nothing", _POST, right), post]
    near = el("path", class_="tick", d=f"M{_POST + min(margin, 1.0) * right:.0f} 1V15")
    if reason.headroom < 0:
        length = max(_LEAST, min(-reason.headroom, 1.0) * _POST)
        return [line, _bar("over", _POST - length, length), near, post]
    length = max(_LEAST, min(reason.headroom, 1.0) * right)
    return [line, _bar("left", _POST, length), near, post]


def _bar(kind: str, x: float, width: float) -> Markup:
    return el("rect", class_=kind, x=x, y=_TOP, width=width, height=_BAR)
