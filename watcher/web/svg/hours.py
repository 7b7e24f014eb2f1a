"""The hours ahead of one field: curves of wind and gust between its own bounds, and what else."""

import math
from dataclasses import dataclass
from zoneinfo import ZoneInfo

import numpy as np
from markupsafe import Markup
from numpy.typing import NDArray

from watcher.judge.judgement import Judgement
from watcher.limits.catalogue import Limit
from watcher.limits.hours import ends
from watcher.limits.status import Status
from watcher.messages.words import SHAPES
from watcher.units import Kind, System, amount
from watcher.weather.inversion import Finding
from watcher.weather.series import WeatherSeries
from watcher.weather.sun import SET_ELEVATION_DEG, elevation
from watcher.web.svg.scale import Scale, runs, stretches, wall_hours
from watcher.web.svg.svg import el, path

_W, _H = 400.0, 224.0
_LEFT, _RIGHT, _TOP, _BOTTOM = 32.0, 396.0, 28.0, 168.0
_STRIP = 192.0
_WORTH_SHOWING = 1.25
_LABEL_APART = 12.0


@dataclass(frozen=True)
class Ahead:
    """What all fields' charts share: the times shown, night, inversion and rain. Arrays [T]"""

    hours: slice
    times: NDArray[np.int64]
    until: NDArray[np.float64]
    night: NDArray[np.bool_]
    inverted: NDArray[np.bool_]
    rain: NDArray[np.bool_]


def ahead(judgement: Judgement, now_index: int) -> Ahead:
    """Work out what is marked on every chart, from now to the horizon."""
    series = judgement.series
    judging = judgement.plan.farm.config.judging
    last = int(np.searchsorted(series.times, series.times[now_index] + judging.horizon))
    hours = slice(now_index, last)
    return Ahead(
        hours=hours,
        times=series.times[hours],
        until=ends(series)[hours],
        night=_night(series.at(hours)),
        inverted=judgement.inversion.finding[hours] >= Finding.POSSIBLE,
        rain=np.nan_to_num(series.rain_mm_h[hours]) >= judging.rain_counts_from,
    )


def _night(series: WeatherSeries) -> NDArray[np.bool_]:
    site = series.site
    sun = elevation(times=series.times, latitude=site.latitude, longitude=site.longitude)
    return np.asarray(sun < SET_ELEVATION_DEG)


def chart(
    judgement: Judgement, shared: Ahead, case: tuple[int, int], zone: ZoneInfo, system: System
) -> Markup:
    """Draw one field with one setup (``case``, as indices) over the hours ahead."""
    field, setup = case
    plan = judgement.plan
    wind = judgement.boom.wind_m_s[field, setup, shared.hours]
    gust = judgement.boom.gust_m_s[field, setup, shared.hours]
    bounds = [
        ("wind", float(plan.bounds[Limit.WIND].low[field])),
        ("wind", float(plan.bounds[Limit.WIND].high[field])),
        ("gust", float(plan.bounds[Limit.GUST].high[field])),
    ]
    bounds = [(kind, at) for kind, at in bounds if math.isfinite(at) and at > 0]
    y = _speeds([at for _, at in bounds], wind, gust, system)
    x = Scale(float(shared.times[0]), float(shared.until[-1]), _LEFT, _RIGHT)
    return el(
        "svg",
        *_marks(shared, x),
        *_grid(y, x, zone),
        *_bounds(bounds, y, system),
        *_curves((("wind", wind), ("gust", gust)), shared, x, y, system),
        *_strip(judgement.best[field, shared.hours], shared, x),
        class_="hours",
        viewBox=f"0 0 {_W:.0f} {_H:.0f}",
        role="img",
        aria_labelledby=f"h-{plan.fields[field]}",
    )


def _speeds(
    bounds: list[float], wind: NDArray[np.float64], gust: NDArray[np.float64], system: System
) -> Scale:
    """The speeds shown: all bounds with room above, and the curves as far as they are near them."""
    highest = max(bounds, default=5.0) * _WORTH_SHOWING
    seen = np.concatenate([wind, gust])
    if np.isfinite(seen).any():
        highest = max(highest, min(float(np.nanmax(seen)) * 1.05, 2.0 * highest))
    return Scale(0.0, amount(highest, Kind.SPEED, system), _BOTTOM, _TOP)


def _marks(shared: Ahead, x: Scale) -> list[Markup]:
    found = []
    for kind, marks, top, height in (
        ("night", shared.night, _TOP, _BOTTOM - _TOP),
        ("inversion", shared.inverted, _TOP - 11, 10.0),
        ("rain", shared.rain, _TOP - 24, 10.0),
    ):
        for first, last in stretches(marks):
            start, end = x(float(shared.times[first])), x(float(shared.until[last - 1]))
            box = {"x": start, "y": top, "width": end - start, "height": height}
            found.append(el("rect", class_=kind, **box))
    return found


def _grid(y: Scale, x: Scale, zone: ZoneInfo) -> list[Markup]:
    found = [
        el("text", f"{value:g}", class_="num", x=_LEFT - 5, y=y(value) + 4, text_anchor="end")
        for value in y.ticks()
    ]
    for at, word in wall_hours(int(x.low), int(x.high), zone, 6):
        place = x(float(at))
        day = "day" if not word.isdigit() else None
        found.append(el("path", class_="grid", d=f"M{place:.1f} {_TOP}V{_BOTTOM}"))
        if place < _RIGHT - 8:
            found.append(
                el("text", word, class_=day, x=place, y=_BOTTOM + 16, text_anchor="middle")
            )
    return found


def _bounds(bounds: list[tuple[str, float]], y: Scale, system: System) -> list[Markup]:
    found = []
    for kind, bound in bounds:
        place = y(amount(bound, Kind.SPEED, system))
        found.append(el("path", class_=f"bound {kind}", d=f"M{_LEFT} {place:.1f}H{_RIGHT}"))
    return found


def _curves(
    curves: tuple[tuple[str, NDArray[np.float64]], ...],
    shared: Ahead,
    x: Scale,
    y: Scale,
    system: System,
) -> list[Markup]:
    places = np.array([x(float(t)) for t in shared.times])
    found = []
    for kind, values in curves:
        heights = np.array([y.inside(amount(float(v), Kind.SPEED, system)) for v in values])
        heights = np.where(np.isnan(values), np.nan, heights)
        found += [el("path", class_=f"curve {kind}", d=path(run)) for run in runs(places, heights)]
    return found


def _strip(best: NDArray[np.int8], shared: Ahead, x: Scale) -> list[Markup]:
    """What the field is hour by hour, as bars of four heights and, where there is room, shapes."""
    found = []
    for status in Status:
        for first, last in stretches(best == status):
            start, end = x(float(shared.times[first])), x(float(shared.until[last - 1]))
            box = {"x": start, "y": _STRIP, "width": max(end - start - 0.6, 0.6), "height": 24.0}
            found.append(el("rect", class_=f"s-{status.word}", **box))
            if end - start >= _LABEL_APART:
                middle = (start + end) / 2
                shape = el(
                    "text",
                    SHAPES[status],
                    class_=f"t-{status.word}",
                    x=middle,
                    y=_STRIP + 17,
                    text_anchor="middle",
                )
                found.append(shape)
    return found
