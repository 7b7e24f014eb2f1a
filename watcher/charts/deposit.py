"""Deposit against distance: the curve straight downwind, and every neighbour where it lies."""

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from watcher.charts.style import BESIDE, INK, MAIN, PALE, PAPER, SECOND
from watcher.i18n.message import plain_name
from watcher.judge.neighbour_deposits import DownwindCurve, NeighbourDeposit
from watcher.messages.drift import percent, up_to, whither
from watcher.messages.vocabulary import ORIGIN_WORDS
from watcher.units import Kind, System, amount

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_FROM_M, _LEAST_TO_M = 1.0, 50.0
_BEYOND_FURTHEST = 1.15
_LEAST_PCT, _MOST_PCT = 1e-3, 1.0
_MOST_DRAWN = 8


def distances_m(found: Sequence[NeighbourDeposit]) -> np.ndarray:
    """Distances to draw the curve over: from the first metre to beyond the furthest neighbour."""
    furthest = max((e.gap_m for e in found), default=0.0) * _BEYOND_FURTHEST
    return np.geomspace(_FROM_M, max(_LEAST_TO_M, furthest), 200)


def draw_deposit(
    axes: "Axes", curve: DownwindCurve, found: Sequence[NeighbourDeposit], system: System
) -> None:
    """Draw the curve and the neighbours; says so where wind or direction is unknown."""
    axes.set_title("What may land downwind, and what the neighbours stand", loc="left")
    axes.set_yscale("log")
    axes.set_xlabel(f"Distance from the field [{Kind.LENGTH.shown[system]}]")
    axes.set_ylabel("Deposit [% of the field's rate]")
    axes.yaxis.set_major_formatter(lambda value, _: f"{value:g}")
    x = _shown(curve.distance_m, system)
    axes.set_xlim(0, x[-1])
    if np.isnan(curve.upper_pct).all():
        axes.text(0.5, 0.5, "wind or its direction unknown", transform=axes.transAxes, ha="center")
        axes.set_ylim(_LEAST_PCT, _MOST_PCT)
        return
    floor = _floor(curve, found)
    axes.set_ylim(floor, max(_MOST_PCT, float(curve.upper_pct.max()) * 2))
    axes.fill_between(x, curve.expected_pct, curve.upper_pct, color=PALE, lw=0)
    axes.plot(x, curve.upper_pct, color=MAIN, ls="--", label="upper, straight downwind")
    axes.plot(x, curve.expected_pct, color=MAIN, label="expected, straight downwind")
    at = _shown(np.array([e.gap_m for e in found]), system) if found else np.empty(0)
    for number, one in enumerate(found[:_MOST_DRAWN], start=1):
        _draw_neighbour(axes, one, number, _beside(at, number - 1, x[-1]), floor)
    _draw_key(axes, found)


def _shown(metres: np.ndarray, system: System) -> np.ndarray:
    return np.array([amount(float(m), Kind.LENGTH, system) for m in metres])


def _floor(curve: DownwindCurve, found: Sequence[NeighbourDeposit]) -> float:
    """Lower end of the axis: a third of the least thing drawn, within reason."""
    drawn = [float(curve.expected_pct.min()), *(e.edge_pct for e in found)]
    drawn += [e.tolerance_pct for e in found if math.isfinite(e.tolerance_pct)]
    return max(min(v for v in [*drawn, _MOST_PCT] if v > _LEAST_PCT) / 3, _LEAST_PCT)


def _beside(at: np.ndarray, index: int, width: float) -> float:
    """Where to draw a neighbour: a little aside of those before it at the same distance."""
    same = int(np.sum(np.abs(at[:index] - at[index]) < 0.02 * width))
    return float(at[index] + 0.02 * width * same)


def _draw_neighbour(
    axes: "Axes", one: NeighbourDeposit, number: int, at: float, floor: float
) -> None:
    """A bar from the expected to the upper deposit as the wind blows, a cap where it must end."""
    low, high = (max(v, floor) for v in (one.edge_pct, one.upper_pct))
    axes.plot([at, at], [low, high], color=INK, lw=1.2, zorder=3)
    fill = INK if one.over else PAPER
    axes.plot([at], [high], "D", color=INK, mfc=fill, ms=6, zorder=5, clip_on=False)
    axes.plot([at], [low], "o", color=INK, mfc=PAPER, ms=5, zorder=4, clip_on=False)
    if math.isfinite(one.tolerance_pct):
        stands = max(one.tolerance_pct, floor)
        axes.plot([at], [stands], "_", color=SECOND, ms=14, mew=2.5, zorder=6, clip_on=False)
    axes.annotate(
        str(number),
        (at, max(high, one.tolerance_pct if math.isfinite(one.tolerance_pct) else 0.0)),
        xytext=(0, 8),
        textcoords="offset points",
        ha="center",
        fontsize=9,
        fontweight="bold",
    )


def _against(one: NeighbourDeposit) -> str:
    lands = "nothing lands" if one.upper_pct == 0 else str(up_to(one.upper_pct))
    if math.isinf(one.tolerance_pct):
        return f"{lands}, takes no harm"
    side, stands = "over" if one.over else "within", percent(one.tolerance_pct)
    hood = ", hood not counted" if one.as_open_boom else ""
    return f"{lands}{hood}, {side} the {stands} it stands ({ORIGIN_WORDS[one.origin]})"


def _draw_key(axes: "Axes", found: Sequence[NeighbourDeposit]) -> None:
    """Explain the marks, and list the neighbours by their numbers."""
    for mark, fill, word in (
        ("D", INK, "upper at a neighbour, over what it stands"),
        ("D", PAPER, "upper at a neighbour, within it"),
        ("o", PAPER, "expected at a neighbour"),
    ):
        axes.plot([], [], mark, color=INK, mfc=fill, ls="none", label=word)
    axes.plot([], [], "_", color=SECOND, ms=14, mew=2.5, ls="none", label="what it stands")
    for number, one in enumerate(found[:_MOST_DRAWN], start=1):
        who = f"{plain_name(one.neighbour)} {whither(one.side)}\n{_against(one)}"
        axes.plot([], [], ls="none", marker=f"${number}$", color=INK, label=who)
    if len(found) > _MOST_DRAWN:
        axes.plot([], [], ls="none", label=f"{len(found) - _MOST_DRAWN} more get less")
    axes.legend(**BESIDE)
