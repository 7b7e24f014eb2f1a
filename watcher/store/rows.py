"""Weather series to rows and back: NaN is NULL, and flags are kept where there is a finding."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from watcher.sources.base import Flags, Observations
from watcher.store.tables import IssuedForecast, StationSite
from watcher.weather.series import QUANTITIES, Floats, Site, WeatherSeries

SITE_COLUMNS = (
    "latitude",
    "longitude",
    "elevation_m",
    "wind_height_m",
    "temp_height_m",
    "temp_upper_height_m",
)
_NO_FINDING = np.zeros(0, dtype=np.uint16)


def weather_columns(series: WeatherSeries, **same: object) -> dict[str, list[Any]]:
    """Return the columns of a series' rows: ``time``, every quantity, and what is the same in all.

    One row a time; NaN is None.
    """
    quantities = {name: nullable(values) for name, values in series.quantities().items()}
    constants = {name: [value] * len(series) for name, value in same.items()}
    return {"time": series.times.tolist(), **quantities, **constants}


def weather_series(rows: Sequence[Sequence[Any]], site: Site, source: str) -> WeatherSeries:
    """Return the series of rows of time and every quantity in the order of ``QUANTITIES``."""
    if not rows:
        return WeatherSeries(np.empty(0, dtype=np.int64), site, source)
    times, *columns = zip(*rows, strict=True)
    return WeatherSeries.of(
        times,
        site,
        source,
        {
            name: np.array(column, dtype=np.float64)  # None becomes NaN
            for name, column in zip(QUANTITIES, columns, strict=True)
        },
    )


def flag_column(observations: Observations) -> list[dict[str, int] | None]:
    """Return, for every time, the flagged quantities with their bits; None where all are good."""
    findings: list[dict[str, int] | None] = [None] * len(observations.series)
    for name in QUANTITIES:  # always in this order, so that equal findings are equal texts
        bits = observations.flags.get(name, _NO_FINDING)
        for index in np.flatnonzero(bits).tolist():
            findings[index] = (findings[index] or {}) | {name: int(bits[index])}
    return findings


def flag_arrays(findings: Iterable[Mapping[str, int] | None], length: int) -> Flags:
    """Return the arrays of flags from what ``flag_column`` made of them."""
    flags: defaultdict[str, NDArray[np.uint16]]
    flags = defaultdict(lambda: np.zeros(length, dtype=np.uint16))
    for index, finding in enumerate(findings):
        for name, bits in (finding or {}).items():
            flags[name][index] = bits
    return dict(flags)


def site_row(site: Site) -> dict[str, float | None]:
    """Return a site's columns."""
    return {name: nullable(np.array([getattr(site, name)]))[0] for name in SITE_COLUMNS}


def site_of(row: StationSite | IssuedForecast) -> Site:
    """Return the site a row tells of."""
    told = {name: getattr(row, name) for name in SITE_COLUMNS}
    return Site(**{name: np.nan if value is None else value for name, value in told.items()})


def nullable(values: Floats) -> list[float | None]:
    """Return values for a column that may be NULL: NaN is None."""
    missing = np.isnan(values)
    if missing.all():
        return [None] * values.size
    column: list[float | None] = values.tolist()
    for index in np.flatnonzero(missing).tolist():
        column[index] = None
    return column
