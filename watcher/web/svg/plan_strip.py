"""The plan of one sprayer on one day as a strip: blocks as long as the jobs, as high as chances.

Read without colour: a block has its number, its outline is ten in ten, what is filled is the
chance; dashed is not known; the thick post is now; a job in hand is hatched.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from markupsafe import Markup

from watcher.web.svg.scale import Scale, wall_hours
from watcher.web.svg.svg import el

_W, _H = 360.0, 92.0
_TOP, _FLOOR = 14.0, 66.0
_EDGE = 8.0
_LEAST_SPAN_S = 6 * 3600
_MOST_TICKS = 8
_NARROW = 12.0
"""A block has its number inside where it is at least so wide, else above."""


@dataclass(frozen=True)
class Block:
    """One job of the strip. Epoch seconds; ``place`` is its number in the list beside it."""

    begins: int
    ends: int
    chance: float | None
    """None for one that is in hand: it is hatched."""
    place: str


def strip(blocks: Sequence[Block], now: int, zone: ZoneInfo) -> Markup:
    """Draw the blocks of a day; what they are stands in words beside it."""
    first = min(block.begins for block in blocks)
    first = min(first, now) if first - now < _LEAST_SPAN_S else first
    last = max(*(block.ends for block in blocks), first + _LEAST_SPAN_S)
    x = Scale(float(first), float(last), _EDGE, _W - _EDGE)
    return el(
        "svg",
        el("path", class_="full", d=f"M0 {_TOP}H{_W}"),
        *(part for block in blocks for part in _block(block, x)),
        el("path", class_="floor", d=f"M0 {_FLOOR}H{_W}"),
        *_ticks(x, zone),
        *([_now(x(float(now)))] if first <= now <= last else []),
        class_="plan-strip",
        viewBox=f"0 0 {_W:.0f} {_H:.0f}",
        aria_hidden="true",
    )


def _block(block: Block, x: Scale) -> list[Markup]:
    start, end = x(float(block.begins)), x(float(block.ends))
    box = {"x": start, "width": max(end - start - 1.0, 2.0)}
    whole = _FLOOR - _TOP
    found = [el("rect", class_="whole", y=_TOP, height=whole, **box)]
    if block.chance is None:
        found.append(el("rect", class_="in-hand", y=_TOP, height=whole, **box))
    else:
        high = whole * min(max(block.chance, 0.0), 1.0)
        found.append(el("rect", class_="holds", y=_FLOOR - high, height=high, **box))
    middle = (start + end) / 2
    inside = end - start >= _NARROW and block.chance is not None and block.chance >= 0.4
    y = _FLOOR - 6 if inside else _TOP - 3
    style = "on" if inside else None
    number = el("text", block.place, class_=style, x=middle, y=y, text_anchor="middle")
    return [*found, number]


def _ticks(x: Scale, zone: ZoneInfo) -> list[Markup]:
    hours = (x.high - x.low) / 3600.0
    every = next((h for h in (1, 2, 3, 4, 6) if hours / h <= _MOST_TICKS), 6)
    found = []
    for at, word in wall_hours(int(x.low), int(x.high), zone, every):
        place = x(float(at))
        found.append(el("path", class_="tick", d=f"M{place:.1f} {_FLOOR}v4"))
        if _EDGE + 2 <= place <= _W - _EDGE - 2:
            found.append(el("text", word, x=place, y=_FLOOR + 18, text_anchor="middle"))
    return found


def _now(place: float) -> Markup:
    return el("path", class_="post", d=f"M{place:.1f} {_TOP - 8}V{_FLOOR}")
