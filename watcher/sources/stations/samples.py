"""Readings made from the samples of an instrument that only says what it sees at the moment."""

from collections import deque

import numpy as np

from watcher.sources.stations.rows import Rows
from watcher.weather.series import Floats, Seconds
from watcher.weather.wind import CALM_M_S, direction_mean
from watcher.weather.wind_windows import MEAN_S, moving_direction, moving_gust

LARGEST_GAP = 0.25
"""Share of the period that may go without a sample (common practice, no source)."""


MOST_KEPT = 50_000
"""Samples: ten minutes of 80 a second. Of more the oldest go, which leaves a gap (no source)."""


class Samples:
    """Gathers samples and gives one reading for each period of ``every_s``, stamped with its end.

    Speeds, temperatures and the like are means; the direction is that of the mean unit vector, and
    its spread the deviation over the last ten minutes. A quantity that was not sampled through the
    whole period is left out. A gust is made only if ``gusts`` says that every sample is fresh, and
    only from samples at most 3 s apart: an instrument that averages hides its gusts.

    ``step`` is the size of the wind's steps where the instrument rounds [m/s]: a gust may be half
    of one more than it says.
    """

    def __init__(self, *, every_s: int, gusts: bool, step_m_s: float = 0.0) -> None:
        self._every_s = every_s
        self._gusts = gusts
        self._half_step_m_s = step_m_s / 2.0
        self._kept: deque[tuple[int, dict[str, float]]] = deque(maxlen=MOST_KEPT)
        self._end: int | None = None

    def add(self, time: int, sample: dict[str, float]) -> Rows:
        """Take a sample; return the reading of the period that it closes, if it closes one.

        A period holds the samples after its start up to its end. A sample older than the last one
        means that the clock was set back: what was gathered is given up.
        """
        end = -(-time // self._every_s) * self._every_s
        if self._kept and time < self._kept[-1][0]:
            self._kept.clear()
            self._end = None
        closed = self._reading(self._end) if self._end is not None and end > self._end else {}
        self._end = end
        while self._kept and self._kept[0][0] <= time - MEAN_S - self._every_s:
            self._kept.popleft()
        self._kept.append((time, sample))
        return closed

    def _reading(self, end: int) -> Rows:
        start = end - self._every_s
        names = {name for time, sample in self._kept if time > start for name in sample}
        row = {}
        for name in names:
            times, values = self._of(name, start)
            gaps = np.diff([start, *times, end])
            if gaps.max() <= LARGEST_GAP * self._every_s:
                row[name] = self._over_period(name, values)
        if "wind_from_deg" in row:
            row["wind_spread_deg"] = self._spread(end)
        if self._gusts and "gust_m_s" not in row and "wind_m_s" in row:
            row["gust_m_s"] = self._gust(start)
        known = {name: value for name, value in row.items() if np.isfinite(value)}
        return {end: known} if known else {}

    def _of(self, name: str, after: int) -> tuple[Seconds, Floats]:
        """Return the samples of a quantity after a time; a calm one has no direction."""
        found = [
            (time, _unless_calm(name, sample))
            for time, sample in self._kept
            if time > after and name in sample
        ]
        return (
            np.array([time for time, _ in found], dtype=np.int64),
            np.array([value for _, value in found], dtype=np.float64),
        )

    def _over_period(self, name: str, values: Floats) -> float:
        if name == "wind_from_deg":
            return float(direction_mean(values))
        return float(values.max() if name == "gust_m_s" else values.mean())

    def _spread(self, end: int) -> float:
        times, angles = self._of("wind_from_deg", end - MEAN_S)
        _, spread = moving_direction(
            times=times,
            from_deg=angles,
            wind_m_s=np.where(np.isnan(angles), 0.0, CALM_M_S),
            step_s=_step(times),
        )
        return float(spread[-1])

    def _gust(self, start: int) -> float:
        times, speeds = self._of("wind_m_s", start)
        gusts = moving_gust(
            times=times, wind_m_s=speeds, step_s=_step(times), width_s=self._every_s
        )
        return float(gusts[-1]) + self._half_step_m_s


def _unless_calm(name: str, sample: dict[str, float]) -> float:
    calm = name == "wind_from_deg" and sample.get("wind_m_s", CALM_M_S) < CALM_M_S
    return np.nan if calm else sample[name]


def _step(times: Seconds) -> int:
    """Return the usual time between samples, s, at least one."""
    return max(1, round(float(np.median(np.diff(times))))) if times.size > 1 else MEAN_S
