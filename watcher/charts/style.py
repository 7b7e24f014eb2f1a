"""The paper charts are drawn on: size, type and ink, and where it is kept."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

INK = "#1c1c28"
FAINT = "#8d8d99"
MAIN = "#1f4e8c"
SECOND = "#8a3ffc"
PALE = "#d9e3f2"
PAPER = "#ffffff"
SUFFIXES = (".png", ".svg")

_TYPE: dict[Any, object] = {
    "font.size": 9,
    "axes.edgecolor": FAINT,
    "axes.labelcolor": INK,
    "axes.titlesize": 10,
    "axes.titleweight": "bold",
    "axes.titlelocation": "left",
    "axes.spines.top": False,
    "axes.spines.right": False,
    "hatch.linewidth": 0.8,
    "svg.fonttype": "none",
    "svg.hashsalt": "watcher",
    "text.color": INK,
    "xtick.color": INK,
    "ytick.color": INK,
}
BESIDE: dict[str, Any] = {
    "loc": "upper left",
    "bbox_to_anchor": (1.01, 1.02),
    "frameon": False,
    "fontsize": 8,
    "handlelength": 2.6,
    "labelspacing": 0.7,
}
"""Where a panel's key stands."""
ABOVE: dict[str, Any] = {
    "loc": "lower right",
    "bbox_to_anchor": (1.0, 0.98),
    "frameon": False,
    "fontsize": 8,
    "handlelength": 2.0,
    "columnspacing": 1.4,
}
"""Where it stands when there are words beside the panel."""


class CannotDrawError(Exception):
    """A chart cannot be drawn; the text says what to do."""


def check(file: Path) -> None:
    """Raise ``CannotDrawError`` unless a chart can be drawn and kept in this file."""
    if file.suffix.lower() not in SUFFIXES:
        raise CannotDrawError(f"{file} is neither .png nor .svg; name the file so")
    if not file.parent.is_dir():
        raise CannotDrawError(f"there is no folder {file.parent}; make it first")
    try:
        import matplotlib  # noqa: F401, PLC0415
    except ImportError as error:
        raise CannotDrawError(
            "charts need matplotlib, which is not installed; install this program with its "
            '"plots" extra: pip install "field-weather-watch[plots]"'
        ) from error


@contextmanager
def type_set() -> "Iterator[type[Figure]]":
    """Yield what makes a figure, in our type as long as this lasts."""
    from matplotlib import rc_context  # noqa: PLC0415
    from matplotlib.figure import Figure  # noqa: PLC0415

    with rc_context(_TYPE):
        yield Figure


def sheet(heights: tuple[float, ...], title: str) -> "tuple[Figure, list[Axes]]":
    """Return a sheet with one panel below the other, of these heights in inches."""
    with type_set() as new:
        figure = new(figsize=(11.0, sum(heights)), layout="constrained", facecolor=PAPER)
        figure.suptitle(title, x=0.01, ha="left", fontsize=11, fontweight="bold", color=INK)
        panels = figure.subplots(len(heights), 1, height_ratios=list(heights), squeeze=False)
    return figure, list(panels[:, 0])


def keep(figure: "Figure", file: Path) -> None:
    """Write a sheet to a file; the same sheet gives the same bytes."""
    no_date = {"Date": None} if file.suffix.lower() == ".svg" else None
    try:
        with type_set():
            figure.savefig(file, dpi=150, metadata=no_date)
    except OSError as error:
        raise CannotDrawError(f"{file} cannot be written ({error.strerror})") from error
