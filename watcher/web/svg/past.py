"""Weather of the past as a chart: one quantity, or several that share their scale."""

from dataclasses import dataclass
from zoneinfo import ZoneInfo

import numpy as np
from markupsafe import Markup
from numpy.typing import NDArray

from watcher.units import Kind, System, amount
from watcher.web.svg.scale import Scale, runs, wall_hours
from watcher.web.svg.svg import el, path

_W, _H = 400.0, 150.0
_LEFT, _RIGHT, _TOP, _BOTTOM = 36.0, 396.0, 8.0, 126.0
_POINTS = 360
_DAY_S = 86_400
_LEAST_ROOM = {Kind.RAIN_RATE: 0.02}
_QUARTERS = ((0.0, "N"), (90.0, "E"), (180.0, "S"), (270.0, "W"), (360.0, "N"))


@dataclass(frozen=True)
class _Sheet:
    """Where times and values go."""

    x: Scale
    y: Scale
    kind: Kind
    system: System

    def place(self, time: float, value: float) -> tuple[float, float]:
        return self.x(time), self.y(amount(value, self.kind, self.system))


@dataclass(frozen=True)
class Curve:
    """One quantity over time, in the unit used inside."""

    kind: str
    """Its class in the style sheet."""
    values: NDArray[np.float64]


def past_chart(
    times: NDArray[np.int64],
    curves: list[Curve],
    *,
    kind: Kind,
    span: tuple[int, int],
    zone: ZoneInfo,
    system: System,
    label: str,
) -> Markup | None:
    """Draw curves over a span of epoch seconds; None where there is nothing to draw.

    Of more readings than there are places only the extremes at each place are drawn.
    """
    seen = np.concatenate([c.values for c in curves])
    if not np.isfinite(seen).any():
        return None
    y = _heights(seen, kind, system)
    x = Scale(float(span[0]), float(span[1]), _LEFT, _RIGHT)
    return el(
        "svg",
        *_grid(x, y, zone, kind),
        *(m for curve in curves for m in _curve(times, curve, _Sheet(x, y, kind, system))),
        class_="past",
        viewBox=f"0 0 {_W:.0f} {_H:.0f}",
        role="img",
        aria_label=label,
    )


def _heights(seen: NDArray[np.float64], kind: Kind, system: System) -> Scale:
    """All that is seen with a little room; from nothing on for what has a nothing."""
    if kind is Kind.ANGLE:
        return Scale(0.0, 360.0, _BOTTOM, _TOP)
    low, high = (amount(float(f(seen)), kind, system) for f in (np.nanmin, np.nanmax))
    room = max((high - low) * 0.08, _LEAST_ROOM.get(kind, 0.5))
    from_nothing = kind in {Kind.SPEED, Kind.RAIN_RATE}
    return Scale(0.0 if from_nothing else low - room, high + room, _BOTTOM, _TOP)


def _grid(x: Scale, y: Scale, zone: ZoneInfo, kind: Kind) -> list[Markup]:
    found = []
    ticks = _QUARTERS if kind is Kind.ANGLE else [(v, f"{v:g}") for v in y.ticks(4)]
    for value, word in ticks:
        place = y(value)
        found.append(el("path", class_="grid", d=f"M{_LEFT} {place:.1f}H{_RIGHT}"))
        found.append(el("text", word, class_="num", x=_LEFT - 5, y=place + 4, text_anchor="end"))
    days = (x.high - x.low) / _DAY_S
    every = 6 if days <= 2 else 24
    words = list(wall_hours(int(x.low), int(x.high), zone, every))
    for at, word in words[:: max(1, len(words) // 7)]:
        place = x(float(at))
        found.append(el("path", class_="grid", d=f"M{place:.1f} {_TOP}V{_BOTTOM}"))
        found.append(el("text", word, x=place, y=_BOTTOM + 16, text_anchor="middle"))
    return found


def _curve(times: NDArray[np.int64], curve: Curve, sheet: _Sheet) -> list[Markup]:
    at, values = _extremes(times, curve.values)
    places = np.array([sheet.place(float(t), float(v)) for t, v in zip(at, values, strict=True)])
    x, y = places.reshape(-1, 2).T
    if sheet.kind is Kind.ANGLE:  # north is both ends of the scale: a line would cross it all
        dots = "".join(f"M{px:.1f} {py:.1f}h0" for run in runs(x, y) for px, py in run)
        return [el("path", class_="dots", d=dots)]
    return [el("path", class_=f"curve {curve.kind}", d=path(run)) for run in runs(x, y)]


def _extremes(
    times: NDArray[np.int64], values: NDArray[np.float64]
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Thin out to the lowest and highest of every few values, so that no peak is lost."""
    each = -(-2 * times.size // _POINTS)
    if each <= 2:
        return times, values
    kept: list[int] = []
    for start in range(0, times.size, each):
        part = values[start : start + each]
        if np.isnan(part).all():
            kept.append(start)
        else:
            kept += sorted({start + int(np.nanargmin(part)), start + int(np.nanargmax(part))})
    return times[kept], values[kept]
