"""Processor time of a reading, taken in and judged, and that it does not grow with the horizon."""

import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from tests.service.test_watch import NOON
from tests.support.large_farm import large_farm
from tests.support.new_log import new_log
from tests.support.post_to_push import hundred_fields, small_farm
from tests.support.running import SetClock, put_forecast
from watcher.farm import Farm
from watcher.farm.models import Recipient
from watcher.limits.farm_arrays import FarmArrays
from watcher.service.transactions import Transactions
from watcher.sources.base import Observations
from watcher.weather.series import Site, WeatherSeries

ROUNDS, BEFORE = 100, 75
MAST = Site(41.0, -96.5, 300.0, wind_height_m=3.0)


def ten_fields() -> Farm:
    farm = large_farm(10, 2)
    given = {"sources": small_farm().config.sources, "recipients": {"grower": Recipient()}}
    return replace(farm, config=farm.config.model_copy(update=given))


def looking_ahead(farm: Farm, hours: int) -> Farm:
    judging = farm.config.judging.model_copy(update={"horizon": 3600.0 * hours})
    return replace(farm, config=farm.config.model_copy(update={"judging": judging}))


class Minutes:
    """A log that gets a reading a minute."""

    def __init__(self, folder: Path, farm: Farm) -> None:
        self.store, self.clock = new_log(folder / "watch.db"), SetClock(NOON)
        put_forecast(self.store, NOON, wind_m_s=3.9, gust_m_s=5.5)
        self.transactions = Transactions(FarmArrays.of(farm), self.store, self.clock)
        self.transactions.begin()
        self.rng = np.random.default_rng(4)

    def take(self) -> float:
        """Take a reading in and judge it; how much processor time that took. [ms]"""
        self.clock.at += 60
        if self.clock.at % 3600 == 0:
            put_forecast(self.store, self.clock.at, wind_m_s=3.9, gust_m_s=5.5)
        wind = 2.2 + self.rng.normal(0, 0.1)
        values = {
            "wind_m_s": wind,
            "gust_m_s": wind + abs(self.rng.normal(0.8, 0.1)),
            "wind_from_deg": self.rng.normal(10, 4) % 360,
            "temp_c": 20 + self.rng.normal(0, 0.3),
            "humidity_pct": 55 + self.rng.normal(0, 2),
        }
        columns = {name: np.array([value]) for name, value in values.items()}
        series = WeatherSeries.of(np.array([self.clock.at]), MAST, "mast", columns)
        began = time.process_time()
        self.transactions.take_posted(Observations(series))
        self.transactions.judge()
        return 1e3 * (time.process_time() - began)


@pytest.mark.bench
@pytest.mark.parametrize(
    "farm", [small_farm(), ten_fields(), hundred_fields()], ids=["2 fields", "10", "100"]
)
def test_processor_time_of_a_reading(tmp_path: Path, farm: Farm) -> None:
    minutes = Minutes(tmp_path, farm)
    for _ in range(BEFORE):
        minutes.take()
    before = minutes.transactions.present.judged_ahead
    took = [minutes.take() for _ in range(ROUNDS)]
    again = minutes.transactions.present.judged_ahead - before
    first, median, p99 = np.percentile(took, [10, 50, 99])
    print(
        f"\na reading with {len(farm.config.fields)} fields: first decile {first:.1f} ms of "
        f"processor time, median {median:.1f}, 99th percentile {p99:.1f}; the hours ahead judged "
        f"{again} times in {ROUNDS} readings"
    )
    assert first < 60
    assert again < ROUNDS / 4


@pytest.mark.bench
def test_it_does_not_grow_with_the_horizon(tmp_path: Path) -> None:
    near, far = (
        Minutes(_folder(tmp_path, hours), looking_ahead(hundred_fields(), hours))
        for hours in (12, 48)
    )
    for each in (near, far):
        for _ in range(BEFORE):
            each.take()
    took = np.array([[near.take(), far.take()] for _ in range(ROUNDS)])  # by turns
    short, long = np.percentile(took, 10, axis=0)
    print(f"\na reading with a horizon of 48 h: {long / short:.2f} times that of one with 12 h")
    assert long < 1.25 * short


def _folder(path: Path, hours: int) -> Path:
    folder = path / str(hours)
    folder.mkdir()
    return folder
