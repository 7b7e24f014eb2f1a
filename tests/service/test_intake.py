"""Quality control on arrival: what is remembered changes no finding; witnesses; who is demoted."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.support.farms import LATITUDE, LONGITUDE, build, tables
from tests.support.running import put_forecast
from watcher.farm import Farm
from watcher.limits.farm_arrays import FarmArrays
from watcher.service.intake import Intake
from watcher.service.snapshot import compose
from watcher.sources.base import Flag, Observations
from watcher.store import weather
from watcher.store.database import Database
from watcher.weather.series import Site, WeatherSeries

NOW = 1_781_107_200
SITE = Site(LATITUDE, LONGITUDE, wind_height_m=10.0)


@pytest.fixture
def farm() -> Farm:
    config: dict[str, Any] = tables()
    config["sources"] = {
        "mast": {"kind": "push", "heights": {"wind": "10 m"}},
        "yard": {"kind": "push", "heights": {"wind": "10 m"}},
        "feed": {"kind": "met_norway"},
    }
    return build(config)


def minutes(start: int, count: int, source: str = "mast", **changed: Any) -> Observations:
    values = {"wind_m_s": 3.0, "gust_m_s": 4.0, "temp_c": 20.0, "humidity_pct": 55.0} | changed
    arrays = {name: np.broadcast_to(value, count) for name, value in values.items()}
    series = WeatherSeries.of(start + 60 * np.arange(count), SITE, source, arrays)
    return Observations(series)


def take(log: Database, intake: Intake, observations: Observations, now: int = NOW) -> Observations:
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


@pytest.mark.long
def test_findings_are_the_same_with_a_memory_and_without(tmp_path: Path, farm: Farm) -> None:
    day, found = faulty_day(), []
    for name in ("with", "without"):
        log, remembering = Database(f"sqlite:///{tmp_path}/{name}.db"), Intake(farm)
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


def test_what_comes_late_is_held_against_its_own_time(log: Database, farm: Farm) -> None:
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


class TestASecondToldInParts:
    def one(self, at: int = NOW, **values: float) -> Observations:
        series = WeatherSeries.of([at], SITE, "mast", {n: [v] for n, v in values.items()})
        return Observations(series)

    def kept(self, log: Database) -> tuple[dict[str, float], dict[str, list[int]]]:
        with log.reading() as session:
            found = weather.observations(session, "mast", NOW, NOW + 1)
        values = {n: float(v[0]) for n, v in found.series.quantities().items() if v[0] == v[0]}
        return values, findings(found)

    def test_its_parts_are_checked_against_each_other(self, log: Database, farm: Farm) -> None:
        intake = Intake(farm)
        assert findings(take(log, intake, self.one(wind_m_s=6.0))) == {}
        both = {"wind_m_s": [Flag.INCONSISTENT], "gust_m_s": [Flag.INCONSISTENT]}
        assert findings(take(log, intake, self.one(gust_m_s=2.0))) == both
        assert self.kept(log) == ({"wind_m_s": 6.0, "gust_m_s": 2.0}, both)

    def test_a_correction_clears_what_only_the_wrong_value_made_doubtful(
        self, log: Database, farm: Farm
    ) -> None:
        intake = Intake(farm)
        take(log, intake, self.one(wind_m_s=6.0, gust_m_s=2.0, temp_c=90.0))
        take(log, intake, self.one(gust_m_s=8.0))
        values = {"wind_m_s": 6.0, "gust_m_s": 8.0, "temp_c": 90.0}
        assert self.kept(log) == (values, {"temp_c": [Flag.RANGE]})

    def test_what_the_station_itself_doubted_stays_doubted(self, log: Database, farm: Farm) -> None:
        intake = Intake(farm)
        doubted = {"temp_c": np.array([Flag.SUSPECT_SOURCE], np.uint16)}
        take(log, intake, Observations(self.one(temp_c=20.0).series, doubted))
        take(log, intake, self.one(wind_m_s=3.0))
        assert self.kept(log)[1] == {"temp_c": [Flag.SUSPECT_SOURCE]}

    @settings(
        max_examples=20,
        deadline=None,
        suppress_health_check=[HealthCheck.function_scoped_fixture],
    )
    @given(
        values=st.fixed_dictionaries(
            {
                "wind_m_s": st.sampled_from([0.0, 3.0, 90.0]),
                "gust_m_s": st.sampled_from([2.0, 4.0]),
                "wind_from_deg": st.sampled_from([180.0, 400.0]),
                "temp_c": st.sampled_from([20.0, 21.0, 60.0]),
                "dew_point_c": st.sampled_from([10.0, 25.0]),
                "humidity_pct": st.sampled_from([55.0, 120.0]),
            }
        ),
        order=st.permutations(
            ["wind_m_s", "gust_m_s", "wind_from_deg", "temp_c", "dew_point_c", "humidity_pct"]
        ),
        cut=st.integers(1, 5),
        remembers=st.booleans(),
    )
    def test_any_parts_in_any_order_leave_the_same_values_and_findings(
        self,
        log: Database,
        farm: Farm,
        values: dict[str, float],
        order: list[str],
        cut: int,
        remembers: bool,
    ) -> None:
        def kept_of(*parts: list[str]) -> tuple[dict[str, float], dict[str, list[int]]]:
            with log.writing() as session:
                session.connection().exec_driver_sql("DELETE FROM observation")
            intake = Intake(farm)
            take(log, intake, minutes(NOW - 600, 10))
            for part in parts:
                with_memory = intake if remembers else Intake(farm)
                take(log, with_memory, self.one(**{name: values[name] for name in part}))
            return self.kept(log)

        assert kept_of(order[:cut], order[cut:]) == kept_of(sorted(values))

    def test_a_part_of_the_newest_second_needs_no_day_read_again(
        self, log: Database, farm: Farm, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        intake = Intake(farm)
        take(log, intake, minutes(NOW - 600, 11))

        def unread(*_: object) -> Observations:
            raise AssertionError("the log was read")

        with log.writing() as session:
            monkeypatch.setattr(intake, "_witnesses", lambda *_: [])
            monkeypatch.setattr(weather, "observations", unread)
            part = self.one(dew_point_c=11.0)
            assert findings(intake.checked(session, part, NOW)) == {}


class TestWitnesses:
    def test_a_station_is_held_against_the_other_and_the_feed(
        self, log: Database, farm: Farm
    ) -> None:
        put_forecast(log, NOW, temp_c=20.0)
        intake = Intake(farm)
        take(log, intake, minutes(NOW - 600, 10, "yard"))
        found = take(log, intake, minutes(NOW - 60, 1, temp_c=29.0))
        assert findings(found) == {"temp_c": [Flag.DISAGREES]}

    def test_alone_with_the_feed_much_more_is_needed(self, log: Database, farm: Farm) -> None:
        put_forecast(log, NOW, temp_c=20.0)
        assert findings(take(log, Intake(farm), minutes(NOW - 60, 1, temp_c=29.0))) == {}

    def test_what_a_witness_was_doubted_in_counts_for_nothing(
        self, log: Database, farm: Farm
    ) -> None:
        put_forecast(log, NOW, temp_c=20.0)
        with log.writing() as session:
            doubted = minutes(NOW - 600, 10, "yard")
            flags = {"temp_c": np.full(10, Flag.STUCK, np.uint16)}
            weather.add_observations(session, Observations(doubted.series, flags), NOW)
        assert findings(take(log, Intake(farm), minutes(NOW - 60, 1, temp_c=29.0))) == {}

    def test_of_days_at_once_no_witness_is_asked(self, log: Database, farm: Farm) -> None:
        put_forecast(log, NOW, temp_c=20.0)
        times = NOW - 3600 * np.arange(48)[::-1]
        series = WeatherSeries.of(times, SITE, "mast", {"temp_c": np.full(48, 45.0)})
        found = take(log, Intake(farm), Observations(series))
        assert Flag.DISAGREES not in {b for bits in found.flags.values() for b in bits.tolist()}


class TestCalmNight:
    """Fourteen hours of wind 0 and a vane that stands, then a morning breeze."""

    NIGHT = 14 * 60

    def taken(self, log: Database, farm: Farm) -> Observations:
        count = self.NIGHT + 5
        start = NOW - 60 * (count - 1)
        rng = np.random.default_rng(4)
        wind = np.append(np.zeros(self.NIGHT), [1.8, 2.1, 2.4, 2.2, 2.6])
        from_deg = np.append(np.full(self.NIGHT, 200.0), [210.0, 215.0, 212.0, 220.0, 214.0])
        temp = np.linspace(14.0, 6.0, count) + rng.normal(0, 0.05, count)
        air = {"temp_c": temp, "humidity_pct": np.linspace(70.0, 96.0, count)}
        blown = {"wind_m_s": wind, "gust_m_s": wind * 1.3, "wind_from_deg": from_deg}
        night = minutes(start, count, **blown, **air)
        intake = Intake(farm)
        found = [take(log, intake, night.at(slice(a, a + 30))) for a in range(0, count, 30)]
        return found[0] if len(found) == 1 else found[-1].after(found[-2])

    def test_costs_no_trust_and_the_morning_has_its_direction_at_once(
        self, log: Database, farm: Farm
    ) -> None:
        assert findings(self.taken(log, farm)) == {}
        with log.reading() as session:
            whole = weather.observations(session, "mast", 0, NOW + 1)
            timeline = compose(session, FarmArrays.of(farm), NOW)
        assert whole.flags == {}
        assert timeline.distrusted["mast"] == ()
        assert timeline.spoken["wind_from_deg"].source == "mast"
        assert timeline.series.wind_from_deg[timeline.now_index] == pytest.approx(214.2, abs=0.5)

    def test_has_no_direction_itself(self, log: Database, farm: Farm) -> None:
        self.taken(log, farm)
        with log.reading() as session:
            night = weather.observations(session, "mast", 0, NOW - 5 * 60 + 1).usable()
        assert np.isnan(night.wind_from_deg[night.wind_m_s == 0]).all()


class TestUnits:
    def test_a_station_whose_day_looks_like_another_unit_is_doubted(
        self, log: Database, farm: Farm
    ) -> None:
        """Degrees Fahrenheit taken for Celsius, beside another station."""
        count = 12 * 60
        start = NOW // 3600 * 3600 - 60 * count
        rng = np.random.default_rng(2)
        temp = 8.0 + rng.normal(0, 0.3, count + 2)
        winds = 3.0 + rng.normal(0, 0.4, count + 2)
        intake = Intake(farm)
        for source, values in (("yard", temp), ("mast", temp * 1.8 + 32.0)):
            day = minutes(start, count + 2, source, wind_m_s=winds, temp_c=values)
            day = Observations(day.series.having(gust_m_s=winds + 1.0))
            take(log, intake, day.at(slice(0, count)))
            last = take(log, intake, day.at(slice(count, count + 2)))
        assert last.flags["temp_c"][-1] & Flag.UNIT_SUSPECTED
        assert "wind_m_s" not in last.flags


class TestDemotion:
    def filled(self, log: Database, doubted: int) -> None:
        """A day of the mast's minutes, the wind of some of them flagged, and of the yard's."""
        for source in ("mast", "yard"):
            wind = 3.0 if source == "mast" else 5.0
            day = minutes(NOW - 1440 * 60 + 60, 1440, source, wind_m_s=wind)
            bits = np.where(np.arange(1440) < (doubted if source == "mast" else 0), Flag.STEP, 0)
            flags = {"wind_m_s": bits.astype(np.uint16)}
            with log.writing() as session:
                weather.add_observations(session, Observations(day.series, flags), NOW)

    @pytest.mark.parametrize(
        ("doubted", "speaks", "wind"), [(200, "mast", 3.0), (500, "yard", 5.0)]
    )
    def test_the_next_station_speaks_for_what_failed_too_often(
        self, log: Database, farm: Farm, doubted: int, speaks: str, wind: float
    ) -> None:
        self.filled(log, doubted)
        with log.reading() as session:
            timeline = compose(session, FarmArrays.of(farm), NOW)
        assert timeline.spoken["wind_m_s"].source == speaks
        assert timeline.series.wind_m_s[timeline.now_index] == wind
        assert timeline.spoken["temp_c"].source == "mast"

    def test_nobody_speaks_when_no_other_can(self, log: Database) -> None:
        config: dict[str, Any] = tables()
        config["sources"] = {"mast": {"kind": "push", "heights": {"wind": "10 m"}}}
        self.filled(log, 500)
        with log.reading() as session:
            timeline = compose(session, FarmArrays.of(build(config)), NOW)
        assert timeline.spoken["wind_m_s"].source is None
        assert np.isnan(timeline.series.wind_m_s[timeline.now_index])
