"""The log of one station drawn against the bounds of one field, with its jobs marked."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Literal
from zoneinfo import ZoneInfo

import numpy as np

from watcher.charts.stability import draw_findings, draw_findings_key
from watcher.charts.style import ABOVE, FAINT, INK, MAIN, PALE, SECOND, check, keep, sheet, type_set
from watcher.charts.time_axis import hours_from, mark_time, with_gaps
from watcher.i18n.message import Message
from watcher.judge.judgement import judge
from watcher.limits.air import wet_bulb_depression
from watcher.limits.boom_wind import boom_wind
from watcher.limits.catalogue import CATALOGUE, Limit
from watcher.limits.farm_arrays import FarmArrays
from watcher.limits.hours import ends
from watcher.messages.rules import origin_words
from watcher.units import Kind, System, amount
from watcher.weather.inversion import assess
from watcher.weather.series import Floats, WeatherSeries

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_WIND_HEIGHT, _HEIGHT, _STABILITY_HEIGHT = 2.6, 1.5, 0.9
_WINDS = ("N", "E", "S", "W", "N")
_ROOM = 1.15
_UNITS = {"degF": "°F", "degC": "°C"}
_ALWAYS = (Limit.TEMPERATURE, Limit.DELTA_T)
"""Drawn as the station measured them, whether or not the field has bounds for them."""
_APART = {Limit.WIND, Limit.GUST, Limit.INVERSION}
"""In panels of their own shape."""
_JOB_LEVELS = 3


@dataclass(frozen=True)
class JobSpan:
    """A job on the chart. ``end`` is None while it is open. Epoch seconds."""

    label: str
    start: int
    end: int | None


@dataclass(frozen=True)
class LoggedDays:
    """What is drawn, from ``start`` to ``end``: a station's weather, and the farm's hours.

    ``measured`` is as the station measured it; ``hours`` are the farm's as they are judged, for
    the stability. ``field`` and ``setup`` are positions in the plan.
    """

    plan: FarmArrays
    field: int
    setup: int
    start: int
    end: int
    measured: WeatherSeries
    hours: WeatherSeries
    jobs: Sequence[JobSpan] = ()

    @property
    def system(self) -> System:
        """The units the farm reads."""
        return self.plan.farm.config.farm.units

    @property
    def zone(self) -> ZoneInfo:
        """The farm's clock."""
        return self.plan.farm.zone


def draw_log(file: Path, days: LoggedDays) -> None:
    """Draw into a file, PNG or SVG by its name; ``CannotDrawError`` says why not."""
    check(file)
    plan = days.plan
    title = (
        f"{days.measured.source}, against the bounds of {plan.fields[days.field]} "
        f"with {plan.setups[days.setup]}"
    )
    with type_set():
        lines = (*_ALWAYS, *_others(days))
        heights = (_WIND_HEIGHT, _HEIGHT, *(_HEIGHT for _ in lines), _STABILITY_HEIGHT)
        figure, panels = sheet(heights, title)
        _draw_panels(panels, days, lines)
        keep(figure, file)


def _others(days: LoggedDays) -> list[Limit]:
    """The other limits the field has a bound for."""
    bounds = days.plan.bounds.items()
    bounded = {
        limit
        for limit, b in bounds
        if np.isfinite(b.low[days.field]) or np.isfinite(b.high[days.field])
    }
    return [
        limit
        for limit, entry in CATALOGUE.items()
        if limit in bounded - _APART and limit not in _ALWAYS and entry.chart
    ]


def _draw_panels(panels: "Sequence[Axes]", days: LoggedDays, lines: Sequence[Limit]) -> None:
    wind, direction, *drawn, stability = panels
    hours = hours_from(days.start, days.measured.times)
    _draw_wind(wind, days, hours)
    _draw_direction(direction, hours, days.measured.wind_from_deg)
    measured = {
        Limit.TEMPERATURE: days.measured.temp_c,
        Limit.DELTA_T: wet_bulb_depression(days.measured),
    }
    # The others by the hour, as they are judged.
    at = hours_from(days.start, days.hours.times)
    judged = _judged(days) if len(lines) > len(measured) else {}
    for axes, limit in zip(drawn, lines, strict=True):
        entry = CATALOGUE[limit]
        axes.set_title(str(entry.chart), loc="left")
        if entry.kind is None:
            continue
        if limit in measured:
            _draw_line(axes, days, hours, measured[limit], entry.kind)
        else:
            _draw_line(axes, days, at, judged[limit], entry.kind)
        _draw_bounds(axes, days, limit, entry.kind)
    _draw_stability(stability, days)
    _mark_jobs(panels, days)
    mark_time(panels, days.start, days.end, days.zone)


def _judged(days: LoggedDays) -> dict[Limit, Floats]:
    """The value of every limit by hour; missing where there is none. [T]"""
    judgement = judge(days.plan, days.hours)
    shape = judgement.instant.shape
    values = {
        checked.limit: np.broadcast_to(checked.value, shape)[days.field, days.setup]
        for checked in judgement.checks
    }
    return {limit: np.where(np.isfinite(v), v, np.nan) for limit, v in values.items()}


def _draw_wind(axes: "Axes", days: LoggedDays, hours: Floats) -> None:
    measured, plan = days.measured, days.plan
    boom_m = plan.canopy_m[days.field] + plan.boom_m[days.setup]
    own = plan.only((plan.fields[days.field],))
    boom = boom_wind(own, measured, assess(measured).obukhov_m)
    mean, gust = boom.wind_m_s[0, days.setup], boom.gust_m_s[0, days.setup]
    height = Kind.SMALL_LENGTH.show(boom_m, days.system)
    axes.set_title(f"Wind and gusts at the boom, {height} above the ground", loc="left")
    at, low, high = with_gaps(hours, *(_shown(v, Kind.SPEED, days.system) for v in (mean, gust)))
    axes.fill_between(at, low, high, color=PALE, lw=0, label="up to the gust")
    axes.plot(at, high, color=SECOND, lw=0.7, label="gust")
    axes.plot(at, low, color=MAIN, lw=1.2, label="mean wind")
    axes.set_ylabel(f"[{Kind.SPEED.shown[days.system]}]")
    _draw_bounds(axes, days, Limit.WIND, Kind.SPEED)
    _draw_bounds(axes, days, Limit.GUST, Kind.SPEED, ls=":")
    axes.set_ylim(0, max(axes.get_ylim()[1], 1.0) * _ROOM)
    axes.legend(**ABOVE, ncols=3)


def _draw_direction(axes: "Axes", hours: Floats, from_deg: Floats) -> None:
    axes.set_title("Wind from", loc="left")
    size = 2.0 if hours.size > 300 else 3.5
    axes.plot(hours, from_deg, ".", color=MAIN, ms=size, mew=0)
    axes.set_ylim(0, 360)
    axes.set_yticks(range(0, 361, 90), list(_WINDS))
    axes.grid(axis="y", lw=0.4, alpha=0.5)


def _draw_line(axes: "Axes", days: LoggedDays, hours: Floats, values: Floats, kind: Kind) -> None:
    at, shown = with_gaps(hours, _shown(values, kind, days.system))
    axes.plot(at, shown, color=MAIN, lw=1.2)
    unit = kind.shown[days.system]
    axes.set_ylabel(f"[{_UNITS.get(unit, unit)}]")


def _draw_bounds(axes: "Axes", days: LoggedDays, limit: Limit, kind: Kind, ls: str = "--") -> None:
    """Draw the field's bounds of a limit, each with its word and where it comes from."""
    bounds = days.plan.bounds.get(limit)
    if bounds is None:
        return
    word = "gusts" if limit is Limit.GUST else ""
    sides: tuple[tuple[Literal["low", "high"], str, Floats], ...] = (
        ("low", "from", bounds.low),
        ("high", "up to", bounds.high),
    )
    for side, word_of_side, values in sides:
        value = float(values[days.field])
        if not np.isfinite(value):
            continue
        at = amount(value, kind, days.system)
        axes.axhline(at, color=INK, lw=0.9, ls=ls)
        said = " ".join(filter(None, (word, word_of_side, kind.show(value, days.system))))
        axes.annotate(
            f" {said} ({_whose(days, limit, side)})",
            (1.0, at),
            xycoords=("axes fraction", "data"),
            va="center",
            fontsize=8,
            annotation_clip=False,
        )


def _whose(days: LoggedDays, limit: Limit, side: Literal["low", "high"]) -> Message:
    bounds, field = days.plan.bounds[limit], days.field
    origin = (bounds.low_origin if side == "low" else bounds.origin)[field]
    return origin_words(origin, derived=bounds.derived[field])


def _draw_stability(axes: "Axes", days: LoggedDays) -> None:
    axes.set_title("Inversion, by hour", loc="left")
    edges = hours_from(days.start, np.append(days.hours.times[:1], ends(days.hours)))
    finding = assess(days.hours).finding
    draw_findings(axes, 0, finding, edges, (days.end - days.start) / 3600.0)
    axes.set_ylim(0.5, -0.5)
    axes.set_yticks([])
    axes.spines["left"].set_visible(False)
    draw_findings_key(axes, **ABOVE, ncols=5)


def _mark_jobs(panels: "Sequence[Axes]", days: LoggedDays) -> None:
    """Mark every job on every panel, and name it on the first."""
    for number, job in enumerate(days.jobs):
        end = days.end if job.end is None else job.end
        start, stop = (hours_from(days.start, np.array([t]))[0] for t in (job.start, end))
        for axes in panels[:-1]:
            axes.axvspan(start, stop, fc="none", ec=FAINT, hatch="\\\\", lw=0.8, zorder=0)
        panels[0].annotate(
            job.label,
            (max(start, 0.0), 0.99 - 0.09 * (number % _JOB_LEVELS)),
            xycoords=("data", "axes fraction"),
            va="top",
            fontsize=8,
            fontweight="bold",
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.8, "alpha": 0.8},
        )


def _shown(values: Floats, kind: Kind, system: System) -> Floats:
    scale = kind.scale(kind.shown[system])
    return values / scale.factor + scale.zero
