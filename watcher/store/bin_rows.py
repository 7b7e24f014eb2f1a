"""Bins of weather to rows and back."""

import json
from collections.abc import Sequence
from typing import Any

import numpy as np
from sqlalchemy import Row, bindparam, select
from sqlalchemy.orm import Session

from watcher.store.rows import (
    bound_arrays,
    bounds_column,
    nullable,
    weather_columns,
    weather_series,
)
from watcher.store.tables import WeatherBin
from watcher.store.upsert import Insert, put_rows
from watcher.weather.bins import EXTRAS, Bins, Counts
from watcher.weather.series import QUANTITIES, Site, WeatherSeries

_SERIES = tuple(getattr(WeatherBin, name) for name in ("time", *QUANTITIES))
_BESIDE = tuple(getattr(WeatherBin, name) for name in ("readings", "counts", "bounds", *EXTRAS))

# Asked for with every reading: put together once.
_BINS = (
    select(*_SERIES, *_BESIDE)
    .where(
        WeatherBin.source == bindparam("source"),
        WeatherBin.width_s == bindparam("width_s"),
        WeatherBin.time >= bindparam("start"),
        WeatherBin.time < bindparam("end"),
    )
    .order_by(WeatherBin.time)
)


def put(session: Session, bins: Bins) -> None:
    """Keep bins in place of those the log has, unless those were made of more readings.

    Where the readings themselves are gone, a few that come in late must not displace all.
    """
    series = bins.series
    columns = weather_columns(series, source=series.source, width_s=bins.width_s) | {
        name: nullable(getattr(bins, name)) for name in EXTRAS
    }
    columns["readings"] = bins.readings.tolist()
    columns["bounds"] = [bounds and json.dumps(bounds) for bounds in bounds_column(series)]
    columns["counts"] = [counts and json.dumps(counts) for counts in _counts_column(bins)]
    put_rows(session, WeatherBin, columns, _unless_poorer)


def get(session: Session, source: str, width_s: int, start: int, end: int, *, site: Site) -> Bins:
    """Return the bins the log has with ``start <= time < end``. ``site`` is the source's."""
    asked = {"source": source, "width_s": width_s, "start": start, "end": end}
    rows = session.execute(_BINS, asked).all()
    series = weather_series([row[: len(_SERIES)] for row in rows], site, source)
    series = series.bounded(bound_arrays([row.bounds for row in rows]))
    readings = np.array([row.readings for row in rows], dtype=np.int64)
    known, doubted = _counts(rows, series, readings)
    return Bins(
        width_s,
        series,
        readings,
        known,
        doubted,
        **{
            name: np.array([getattr(row, name) for row in rows], dtype=np.float64)
            for name in EXTRAS
        },
    )


def _counts_column(bins: Bins) -> list[dict[str, list[int]] | None]:
    """Return for every bin the counts that are not what its readings and value make one expect."""
    by_bin: list[dict[str, list[int]] | None] = [None] * len(bins)
    for name, values in bins.series.quantities().items():
        known, doubted = bins.known[name], bins.doubted[name]
        expected = np.where(np.isfinite(values), bins.readings, 0)
        for index in np.flatnonzero((known != expected) | (doubted > 0)).tolist():
            counts = [int(known[index]), int(doubted[index])]
            by_bin[index] = (by_bin[index] or {}) | {name: counts}
    return by_bin


def _counts(
    rows: Sequence[Row[Any]], series: WeatherSeries, readings: Counts
) -> tuple[dict[str, Counts], dict[str, Counts]]:
    """Return what every value is made of, and how many were left out."""
    values = series.quantities()
    known = {name: np.where(np.isfinite(values[name]), readings, 0) for name in QUANTITIES}
    doubted = {name: np.zeros_like(readings) for name in QUANTITIES}
    for index, row in enumerate(rows):
        for name, pair in (row.counts or {}).items():
            known[name][index], doubted[name][index] = pair
    return known, doubted


def _unless_poorer(insert: Insert) -> Insert:
    columns = (*QUANTITIES, *EXTRAS, "readings", "counts", "bounds")
    return insert.on_conflict_do_update(
        index_elements=["farm", "source", "width_s", "time"],
        set_={name: insert.excluded[name] for name in columns},
        where=insert.excluded.readings >= WeatherBin.readings,
    )
