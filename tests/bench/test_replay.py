"""How many days a second are replayed: the whole watch, from reading to message."""

import time
from pathlib import Path

import numpy as np
import pytest

from tests.support.farms import LATITUDE, LONGITUDE, build, tables
from tests.support.new_log import new_log
from tests.support.running import put_forecast
from watcher.limits.farm_arrays import FarmArrays
from watcher.service.replay import replay
from watcher.service.replay_events import happened, known_before
from watcher.sources.base import Observations
from watcher.store import weather
from watcher.weather.series import Site, WeatherSeries

START = 1_781_067_600
HOUR = 3600


@pytest.mark.bench
@pytest.mark.parametrize(("every_s", "hours"), [(60, 6), (600, 24), (3600, 48)])
def test_days_replayed_a_second(
    tmp_path: Path, every_s: int, hours: int, capsys: pytest.CaptureFixture[str]
) -> None:
    config = tables()
    config["sources"] = {"mast": {"kind": "push"}, "feed": {"kind": "met_norway"}}
    farm = build(config)
    log = new_log(tmp_path / "watch.db", lasting=False)
    times = np.arange(START - 48 * HOUR, START + hours * HOUR, 60)
    day = 2 * np.pi * (times - START) / 86_400
    rng = np.random.default_rng(2)
    wind = np.abs(2.5 - 1.5 * np.cos(day) + rng.normal(0, 0.3, times.size))
    values = {
        "wind_m_s": wind,
        "gust_m_s": wind + np.abs(rng.normal(1.0, 0.5, times.size)),
        "wind_from_deg": 180.0 + rng.normal(0, 12, times.size),
        "temp_c": 18.0 - 6.0 * np.cos(day),
        "humidity_pct": 60.0 + 20.0 * np.cos(day),
    }
    series = WeatherSeries.of(times, Site(LATITUDE, LONGITUDE), "mast", values)
    with log.writing() as session:
        weather.add_observations(session, Observations(series), 0)
    for at in range(START - 24 * HOUR, START + hours * HOUR, HOUR):
        put_forecast(log, at)
    began = time.perf_counter()
    end = START + hours * HOUR
    said = list(
        replay(
            FarmArrays.of(farm),
            known_before(log, farm, START),
            happened(log, farm, START, end),
            start=START,
            end=end,
            every_s=every_s,
        )
    )
    spent = time.perf_counter() - began
    log.close()
    with capsys.disabled():
        print(
            f"\njudged every {every_s} s: {hours / 24 / spent:.3f} days a second, "
            f"{hours * HOUR / spent:,.0f} times as fast as the clock; {len(said)} messages"
        )
    assert spent < hours * HOUR / 50
