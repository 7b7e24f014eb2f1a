"""Means written as a table, against pandas over the readings they are made of."""

import io

import numpy as np
import pandas as pd
import pytest

from watcher.sources.base import Flag, Observations
from watcher.store import weather
from watcher.store.database import Database
from watcher.store.export_means import COLUMNS, write_means
from watcher.weather.series import Site, WeatherSeries

START = 1_700_002_800  # 2023-11-14 23:00:00 UTC, by GNU date
SITE = Site(latitude=44.5, longitude=-100.25)


@pytest.fixture
def kept(log: Database) -> pd.DataFrame:
    """Two days of a reading a minute in the log, some missing, some doubted; and as a frame."""
    rng = np.random.default_rng(4)
    times = START + 60 * np.arange(2 * 1440)
    wind = rng.gamma(2.0, 2.0, times.size)
    values = {"wind_m_s": wind, "gust_m_s": wind + rng.random(times.size), "temp_c": wind - 5.0}
    values["temp_c"][rng.random(times.size) < 0.1] = np.nan
    doubted = rng.random(times.size) < 0.02
    flags = {"wind_m_s": np.where(doubted, Flag.STEP, 0).astype(np.uint16)}
    series = WeatherSeries.of(times, SITE, "mast", values)
    with log.writing() as session:
        weather.add_observations(session, Observations(series, flags), START)
    frame = pd.DataFrame(values, index=pd.to_datetime(times, unit="s", utc=True))
    return frame.assign(doubted=doubted, wind_m_s=np.where(doubted, np.nan, wind))


@pytest.mark.parametrize(("width_s", "rule"), [(600, "10min"), (3600, "1h")])
def test_means_are_those_of_pandas(
    log: Database, kept: pd.DataFrame, width_s: int, rule: str
) -> None:
    out = io.StringIO(newline="")
    with log.reading() as session:
        count = write_means(session, ["mast"], START, START + 2 * 86_400, out, width_s=width_s)
    out.seek(0)
    exported = pd.read_csv(out, index_col="start (UTC)", parse_dates=True)
    bins = kept.resample(rule)
    assert len(exported) == count == len(bins)
    for column, wanted in {
        "mean wind (m/s)": bins["wind_m_s"].mean(),
        "highest gust (m/s)": bins["gust_m_s"].max(),
        "mean temperature (degC)": bins["temp_c"].mean(),
        "lowest temperature (degC)": bins["temp_c"].min(),
        "highest temperature (degC)": bins["temp_c"].max(),
        "readings": bins["gust_m_s"].size(),
    }.items():
        np.testing.assert_allclose(exported[column], wanted, rtol=1e-12)
    left_out = exported["values left out"].fillna("wind_m_s: 0").str.removeprefix("wind_m_s: ")
    assert left_out.astype(int).tolist() == bins["doubted"].sum().tolist()
    assert exported["mean station pressure (Pa)"].isna().all()
    assert set(exported["length (s)"]) == {width_s}


def test_every_column_but_the_keys_and_counts_names_its_unit() -> None:
    assert all(column.endswith(")") for column in COLUMNS[1:-2])
