"""Weather series to rows and back: NaN is NULL, and flags are kept where there is a finding."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from watcher.sources.base import Flags, Observations
from watcher.store.tables import ForecastError, IssuedForecast, StationSite
from watcher.weather.series import QUANTITIES, Bound, Floats, Site, WeatherSeries

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


def bounds_column(series: WeatherSeries) -> list[dict[str, list[float | None]] | None]:
    """Return, for every time, the least and the most of what is bounded; None where nothing is."""
    column: list[dict[str, list[float | None]] | None] = [None] * len(series)
    for name in QUANTITIES:
        if name in series.bounds:
            least, most = series.bounds[name]
            finite = [np.where(np.isfinite(side), side, np.nan) for side in (least, most)]
            sides = list(zip(*map(nullable, finite), strict=True))
            for index in np.flatnonzero(np.isfinite(finite).any(axis=0)).tolist():
                column[index] = (column[index] or {}) | {name: list(sides[index])}
    return column


def bound_arrays(column: Sequence[Mapping[str, Sequence[float | None]] | None]) -> dict[str, Bound]:
    """Return the bounds from what ``bounds_column`` made of them."""
    bounds: dict[str, Bound] = {}
    for index, bounded in enumerate(column):
        for name, sides in (bounded or {}).items():
            if name not in bounds:
                none = np.full(len(column), np.nan)
                bounds[name] = (none, none.copy())
            for array, side in zip(bounds[name], sides, strict=True):
                array[index] = np.nan if side is None else side
    return bounds


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


def site_of(row: StationSite | IssuedForecast | ForecastError) -> Site:
    """Return the site a row tells of."""
    values = {name: getattr(row, name) for name in SITE_COLUMNS}
    return Site(**{name: np.nan if value is None else value for name, value in values.items()})


def nullable(values: Floats) -> list[float | None]:
    """Return values for a column that may be NULL: NaN is None."""
    missing = np.isnan(values)
    if missing.all():
        return [None] * values.size
    column: list[float | None] = values.tolist()
    for index in np.flatnonzero(missing).tolist():
        column[index] = None
    return column
