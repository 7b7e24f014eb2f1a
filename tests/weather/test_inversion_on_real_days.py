"""Real one-minute days (skipped where they are not at hand): no inversion may be missed."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from tests.support.real_days import alamosa
from watcher.weather.inversion import Finding, assess
from watcher.weather.series import Site, WeatherSeries

HOUR = 3600


@pytest.fixture(scope="module")
def tower(shared: Path) -> WeatherSeries:
    """Golden, Colorado, 2018-10-14: temperatures at 2 and 80 m, no wind."""
    table = pd.read_csv(shared / "data" / "midc_20181014.txt")
    stamps = pd.to_datetime(table.iloc[:, 0] + " " + table["MST"], format="%m/%d/%Y %H:%M")
    times = (stamps - pd.Timestamp(0)).dt.total_seconds().to_numpy() + 7 * HOUR
    site = Site(39.742, -105.18, 1829.0, temp_height_m=2.0, temp_upper_height_m=80.0)
    quantities = {
        "temp_c": table["Temperature @ 2m [deg C]"],
        "temp_upper_c": table["Temperature @ 80m [deg C]"],
        "solar_w_m2": table["Global PSP [W/m^2]"].clip(lower=0),
    }
    return WeatherSeries.of(times.astype(np.int64), site, "tower", quantities)


@pytest.fixture(scope="module")
def valley(shared: Path) -> WeatherSeries:
    """Alamosa, Colorado, 2016-01-01: radiation, wind, air."""
    return alamosa(shared)


def test_the_tower_saw_its_inversion_in_the_evening(tower: WeatherSeries) -> None:
    finding = assess(tower).finding
    inverted = tower.temp_upper_c > tower.temp_c
    assert inverted.sum() > 150
    assert np.all(finding[inverted] == Finding.MEASURED)
    assert np.all(finding[~inverted] != Finding.MEASURED)


def test_in_light_wind_no_rule_of_thumb_misses_what_the_tower_measured(
    tower: WeatherSeries,
) -> None:
    """Of wind and cloud nothing was recorded: with 2 m/s and no cloud told, all must warn."""
    inverted = tower.temp_upper_c > tower.temp_c
    blind = tower.having(
        temp_upper_c=np.full(len(tower), np.nan), wind_m_s=np.full(len(tower), 2.0)
    )
    without_pair = WeatherSeries.of(
        blind.times,
        Site(tower.site.latitude, tower.site.longitude),
        "tower",
        {name: getattr(blind, name) for name in ("wind_m_s", "temp_c", "solar_w_m2")},
    )
    judged = assess(without_pair)
    assert np.all(judged.finding[inverted] >= Finding.LIKELY)
    # At midday they do not cry wolf, though this day hardly warmed.
    midday = (tower.times % 86_400 > 18 * HOUR) & (tower.times % 86_400 < 21 * HOUR)
    assert midday.sum() > 170
    assert np.all(judged.finding[midday] == Finding.NONE)


def test_a_night_that_loses_heat_in_weak_wind_is_at_least_likely(valley: WeatherSeries) -> None:
    judged = assess(valley)
    cooling = (valley.net_w_m2 < -40) & (valley.wind_m_s < 3)
    assert cooling.sum() > 300
    assert np.all(judged.lines["radiation"][cooling] >= Finding.LIKELY)
    assert np.all(judged.finding[cooling] >= Finding.LIKELY)


def test_the_temperature_of_such_a_night_falls(valley: WeatherSeries) -> None:
    """Physics agrees: over the hours judged likely the air cools, by day it warms."""
    judged = assess(valley).finding
    change = np.gradient(valley.temp_c) * 60
    assert np.nanmean(change[judged == Finding.LIKELY]) < 0
    assert np.nanmean(change[judged == Finding.NONE]) > 0
