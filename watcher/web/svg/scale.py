"""From values to places on the paper, with round numbers at the ticks."""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

_STEPS = (1.0, 2.0, 2.5, 5.0, 10.0)


@dataclass(frozen=True)
class Scale:
    """A straight line from values ``low`` to ``high`` to places ``start`` to ``end``."""

    low: float
    high: float
    start: float
    end: float

    def __call__(self, value: float) -> float:
        share = (value - self.low) / (self.high - self.low)
        return self.start + share * (self.end - self.start)

    def inside(self, value: float) -> float:
        """Return the place of a value, of the nearer end for one that lies outside."""
        return self(min(max(value, self.low), self.high))

    def ticks(self, most: int = 5) -> list[float]:
        """Return round values between the ends, at most so many."""
        least = (self.high - self.low) / most
        power = 10.0 ** math.floor(math.log10(least))
        step = next(s * power for s in _STEPS if s * power >= least * 0.999)
        first, last = math.ceil(self.low / step - 1e-9), math.floor(self.high / step + 1e-9)
        return [n * step for n in range(first, last + 1)]


def runs(x: NDArray[np.float64], y: NDArray[np.float64]) -> Iterator[list[tuple[float, float]]]:
    """Yield the points of every stretch without a missing value: a gap is drawn as a gap."""
    stretch: list[tuple[float, float]] = []
    for px, py in zip(x.tolist(), y.tolist(), strict=True):
        if math.isnan(py):
            if stretch:
                yield stretch
            stretch = []
        else:
            stretch.append((px, py))
    if stretch:
        yield stretch


def stretches(marks: NDArray[np.bool_]) -> Iterator[tuple[int, int]]:
    """Yield first and last-plus-one index of every stretch of true values."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], marks, [False]]).astype(np.int8)))
    yield from zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True)


def wall_hours(start: int, end: int, zone: ZoneInfo, every_h: int) -> Iterator[tuple[int, str]]:
    """Yield the farm's round hours between two instants: epoch seconds and how a clock shows it.

    At midnight the date is shown, month first, as it is in every language.
    """
    at = datetime.fromtimestamp(start, zone).replace(minute=0, second=0, microsecond=0)
    while at.timestamp() <= end:
        if at.timestamp() >= start and at.hour % every_h == 0:
            yield int(at.timestamp()), f"{at:%m-%d}" if at.hour == 0 else f"{at:%H}"
        at = datetime.fromtimestamp(int((at + timedelta(hours=1)).timestamp()), zone)
