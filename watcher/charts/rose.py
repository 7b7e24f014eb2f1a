"""A wind rose: where the wind came from, how often and how strong."""

from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, cast

import numpy as np

from watcher.charts.style import FAINT, INK, PAPER, check, keep, type_set
from watcher.units import Kind, System, amount
from watcher.weather.rose import Rose

if TYPE_CHECKING:
    from matplotlib.projections.polar import PolarAxes

_FILLS = ("#ffffff", "#d9e3f2", "#a9c1e6", "#6f93c9", "#1f4e8c", "#0f2747")
_HATCHES = ("", "", "//", "", "", "")
_COMPASS = ("N", "NE", "E", "SE", "S", "SW", "W", "NW")
_SIZE_IN = (7.5, 6.0)


def draw_rose(file: Path, found: Rose, title: str, system: System) -> None:
    """Draw a rose into a file, PNG or SVG by its name; ``CannotDrawError`` says why not.

    The petals point to where the wind comes from; stronger classes are darker and further out.
    """
    check(file)
    with type_set() as figures:
        figure = figures(figsize=_SIZE_IN, layout="constrained", facecolor=PAPER)
        figure.suptitle(title, x=0.02, ha="left", fontsize=11, fontweight="bold", color=INK)
        axes = cast("PolarAxes", figure.add_subplot(projection="polar"))
        axes.set_theta_zero_location("N")
        axes.set_theta_direction(-1)
        axes.set_thetagrids(np.arange(0, 360, 45), _COMPASS)
        sectors = found.shares.shape[0]
        angles, width = np.radians(found.centres_deg), 2 * np.pi / sectors * 0.86
        below = np.zeros(sectors)
        for index, word in enumerate(_classes(found, system)):
            share = 100.0 * np.nan_to_num(found.shares[:, index])
            axes.bar(
                angles,
                share,
                width,
                bottom=below,
                facecolor=_FILLS[min(index, len(_FILLS) - 1)],
                hatch=_HATCHES[min(index, len(_HATCHES) - 1)],
                edgecolor=INK,
                lw=0.6,
                label=word,
            )
            below += share
        axes.yaxis.set_major_formatter(lambda value, _: f"{value:g} %")
        axes.tick_params(axis="y", labelsize=8, colors=INK)
        axes.grid(color=FAINT, lw=0.4)
        axes.legend(
            title=f"Wind [{Kind.SPEED.shown[system]}]",
            loc="upper left",
            bbox_to_anchor=(1.08, 1.0),
            frameon=False,
            fontsize=9,
        )
        axes.set_xlabel(_beside(found), labelpad=14)
    keep(figure, file)


def _classes(found: Rose, system: System) -> list[str]:
    edges = [f"{amount(edge, Kind.SPEED, system):.0f}" for edge in found.edges_m_s]
    return [
        f"under {edges[0]}",
        *map(" to ".join, pairwise(edges)),
        f"{edges[-1]} and more",
    ]


def _beside(found: Rose) -> str:
    if not found.known:
        return "no wind is known of this time"
    return (
        f"calm {found.calm:.0%}, without a direction {found.unsteady:.0%}; of {found.known} times"
    )
