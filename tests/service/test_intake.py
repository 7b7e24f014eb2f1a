"""Quality control on arrival: what is remembered changes no finding; witnesses; who is demoted."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.support.farms import LATITUDE, LONGITUDE, build, tables
from tests.support.running import put_forecast
from watcher.farm import Farm
from watcher.judge.plan import Plan
from watcher.service.intake import Intake
from watcher.service.picture import compose
from watcher.sources.base import Flag, Observations
from watcher.store import weather
from watcher.store.database import Log
from watcher.weather.series import Site, WeatherSeries

NOW = 1_781_107_200
SITE = Site(LATITUDE, LONGITUDE, wind_height_m=10.0)


@pytest.fixture
def farm() -> Farm:
    told: dict[str, Any] = tables()
    told["sources"] = {
        "mast": {"kind": "push", "heights": {"wind": "10 m"}},
        "yard": {"kind": "push", "heights": {"wind": "10 m"}},
        "feed": {"kind": "met_norway"},
    }
    return build(told)


def minutes(start: int, count: int, source: str = "mast", **changed: Any) -> Observations:
    values = {"wind_m_s": 3.0, "gust_m_s": 4.0, "temp_c": 20.0, "humidity_pct": 55.0} | changed
    arrays = {name: np.broadcast_to(value, count) for name, value in values.items()}
    series = WeatherSeries.of(start + 60 * np.arange(count), SITE, source, arrays)
    return Observations(series)


def take(log: Log, intake: Intake, observations: Observations, now: int = NOW) -> Observations:
    with log.writing() as session:
        found = intake.checked(session, observations, now)
        weather.add_observations(session, found, now)
    return found


def findings(observations: Observations) -> dict[str, list[int]]:
    return {name: bits.tolist() for name, bits in observations.flags.items() if bits.any()}


def faulty_day() -> Observations:
    """Half a day of minutes with spikes, a sensor that sticks, and values out of range."""
    rng = np.random.default_rng(11)
    count = 780
    temp = 20.0 + np.cumsum(rng.normal(0, 0.1, count))
    temp[rng.random(count) < 0.02] += 12.0
    wind = np.abs(rng.normal(3.0, 1.0, count))
    wind[300:] = 3.0
    gust = wind + rng.normal(1.0, 0.8, count)
    return minutes(NOW - count * 60, count, temp_c=temp, wind_m_s=wind, gust_m_s=gust)


def test_findings_are_the_same_with_a_memory_and_without(tmp_path: Path, farm: Farm) -> None:
    day, found = faulty_day(), []
    for name in ("with", "without"):
        log, remembering = Log(f"sqlite:///{tmp_path}/{name}.db"), Intake(farm)
        log.upgrade()
        of_day = []
        for first in range(0, len(day.series), 5):
            intake = remembering if name == "with" else Intake(farm)
            part = take(log, intake, day.at(slice(first, first + 5)))
            of_day.append(findings(part))
        found.append(of_day)
        log.close()
    assert found[0] == found[1]
    kinds = {Flag(b) for part in found[0] for bits in part.values() for b in bits}
    assert {Flag.STEP, Flag.STUCK, Flag.INCONSISTENT} <= kinds


def test_what_comes_late_is_held_against_its_own_time(log: Log, farm: Farm) -> None:
    """At minute ten it was 30 degrees warmer than now: no step beside its own neighbours."""
    intake = Intake(farm)
    take(log, intake, minutes(NOW, 10, temp_c=np.linspace(35.0, 34.0, 10)))
    take(log, intake, minutes(NOW + 7200, 10, temp_c=10.0))
    late = take(log, intake, minutes(NOW + 600, 5, temp_c=34.0))
    assert findings(late) == {}
    after = take(log, intake, minutes(NOW + 7800, 5, temp_c=10.0))
    assert findings(after) == {}
    spike = take(log, intake, minutes(NOW + 8100, 1, temp_c=34.0))
    assert findings(spike) == {"temp_c": [Flag.STEP]}


class TestWitnesses:
    def test_a_station_is_held_against_the_other_and_the_feed(self, log: Log, farm: Farm) -> None:
        put_forecast(log, NOW, temp_c=20.0)
        intake = Intake(farm)
        take(log, intake, minutes(NOW - 600, 10, "yard"))
        found = take(log, intake, minutes(NOW - 60, 1, temp_c=29.0))
        assert findings(found) == {"temp_c": [Flag.DISAGREES]}

    def test_alone_with_the_feed_much_more_is_needed(self, log: Log, farm: Farm) -> None:
        put_forecast(log, NOW, temp_c=20.0)
        assert findings(take(log, Intake(farm), minutes(NOW - 60, 1, temp_c=29.0))) == {}

    def test_what_a_witness_was_doubted_in_counts_for_nothing(self, log: Log, farm: Farm) -> None:
        put_forecast(log, NOW, temp_c=20.0)
        with log.writing() as session:
            doubted = minutes(NOW - 600, 10, "yard")
            flags = {"temp_c": np.full(10, Flag.STUCK, np.uint16)}
            weather.add_observations(session, Observations(doubted.series, flags), NOW)
        assert findings(take(log, Intake(farm), minutes(NOW - 60, 1, temp_c=29.0))) == {}

    def test_of_days_at_once_no_witness_is_asked(self, log: Log, farm: Farm) -> None:
        put_forecast(log, NOW, temp_c=20.0)
        times = NOW - 3600 * np.arange(48)[::-1]
        series = WeatherSeries.of(times, SITE, "mast", {"temp_c": np.full(48, 45.0)})
        found = take(log, Intake(farm), Observations(series))
        assert Flag.DISAGREES not in {b for bits in found.flags.values() for b in bits.tolist()}


class TestDemotion:
    def filled(self, log: Log, doubted: int) -> None:
        """A day of the mast's minutes, the wind of some of them flagged, and of the yard's."""
        for source in ("mast", "yard"):
            wind = 3.0 if source == "mast" else 5.0
            told = minutes(NOW - 1440 * 60 + 60, 1440, source, wind_m_s=wind)
            bits = np.where(np.arange(1440) < (doubted if source == "mast" else 0), Flag.STEP, 0)
            flags = {"wind_m_s": bits.astype(np.uint16)}
            with log.writing() as session:
                weather.add_observations(session, Observations(told.series, flags), NOW)

    @pytest.mark.parametrize(
        ("doubted", "speaks", "wind"), [(200, "mast", 3.0), (500, "yard", 5.0)]
    )
    def test_the_next_station_speaks_for_what_failed_too_often(
        self, log: Log, farm: Farm, doubted: int, speaks: str, wind: float
    ) -> None:
        self.filled(log, doubted)
        with log.reading() as session:
            outlook = compose(session, Plan.of(farm), NOW)
        assert outlook.spoken["wind_m_s"].source == speaks
        assert outlook.series.wind_m_s[outlook.now_index] == wind
        assert outlook.spoken["temp_c"].source == "mast"

    def test_nobody_speaks_when_no_other_can(self, log: Log) -> None:
        told: dict[str, Any] = tables()
        told["sources"] = {"mast": {"kind": "push", "heights": {"wind": "10 m"}}}
        self.filled(log, 500)
        with log.reading() as session:
            outlook = compose(session, Plan.of(build(told)), NOW)
        assert outlook.spoken["wind_m_s"].source is None
        assert np.isnan(outlook.series.wind_m_s[outlook.now_index])
