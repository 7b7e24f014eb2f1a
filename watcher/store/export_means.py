"""Ten minutes or hours of weather as a table other programs read: comma-separated, SI, UTC.

What is left of readings that are no longer kept whole. One row a bin, by source and time; what a
column means is said in ``watcher.weather.bins.Bins``.
"""

import csv
from collections.abc import Iterable
from typing import TextIO

from sqlalchemy.orm import Session

from watcher.store import aggregates
from watcher.store.export import SOURCE, utc
from watcher.store.rows import nullable
from watcher.weather.bins import EXTRAS, Bins
from watcher.weather.quantities import CATALOGUE
from watcher.weather.series import QUANTITIES

_EXTRAS = {
    "east_m_s": "mean wind towards east (m/s)",
    "north_m_s": "mean wind towards north (m/s)",
    "temp_low_c": "lowest temperature (degC)",
    "temp_high_c": "highest temperature (degC)",
    "rain_mm": "rain (mm)",
}
COLUMNS = (
    SOURCE,
    "start (UTC)",
    "length (s)",
    *(quantity.mean_heading or f"mean {quantity.heading}" for quantity in CATALOGUE),
    *(_EXTRAS[name] for name in EXTRAS),
    "readings",
    "values left out",
)


def write_means(
    session: Session, sources: Iterable[str], start: int, end: int, out: TextIO, *, width_s: int
) -> int:
    """Write the bins with ``start <= time < end`` of each source; return how many.

    ``width_s`` is one of ``aggregates.WIDTHS_S``. A file must be opened with ``newline=""``. A
    month at a time is in memory.
    """
    lines = csv.writer(out)
    lines.writerow(COLUMNS)
    written = 0
    for source in sources:
        for bins in aggregates.blocks(session, source, width_s, start, end):
            lines.writerows(_rows(source, bins))
            written += len(bins)
    return written


def _rows(source: str, bins: Bins) -> Iterable[tuple[object, ...]]:
    values = [nullable(array) for array in bins.series.quantities().values()]
    extras = [nullable(getattr(bins, name)) for name in EXTRAS]
    times = [utc(time) for time in bins.series.times.tolist()]
    left_out = [_left_out(bins, index) for index in range(len(bins))]
    same = [source] * len(bins), times, [bins.width_s] * len(bins)
    return zip(*same, *values, *extras, bins.readings.tolist(), left_out, strict=True)


def _left_out(bins: Bins, index: int) -> str:
    """How many values quality control doubted, as words: ``"wind_m_s: 3; temp_c: 1"``."""
    counts = ((name, int(bins.doubted[name][index])) for name in QUANTITIES)
    return "; ".join(f"{name}: {count}" for name, count in counts if count)
