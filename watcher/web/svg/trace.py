"""The last minutes of wind and gust as lines against their bounds."""

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from markupsafe import Markup
from numpy.typing import NDArray

from watcher.units import Kind, System, amount
from watcher.web.svg.scale import Scale, runs
from watcher.web.svg.svg import el, path

_W, _H = 340.0, 96.0
_LEFT, _RIGHT, _TOP, _BOTTOM = 30.0, 336.0, 6.0, 78.0
_LONGEST_STEP_S = 180
"""Readings further apart than this, and than thrice their usual step, leave a gap. [s]"""


@dataclass(frozen=True)
class TraceBounds:
    """Bounds of wind and gust; infinite where there are none. [m/s]"""

    wind_low: float
    wind_high: float
    gust_high: float


def trace(
    times: NDArray[np.int64],
    wind_m_s: NDArray[np.float64],
    gust_m_s: NDArray[np.float64],
    bounds: TraceBounds,
    *,
    span: tuple[int, int],
    system: System,
    label: str,
    ends: tuple[str, str],
) -> Markup:
    """Draw wind (solid) and gust (dashed) over a span of epoch seconds; a gap is a dashed box.

    ``ends`` are the words at the beginning and the end of the span.
    """

    def shown(values: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.array([amount(float(v), Kind.SPEED, system) for v in values], dtype=np.float64)

    wind, gust = shown(wind_m_s), shown(gust_m_s)
    low, high, most = (
        amount(v, Kind.SPEED, system) if math.isfinite(v) else math.nan
        for v in (bounds.wind_low, bounds.wind_high, bounds.gust_high)
    )
    seen = np.concatenate([wind, gust, [low, high, most, 1.0]])
    x = Scale(float(span[0]), float(span[1]), _LEFT, _RIGHT)
    y = Scale(0.0, float(np.nanmax(seen)) * 1.12, _BOTTOM, _TOP)
    marks = [el("path", class_="grid", d=f"M{_LEFT} {_BOTTOM}H{_RIGHT}")]
    for value, kind in ((low, "bound"), (high, "bound"), (most, "bound gust")):
        if math.isfinite(value):
            place = y(value)
            marks.append(el("path", class_=kind, d=f"M{_LEFT} {place:.1f}H{_RIGHT}"))
            marks.append(el("text", f"{value:.0f}", x=_LEFT - 4, y=place + 4, text_anchor="end"))
    marks += [
        el("rect", class_="nothing", x=x(a), y=_TOP, width=x(b) - x(a), height=_BOTTOM - _TOP)
        for a, b in _gaps(times, span)
    ]
    places = np.array([x(float(t)) for t in times])
    for values, kind in ((wind, "curve"), (gust, "curve gust")):
        heights = np.array([y(float(v)) for v in values])
        marks += [el("path", class_=kind, d=path(run)) for run in _unbroken(times, places, heights)]
    for word, place, anchor in ((ends[0], _LEFT, "start"), (ends[1], _RIGHT, "end")):
        marks.append(el("text", word, x=place, y=_H - 3, text_anchor=anchor))
    box = f"0 0 {_W:.0f} {_H:.0f}"
    return el("svg", *marks, class_="trace", viewBox=box, role="img", aria_label=label)


def _longest_step(times: NDArray[np.int64]) -> float:
    steps = np.diff(times)
    return max(_LONGEST_STEP_S, 3.0 * float(np.median(steps))) if steps.size else _LONGEST_STEP_S


def _gaps(times: NDArray[np.int64], span: tuple[int, int]) -> list[tuple[float, float]]:
    """Stretches without a reading."""
    edges = np.concatenate([[span[0]], times, [span[1]]]).astype(np.float64)
    longest = _longest_step(times)
    return [(float(a), float(b)) for a, b in pairwise(edges) if b - a > longest]


def _unbroken(
    times: NDArray[np.int64], x: NDArray[np.float64], y: NDArray[np.float64]
) -> list[list[tuple[float, float]]]:
    """The points of every stretch without a gap or a missing value."""
    cuts = np.flatnonzero(np.diff(times) > _longest_step(times)) + 1
    parts = zip(np.split(x, cuts), np.split(y, cuts), strict=True)
    return [run for px, py in parts for run in runs(px, py)]
