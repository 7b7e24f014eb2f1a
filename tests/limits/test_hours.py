"""Dry hours around a job, and the hours of the sun, to the second."""

from typing import Any

import numpy as np
import pytest

from tests.support.worked_farm import LATITUDE, LONGITUDE, build_farm, fair_weather, farm_tables
from watcher.limits.catalogue import Limit
from watcher.limits.check import Checked
from watcher.limits.farm_arrays import FarmArrays
from watcher.limits.hours import ends, hour_limits, next_true, sun_closes
from watcher.limits.status import LimitState
from watcher.weather.series import Site, WeatherSeries
from watcher.weather.sun import next_sunrise, next_sunset, previous_sunrise, previous_sunset

NAN = np.nan
PLACE = {"latitude": LATITUDE, "longitude": LONGITUDE}


def plan(**window: Any) -> FarmArrays:
    config = farm_tables()
    config["windows"]["contact"] = {"wind": {"low": "3 mph", "high": "10 mph"}} | window
    return FarmArrays.of(build_farm(config))


def found(limit: Limit, of: FarmArrays, series: WeatherSeries) -> Checked:
    return next(c for c in hour_limits(of, series) if c.limit is limit)


def times(*seconds: int, runs: int = 1) -> WeatherSeries:
    return WeatherSeries(np.array(seconds), Site(41.0, -96.0), "made", runs=runs)


def test_a_value_stands_until_the_next_and_the_last_as_long_as_the_one_before() -> None:
    assert ends(times(0, 600, 1800)).tolist() == [600.0, 1800.0, 3000.0]
    assert ends(times(0)).tolist() == [3600.0]
    assert ends(times(0, 600, 0, 600, runs=2)).tolist() == [600.0, 1200.0] * 2


def test_the_next_time_of_a_condition_is_of_its_own_run() -> None:
    two = times(0, 600, 1200, 0, 600, 1200, runs=2)
    marked = np.array([False, True, False, False, False, True])
    apart = [600.0, 600.0, np.inf, 1200.0, 1200.0, 1200.0]
    assert next_true(two, marked).tolist() == apart
    of_two_fields = next_true(two, np.stack([marked, np.zeros(6, dtype=bool)]))
    assert of_two_fields.tolist() == [apart, [np.inf] * 6]


class TestDryBefore:
    def dry(self, rain: list[float], **window: Any) -> list[float]:
        of = plan(rain_free_before={"low": "2 h"} | window)
        series = fair_weather(hours=len(rain), rain_mm_h=rain)
        return np.asarray(found(Limit.RAIN_BEFORE, of, series).value).ravel().tolist()[-len(rain) :]

    def test_it_counts_from_the_end_of_the_last_wet_hour(self) -> None:
        assert self.dry([1.0, 0.0, 0.0, 0.0]) == [0.0, 0.0, 3600.0, 7200.0]

    def test_since_nobody_knows_it_is_enough_only_when_it_covers_the_need(self) -> None:
        dry = self.dry([NAN, 0.0, 0.0, 0.0])
        assert np.isnan(dry[:3]).all()
        assert dry[3] == 7200.0

    def test_an_hour_nobody_knows_after_the_rain_leaves_it_unknown(self) -> None:
        dry = self.dry([1.0, NAN, 0.0, 0.0, 0.0])
        assert dry[0] == 0.0
        assert np.isnan(dry[1:4]).all()
        assert dry[4] == 7200.0

    def test_before_the_first_hour_nothing_is_known(self) -> None:
        dry = self.dry([0.0, 0.0, 0.0])
        assert np.isnan(dry[:2]).all()
        assert dry[2] == 7200.0  # so long it has been dry at least

    @pytest.mark.parametrize(("mm_h", "wet"), [(0.19, False), (0.2, True)])
    def test_so_little_rain_counts(self, mm_h: float, wet: bool) -> None:
        config = farm_tables() | {"judging": {"rain_counts_from": "0.2 mm/h"}}
        config["windows"]["contact"]["rain_free_before"] = {"low": "1 h"}
        of = FarmArrays.of(build_farm(config))
        series = fair_weather(hours=3, rain_mm_h=[0.0, mm_h, 0.0])
        dry = np.asarray(found(Limit.RAIN_BEFORE, of, series).value).ravel()[-1]
        assert (dry == 0.0) == wet


class TestDryAfter:
    def stand(self, rain: list[float], low: str) -> tuple[float, LimitState]:
        of = plan(rain_free_after={"low": low})
        checked = found(Limit.RAIN_AFTER, of, fair_weather(hours=len(rain), rain_mm_h=rain))
        takes = float(of.duration_s[2, 1])
        return float(checked.value[2, 1, 0]) + takes, LimitState(int(checked.stand[2, 1, 0]))

    def test_the_dry_time_is_counted_from_the_end_of_the_job(self) -> None:
        until, stand = self.stand([0.0] * 6 + [1.0] * 2, "1 h")
        assert until == pytest.approx(6 * 3600.0)
        assert stand is LimitState.HOLDS

    def test_dry_for_as_long_as_is_known_is_enough_only_when_that_covers_the_need(self) -> None:
        assert self.stand([0.0] * 8, "1 h")[1] is LimitState.HOLDS
        assert self.stand([0.0] * 8, "12 h")[1] is LimitState.UNKNOWN
        assert self.stand([0.0, 0.0, NAN, 1.0], "6 h")[1] is LimitState.UNKNOWN

    def test_it_is_known_to_stay_dry_to_the_end_of_the_last_hour(self) -> None:
        assert self.stand([0.0] * 8, "1 h")[0] == pytest.approx(8 * 3600.0)

    @pytest.mark.parametrize(("more_s", "known"), [(0.0, True), (1.0, False)])
    def test_what_is_known_may_just_cover_the_need(self, more_s: float, known: bool) -> None:
        left_s = 8 * 3600.0 - float(plan().duration_s[2, 1])
        stand = self.stand([0.0] * 8, f"{left_s + more_s!r} s")[1]
        assert (stand > LimitState.UNKNOWN) == known

    def test_rain_that_is_known_to_come_too_soon_is_too_soon(self) -> None:
        assert self.stand([0.0, 0.0, 0.0, 1.0, NAN], "6 h")[1] is LimitState.BROKEN


class TestLeafDry:
    """A sensor where the farm has one; else rain, and the dew that damp air makes one expect."""

    def since(self, expects: dict[str, Any] | None = None, **sky: Any) -> list[float]:
        of = plan(leaf_dry_before={"low": "1 h"})
        checks = hour_limits(of, fair_weather(hours=3, **sky), expects=expects)
        value = next(c.value for c in checks if c.limit is Limit.LEAF_DRY)
        return np.asarray(value).ravel().tolist()[-3:]

    def test_without_a_sensor_it_is_judged_by_rain_and_dew(self) -> None:
        assert self.since(humidity_pct=[95.0, 55.0, 55.0]) == [0.0, 0.0, 3600.0]
        assert self.since(rain_mm_h=[1.0, 0.0, 0.0]) == [0.0, 0.0, 3600.0]

    def test_where_a_sensor_should_say_it_nothing_stands_in_for_its_word(self) -> None:
        damp = {"humidity_pct": [95.0, 55.0, 55.0]}
        measured = np.ones(3, dtype=bool)
        assert np.isnan(self.since({"leaf_wet_pct": measured}, **damp)).all()
        assert self.since({"leaf_wet_pct": ~measured}, **damp) == [0.0, 0.0, 3600.0]
        assert self.since({"leaf_wet_pct": measured}, leaf_wet_pct=[50.0, 5.0, 5.0], **damp) == [
            0.0,
            0.0,
            3600.0,
        ]


class TestSun:
    def at(self, moment: float) -> tuple[float, float]:
        of = plan(after_sunrise={"low": "1 h"}, before_sunset={"low": "1 h"})
        series = fair_weather(hours=1, start=int(moment))
        checks = (Limit.AFTER_SUNRISE, Limit.BEFORE_SUNSET)
        return tuple(float(np.ravel(found(c, of, series).value)[0]) for c in checks)  # type: ignore[return-value]

    def test_by_day_since_sunrise_and_until_sunset_each_to_the_minute_inward(self) -> None:
        noon = 1_781_107_200
        since, until = self.at(noon)
        rose = np.ceil(previous_sunrise(times=noon, **PLACE) / 60) * 60
        sets = np.floor(next_sunset(times=noon, **PLACE) / 60) * 60
        assert (since, until) == (noon - rose, sets - noon)

    def test_by_night_both_count_negative_to_and_since_the_daylight(self) -> None:
        night = 1_781_107_200 + 16 * 3600
        since, until = self.at(night)
        rises = np.ceil(next_sunrise(times=night, **PLACE) / 60) * 60
        set_ = np.floor(previous_sunset(times=night, **PLACE) / 60) * 60
        assert (since, until) == (night - rises, set_ - night)
        assert since < 0
        assert until < 0

    def test_the_time_before_sunset_runs_out_at_a_whole_minute_and_at_night_at_once(self) -> None:
        of = plan(before_sunset={"low": "90.5 min"})
        noon = 1_781_107_200
        series = fair_weather(hours=17, start=noon)
        closes = sun_closes(of, series)[0]
        sets = np.floor(next_sunset(times=noon, **PLACE) / 60) * 60
        assert closes[0] == sets - 91 * 60
        assert closes[-1] == series.times[-1]
        late = fair_weather(hours=1, start=int(sets) - 600)
        assert sun_closes(of, late)[0, 0] == sets - 600

    def test_without_such_a_bound_the_sun_closes_nothing(self) -> None:
        assert np.isinf(sun_closes(plan(), fair_weather(hours=3))).all()
