"""A field's limits: its window's bounds tightened by its own, for checks and judgement alike."""

from typing import Any, Literal

from watcher.farm.models import Bounds, DropletRule, OwnLimits, Window
from watcher.farm.origin import STRICTNESS, Origin


def limits_for(window: Window, own: OwnLimits) -> Window:
    """Return the window with the tighter of each bound, each with the origin it came with.

    Of two equal bounds the law's stands before the label's before the grower's own. Of two
    margins the wider stands. Neither can be loosened by the other.
    """
    merged: dict[str, Any] = {}
    for name in OwnLimits.model_fields:
        ours, theirs = getattr(window, name), getattr(own, name)
        if ours is None or theirs is None:
            merged[name] = ours or theirs
        elif isinstance(ours, DropletRule):
            merged[name] = max(ours, theirs, key=_droplet_strictness)
        else:
            merged[name] = _tighter(ours, theirs)
    return window.model_copy(update=merged)


def _droplet_strictness(rule: DropletRule) -> tuple[int, int]:
    return int(rule.low), STRICTNESS[rule.origin]


def _tighter(one: Bounds[float], other: Bounds[float]) -> Bounds[float]:
    low, low_origin = _tighter_side(one, other, "low")
    high, high_origin = _tighter_side(one, other, "high")
    origin = low_origin if high is None else high_origin
    margins = [b.margin for b in (one, other) if b.margin is not None]
    return one.model_copy(
        update={
            "low": low,
            "high": high,
            "origin": origin,
            "low_origin": None if low_origin is origin else low_origin,
            "margin": max(margins, default=None),
        }
    )


def _tighter_side(
    one: Bounds[float], other: Bounds[float], side: Literal["low", "high"]
) -> tuple[float | None, Origin]:
    sides = [(getattr(b, side), b.origin_of(side)) for b in (one, other)]
    sides = [(value, origin) for value, origin in sides if value is not None]
    if not sides:
        return None, Origin.OWN
    sign = 1.0 if side == "low" else -1.0
    return max(sides, key=lambda bound: (sign * bound[0], STRICTNESS[bound[1]]))
