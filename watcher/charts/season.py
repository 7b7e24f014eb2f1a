"""A season drawn: the share of hours each field was open, and what took the others."""

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from watcher.charts.style import BESIDE, FAINT, INK, MAIN, PALE, PAPER, check, keep, sheet, type_set
from watcher.i18n.message import plain_name
from watcher.judge.season import Tally
from watcher.limits.status import Status
from watcher.messages.words import SHAPES

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_ROW_IN, _FRAME_IN = 0.3, 1.0
_WORD_NEEDS_PCT = 4.0
# The open ones are dark, the closed ones light; unknown is dotted.
_LOOKS = {
    Status.SUITABLE: (MAIN, "", PAPER),
    Status.MARGINAL: ("#8fb0dd", "//", INK),
    Status.UNKNOWN: (PAPER, "...", INK),
    Status.UNSUITABLE: (PAPER, "", INK),
}


def draw_season(file: Path, tally: Tally, title: str) -> None:
    """Draw a tally into a file, PNG or SVG by its name; ``CannotDrawError`` says why not."""
    check(file)
    limits = max(len(tally.bound) + bool(tally.cut_short.any()), 1)
    heights = (
        _FRAME_IN + _ROW_IN * len(tally.fields),
        _FRAME_IN + _ROW_IN * limits,
    )
    with type_set():
        figure, (fields, taken) = sheet(heights, title)
        _draw_fields(fields, tally)
        _draw_taken(taken, tally)
        keep(figure, file)


def _draw_fields(axes: "Axes", tally: Tally) -> None:
    axes.set_title("Share of all hours", loc="left")
    whole = np.maximum(tally.hours.sum(axis=1), 1.0)
    rows = np.arange(len(tally.fields))
    left = np.zeros(rows.size)
    for status, (fill, hatch, ink) in _LOOKS.items():
        share = 100.0 * tally.hours[:, status] / whole
        axes.barh(
            rows,
            share,
            0.7,
            left,
            fc=fill,
            hatch=hatch,
            ec=INK,
            lw=0.6,
            label=f"{SHAPES[status]} {status.word}",
        )
        for row in np.flatnonzero(share >= _WORD_NEEDS_PCT).tolist():
            hours = f"{tally.hours[row, status]:.0f} h"
            axes.text(
                left[row] + share[row] / 2,
                row,
                hours,
                ha="center",
                va="center",
                fontsize=8,
                color=ink,
                bbox={"facecolor": fill, "edgecolor": "none", "pad": 1.0},
            )
        left += share
    axes.set_yticks(rows, [plain_name(field) for field in tally.fields])
    axes.set_ylim(rows.size - 0.4, -0.6)
    axes.set_xlim(0, 100)
    axes.xaxis.set_major_formatter(lambda value, _: f"{value:g} %")
    axes.legend(**BESIDE)


def _draw_taken(axes: "Axes", tally: Tally) -> None:
    """What closed the fields: hours of a field, on average over them, by the limit that bound."""
    axes.set_title("What took the other hours, for a field on average", loc="left")
    bound = {limit.value: hours.mean() for limit, hours in tally.bound.items()}
    alone = {limit.value: hours.mean() for limit, hours in tally.alone.items()}
    if tally.cut_short.any():
        bound["not known to the job's end"] = tally.cut_short.mean()
    words = sorted(bound, key=lambda word: -bound[word])
    rows = np.arange(len(words))
    axes.barh(
        rows, [bound[w] for w in words], 0.7, fc=PALE, ec=INK, lw=0.6, label="this limit bound"
    )
    axes.barh(
        rows,
        [alone.get(w, 0.0) for w in words],
        0.35,
        fc=MAIN,
        ec=INK,
        lw=0.6,
        label="nothing else stood in the way",
    )
    for row, word in enumerate(words):
        said = f"{bound[word]:.0f} h" if bound[word] >= 1 else "under 1 h"
        axes.text(bound[word], row, f"  {said}", va="center", fontsize=8)
    axes.set_yticks(rows, words)
    axes.set_ylim(max(rows.size, 1) - 0.4, -0.6)
    axes.margins(x=0.1)
    axes.set_xlim(left=0)
    axes.set_xlabel("Hours")
    axes.grid(axis="x", lw=0.4, color=FAINT, alpha=0.5)
    axes.set_axisbelow(True)
    axes.legend(**BESIDE)
