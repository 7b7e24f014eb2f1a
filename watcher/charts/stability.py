"""The evidence of an inversion through a day: one row a line of evidence, the whole at the top."""

from datetime import datetime, timedelta
from itertools import pairwise
from typing import TYPE_CHECKING, Any, NamedTuple
from zoneinfo import ZoneInfo

import numpy as np

from watcher.charts.style import BESIDE, FAINT, INK, MAIN, PALE, PAPER
from watcher.judge.judgement import Judgement
from watcher.limits.hours import ends
from watcher.messages.air import EVIDENCE
from watcher.messages.vocabulary import FINDING_WORDS
from watcher.weather.inversion import Finding
from watcher.weather.series import WeatherSeries
from watcher.weather.sun import next_sunrise, next_sunset

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_SHOWN_H = 36
_WORD_NEEDS = 2.4 / _SHOWN_H  # share of the chart's width
_ROW = 0.8


class _Look(NamedTuple):
    """How a finding is drawn: fill, hatch and ink. Graver is darker and denser."""

    fill: str
    hatch: str
    ink: str


_LOOKS = {
    Finding.UNKNOWN: _Look(PAPER, "...", FAINT),
    Finding.NONE: _Look(PAPER, "", FAINT),
    Finding.POSSIBLE: _Look(PALE, "//", INK),
    Finding.LIKELY: _Look("#8fb0dd", "xx", INK),
    Finding.MEASURED: _Look(MAIN, "", PAPER),
}


def draw_stability(axes: "Axes", judgement: Judgement, at: int, zone: ZoneInfo) -> None:
    """Draw the local day of ``at`` and the following morning, as far as the series goes."""
    begin, end = _span(at, zone)
    series, inversion = judgement.series, judgement.inversion
    rows = {"taken together": inversion.finding} | {
        str(EVIDENCE[name]): findings for name, findings in inversion.lines.items()
    }
    axes.set_title("Signs of an inversion through the day", loc="left")
    for row, findings in enumerate(rows.values()):
        draw_findings(axes, row, findings, _hours(series, begin), _SHOWN_H)
    axes.set_yticks(range(len(rows)), list(rows))
    axes.get_yticklabels()[0].set_fontweight("bold")
    axes.set_ylim(len(rows) - 0.4, -1.1)
    axes.set_xlim(0, _SHOWN_H)
    hours = list(range(0, _SHOWN_H + 1, 3))
    local = [datetime.fromtimestamp(begin + 3600 * h, zone) for h in hours]
    axes.set_xticks(hours, [f"{t:%H:%M}" for t in local])
    axes.set_xlabel(f"Local time from {local[0]:%d %b %Y}")
    axes.spines["left"].set_visible(False)
    axes.tick_params(left=False)
    _draw_sun(axes, series, begin, end)
    axes.axvline((at - begin) / 3600, color=INK, lw=1.6, zorder=5)
    _flag(axes, (at - begin) / 3600, f"{datetime.fromtimestamp(at, zone):%H:%M}", weight="bold")
    draw_findings_key(axes, **BESIDE)


def _span(at: int, zone: ZoneInfo) -> tuple[int, int]:
    local = datetime.fromtimestamp(at, zone)
    midnight = local.replace(hour=0, minute=0, second=0, microsecond=0)
    return int(midnight.timestamp()), int((midnight + timedelta(hours=_SHOWN_H)).timestamp())


def _hours(series: WeatherSeries, begin: int) -> np.ndarray:
    """Edges of the times values stand for, in hours of the chart. [T + 1]"""
    edges = np.append(series.times[:1], ends(series))
    return (edges - begin) / 3600.0


def draw_findings(
    axes: "Axes", row: int, findings: np.ndarray, edges: np.ndarray, shown_h: float
) -> None:
    """Draw findings [T] as one row of bars with words; ``edges`` [T + 1] in hours of the chart."""
    changes = np.flatnonzero(np.diff(findings)) + 1
    for first, last in pairwise([0, *changes.tolist(), len(findings)]):
        start, stop = max(edges[first], 0.0), min(edges[last], shown_h)
        if stop <= start:
            continue
        finding = Finding(int(findings[first]))
        look = _LOOKS[finding]
        axes.broken_barh(
            [(start, stop - start)],
            (row - _ROW / 2, _ROW),
            facecolor=look.fill,
            edgecolor=look.ink if look.ink != PAPER else MAIN,
            hatch=look.hatch,
            lw=0.6,
        )
        if stop - start >= _WORD_NEEDS * shown_h:
            _write(axes, (start + stop) / 2, row, str(FINDING_WORDS[finding]), look)


def _write(axes: "Axes", at: float, row: int, word: str, look: _Look) -> None:
    axes.text(
        at,
        row,
        word,
        ha="center",
        va="center",
        fontsize=8,
        color=look.ink if look.ink != FAINT else INK,
        zorder=6,
        bbox={"facecolor": look.fill, "edgecolor": "none", "pad": 1.2},
    )


def _draw_sun(axes: "Axes", series: WeatherSeries, begin: int, end: int) -> None:
    place = {"latitude": series.site.latitude, "longitude": series.site.longitude}
    for word, event in (("sunrise", next_sunrise), ("sunset", next_sunset)):
        for day in range(0, _SHOWN_H, 24):
            when = float(event(times=begin + 3600 * day, **place))
            if begin <= when <= end:
                axes.axvline((when - begin) / 3600, color=INK, lw=0.8, ls=":", zorder=4)
                _flag(axes, (when - begin) / 3600, word)


def _flag(axes: "Axes", at: float, word: str, weight: str = "normal") -> None:
    axes.text(at, -0.62, f" {word}", fontsize=8, ha="left", va="bottom", fontweight=weight)


def draw_findings_key(axes: "Axes", **place: Any) -> None:
    """Draw what the bars of findings mean."""
    from matplotlib.patches import Patch  # noqa: PLC0415

    shown = [
        Patch(
            fc=look.fill,
            ec=look.ink if look.ink != PAPER else MAIN,
            hatch=look.hatch,
            lw=0.6,
            label=str(FINDING_WORDS[finding]),
        )
        for finding, look in _LOOKS.items()
    ]
    axes.legend(handles=shown, handleheight=1.4, **place)
