"""Who speaks for which quantity now, in which order, for how long, and at which height."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from watcher.judge.farm_judgement import judge_look
from watcher.judge.timeline import Foretold, Measured, Timeline, compose_timeline
from watcher.limits.catalogue import Limit
from watcher.limits.status import LimitState
from watcher.weather.bins import over_bins
from watcher.weather.series import QUANTITIES, Site, WeatherSeries
from watcher.weather.wind import yamartino

NOW = 1_781_107_200 + 1800  # half past the hour
HOUR = 3600
SITE = Site(41.0, -96.0, elevation_m=350.0)
WIND = frozenset({"wind_m_s", "gust_m_s", "wind_from_deg"})


def station(
    name: str, *, age_s: int = 60, minutes: int = 60, site: Site = SITE, **values: Any
) -> Measured:
    """A station with a reading every minute, the newest so old; a value or one a minute."""
    times = NOW - age_s - 60 * np.arange(minutes)[::-1]
    arrays = {k: np.broadcast_to(np.asarray(v, float), minutes) for k, v in values.items()}
    series = WeatherSeries.of(times, site, name, arrays)
    hours = over_bins(series, width_s=HOUR).series
    return Measured(series, hours, frozenset(values), silent_after_s=900.0)


def forecast(*, age_s: int = 600, site: Site = SITE, **values: float) -> Foretold:
    times = NOW // HOUR * HOUR + HOUR * np.arange(-40, 60)
    arrays = {name: np.full(times.size, value) for name, value in values.items()}
    return Foretold(WeatherSeries.of(times, site, "feed", arrays), NOW - age_s, 3 * HOUR)


def seen(*stations: Measured, foretold: Foretold | None = None) -> Timeline:
    return compose_timeline(
        now=NOW,
        stations=stations,
        forecasts=[] if foretold is None else [foretold],
        site=SITE,
        horizon_s=24 * HOUR,
    )


def now(timeline: Timeline, name: str) -> float:
    return float(getattr(timeline.series, name)[timeline.now_index])


class TestOrder:
    def test_the_first_station_told_speaks(self) -> None:
        timeline = seen(station("mast", temp_c=20.0), station("yard", temp_c=25.0))
        assert now(timeline, "temp_c") == 20.0
        assert timeline.spoken["temp_c"].source == "mast"

    def test_the_next_one_speaks_for_what_the_first_does_not_measure(self) -> None:
        timeline = seen(
            station("mast", temp_c=20.0), station("yard", temp_c=25.0, humidity_pct=40.0)
        )
        assert now(timeline, "humidity_pct") == 40.0
        assert timeline.spoken["humidity_pct"].source == "yard"

    def test_the_next_one_speaks_when_the_first_is_silent(self) -> None:
        timeline = seen(station("mast", age_s=901, temp_c=20.0), station("yard", temp_c=25.0))
        assert timeline.spoken["temp_c"].source == "yard"

    def test_up_to_its_bound_a_station_is_not_silent(self) -> None:
        timeline = seen(station("mast", age_s=900, temp_c=20.0), station("yard", temp_c=25.0))
        spoken = timeline.spoken["temp_c"]
        assert (spoken.source, spoken.age_s, spoken.measured) == ("mast", 900.0, True)

    def test_the_next_one_speaks_for_a_quantity_whose_last_values_are_flagged(self) -> None:
        bad = np.full(60, 20.0)
        bad[-20:] = np.nan
        timeline = seen(
            station("mast", temp_c=bad, humidity_pct=50.0), station("yard", temp_c=25.0)
        )
        assert timeline.spoken["temp_c"].source == "yard"
        assert timeline.spoken["humidity_pct"].source == "mast"


class TestNeverAForecast:
    def test_for_what_a_station_measures_however_long_it_is_silent(self) -> None:
        timeline = seen(station("mast", age_s=7200, wind_m_s=3.0), foretold=forecast(wind_m_s=4.0))
        assert np.isnan(now(timeline, "wind_m_s"))
        spoken = timeline.spoken["wind_m_s"]
        assert (spoken.source, spoken.age_s, spoken.measured) == (None, 7200.0, True)

    def test_nor_when_its_last_reading_is_so_old_that_only_its_hour_is_known(self) -> None:
        mast = station("mast", age_s=7200, wind_m_s=3.0)
        silent = replace(mast, series=mast.series.at(slice(0, 0)))
        timeline = seen(silent, foretold=forecast(wind_m_s=4.0))
        # Two hours ago it was half past; that hour began half an hour before. Never too young.
        assert timeline.spoken["wind_m_s"].age_s == 2.5 * HOUR
        assert np.isnan(now(timeline, "wind_m_s"))

    def test_for_a_station_that_never_spoke(self) -> None:
        nothing = WeatherSeries.of([], SITE, "mast", {})
        mute = Measured(nothing, nothing, WIND, 900.0)
        timeline = seen(mute, foretold=forecast(wind_m_s=4.0))
        assert np.isnan(now(timeline, "wind_m_s"))
        assert np.isnan(timeline.spoken["wind_m_s"].age_s)

    def test_but_for_what_no_station_measures(self) -> None:
        timeline = seen(station("mast", wind_m_s=3.0), foretold=forecast(cloud_pct=60.0))
        spoken = timeline.spoken["cloud_pct"]
        assert now(timeline, "cloud_pct") == 60.0
        assert (spoken.source, spoken.age_s, spoken.measured) == ("feed", 600.0, False)

    def test_of_a_feed_that_is_stale_itself(self) -> None:
        timeline = seen(foretold=forecast(age_s=4 * HOUR, cloud_pct=60.0))
        assert np.isnan(timeline.series.cloud_pct).all()


class TestHeights:
    def test_the_station_that_stands_in_is_brought_to_the_height_of_the_first(self) -> None:
        """FAO-56 equation 47: 4.0 m/s at 10 m are 4.0 * 0.748 at 2 m."""
        low = replace(SITE, wind_height_m=2.0)
        first = station("mast", age_s=7200, site=low, wind_m_s=9.0, gust_m_s=9.0)
        timeline = seen(first, station("tower", wind_m_s=4.0, gust_m_s=7.0))
        assert timeline.series.site.wind_height_m == 2.0
        assert now(timeline, "wind_m_s") == pytest.approx(4.0 * 0.748, abs=2e-3)
        # The gust keeps its excess over the mean whole.
        assert now(timeline, "gust_m_s") == pytest.approx(4.0 * 0.748 + 3.0, abs=2e-3)

    def test_so_is_the_forecast(self) -> None:
        low = replace(SITE, wind_height_m=2.0)
        timeline = seen(station("mast", site=low, wind_m_s=3.0), foretold=forecast(wind_m_s=4.0))
        assert timeline.series.wind_m_s[-1] == pytest.approx(4.0 * 0.748, abs=2e-3)

    def test_without_a_station_for_the_wind_the_forecasts_height_stands(self) -> None:
        timeline = seen(
            station("barn", site=replace(SITE, wind_height_m=3.0), temp_c=20.0),
            foretold=forecast(wind_m_s=4.0),
        )
        assert timeline.series.site.wind_height_m == 10.0


class TestTenMinutes:
    def test_the_wind_is_their_mean_the_gust_their_highest(self) -> None:
        wind = np.r_[np.full(50, 9.0), np.arange(10.0)]
        timeline = seen(station("mast", wind_m_s=wind, gust_m_s=wind + 1.0))
        assert now(timeline, "wind_m_s") == 4.5
        assert now(timeline, "gust_m_s") == 10.0

    def test_the_direction_is_their_mean_across_the_north(self) -> None:
        timeline = seen(station("mast", wind_from_deg=np.tile([350.0, 10.0], 30)))
        assert now(timeline, "wind_from_deg") % 360.0 == pytest.approx(0.0, abs=1e-9)

    def test_the_temperature_is_the_last(self) -> None:
        assert now(seen(station("mast", temp_c=np.arange(60.0))), "temp_c") == 59.0

    def test_the_spread_is_that_of_their_directions_where_none_is_given(self) -> None:
        directions = np.random.default_rng(1).normal(180.0, 20.0, 60)
        timeline = seen(station("mast", age_s=0, wind_from_deg=directions))
        assert now(timeline, "wind_spread_deg") == pytest.approx(float(yamartino(directions[-11:])))

    def test_what_swings_inside_each_reading_is_added_as_a_variance(self) -> None:
        directions = np.random.default_rng(1).normal(180.0, 12.0, 60)
        mast = station("mast", age_s=0, wind_from_deg=directions)
        between = float(yamartino(directions[-11:]))
        inside = replace(mast, direction_inside_deg=9.0)
        found = now(seen(inside), "wind_spread_deg")
        assert found == pytest.approx(np.hypot(between, 9.0))

    def test_a_spread_the_station_gives_stands(self) -> None:
        mast = station("mast", age_s=0, wind_from_deg=180.0, wind_spread_deg=14.0)
        inside = replace(mast, direction_inside_deg=9.0)
        assert now(seen(inside), "wind_spread_deg") == 14.0

    def test_a_spread_of_each_reading_is_added_to_that_between_them(self) -> None:
        directions = np.random.default_rng(1).normal(180.0, 12.0, 60)
        mast = station("mast", age_s=0, wind_from_deg=directions, wind_spread_deg=14.0)
        found = now(seen(replace(mast, spread_of_readings=True)), "wind_spread_deg")
        assert found == pytest.approx(np.hypot(float(yamartino(directions[-11:])), 14.0))


class TestPastHours:
    def test_are_what_was_measured_then_the_first_station_before_the_next(self) -> None:
        timeline = seen(
            station("mast", minutes=120, temp_c=20.0),
            station("yard", minutes=300, temp_c=25.0),
            foretold=forecast(temp_c=30.0),
        )
        past = timeline.series.temp_c[: timeline.now_index]
        assert past[-2:].tolist() == [20.0, 20.0]
        assert past[-5:-3].tolist() == [25.0, 25.0]
        assert past[0] == 30.0

    def test_and_of_a_quantity_it_is_not_said_to_measure_nothing_is_taken(self) -> None:
        shy = replace(
            station("mast", temp_c=20.0, humidity_pct=50.0), measures=frozenset({"temp_c"})
        )
        assert np.isnan(seen(shy).series.humidity_pct).all()


def test_hours_ahead_begin_at_what_is_measured_and_fade_into_the_forecast() -> None:
    timeline = seen(
        station("mast", age_s=0, temp_c=20.0, wind_m_s=2.0),
        foretold=forecast(temp_c=30.0, wind_m_s=6.0),
    )
    ahead = timeline.series.at(slice(timeline.now_index + 1, None))
    # The last hour's readings are of its middle, told to the hour.
    hours = (ahead.times - round((NOW - 1770) / HOUR) * HOUR) / HOUR
    assert ahead.temp_c == pytest.approx(30.0 - 8.5 * np.exp(-hours / 6.0))
    assert ahead.wind_m_s == pytest.approx(6.0 - 2.8 * np.exp(-hours / 2.0))
    assert timeline.now == NOW


@pytest.mark.parametrize(
    "stations",
    [(), (station("mast", age_s=7200, temp_c=20.0),), (station("mast", humidity_pct=40.0),)],
    ids=["none", "silent", "without a thermometer"],
)
def test_hours_ahead_are_the_forecasts_where_nothing_is_measured(
    stations: tuple[Measured, ...],
) -> None:
    timeline = seen(*stations, foretold=forecast(temp_c=30.0))
    assert (timeline.series.temp_c[timeline.now_index + 1 :] == 30.0).all()


def test_the_winds_uncertainty_is_that_of_who_speaks() -> None:
    unsure = replace(station("mast", wind_m_s=3.0), wind_uncertainty_m_s=0.5)
    silent = replace(station("old", age_s=7200, wind_m_s=3.0), wind_uncertainty_m_s=0.9)
    assert seen(unsure).wind_uncertainty_m_s == 0.5
    assert seen(silent, unsure).wind_uncertainty_m_s == 0.5
    assert seen(silent).wind_uncertainty_m_s == 0.0


@given(ages=st.lists(st.integers(0, 4000), min_size=1, max_size=4))
def test_the_first_that_is_not_silent_speaks_and_else_nobody(ages: list[int]) -> None:
    stations = [station(f"s{i}", age_s=age, wind_m_s=float(i)) for i, age in enumerate(ages)]
    timeline = seen(*stations, foretold=forecast(wind_m_s=99.0))
    speaking = next((i for i, age in enumerate(ages) if age <= 900), None)
    if speaking is None:
        assert np.isnan(now(timeline, "wind_m_s"))
    else:
        assert now(timeline, "wind_m_s") == speaking


@given(st.sampled_from(QUANTITIES), st.integers(0, 59))
def test_a_missing_value_never_brings_in_another_kind_of_source(name: str, count: int) -> None:
    """Taking readings away from the only station leaves its own older one, or nothing."""
    values = np.full(60, 5.0)
    values[60 - count :] = np.nan
    timeline = seen(station("mast", **{name: values}), foretold=forecast(**{name: 7.0}))
    assert timeline.spoken[name].source in {"mast", None}
    assert now(timeline, name) != 7.0


class TestBounds:
    """What a report does not tell it may say by its rules: between what it lies."""

    def reporting(self, *gusts: float, age_s: int = 60) -> Measured:
        """A station of light wind that tells gusts from 5 m/s over it on; the newest gust last."""
        series = station(
            "field", age_s=age_s, minutes=len(gusts), wind_m_s=3.0, gust_m_s=gusts
        ).series
        silent = np.isnan(series.gust_m_s)
        sides = (np.where(silent, 3.0, np.nan), np.where(silent, 8.0, np.nan))
        series = series.bounded({"gust_m_s": sides})
        hours = over_bins(series, width_s=HOUR).series
        return Measured(series, hours, WIND, silent_after_s=5400.0)

    def bounds(self, timeline: Timeline) -> tuple[float, float]:
        least, most = timeline.series.bound("gust_m_s")
        return float(least[timeline.now_index]), float(most[timeline.now_index])

    def test_a_gust_that_is_not_told_is_told_by_its_bounds(self) -> None:
        timeline = seen(self.reporting(np.nan))
        assert np.isnan(now(timeline, "gust_m_s"))
        assert self.bounds(timeline) == (3.0, 8.0)
        assert timeline.spoken["gust_m_s"].source == "field"

    def test_the_highest_gust_told_is_the_least_of_the_ten_minutes(self) -> None:
        assert self.bounds(seen(self.reporting(7.0, np.nan, 6.0))) == (7.0, 8.0)

    def test_a_gust_told_over_every_bound_is_the_gust(self) -> None:
        timeline = seen(self.reporting(9.0, np.nan))
        assert now(timeline, "gust_m_s") == 9.0
        assert np.isnan(self.bounds(timeline)).all()

    def test_a_bound_grows_old_as_a_value_does(self) -> None:
        timeline = seen(self.reporting(np.nan, age_s=5401))
        assert np.isnan(self.bounds(timeline)).all()
        assert timeline.spoken["gust_m_s"].source is None

    def test_past_hours_have_the_bounds_of_their_reports(self) -> None:
        timeline = seen(self.reporting(*[np.nan] * 100), foretold=forecast(gust_m_s=6.0))
        past = timeline.series.at(slice(0, timeline.now_index))
        assert past.bound("gust_m_s")[1][-1] == 8.0
        assert np.isnan(past.gust_m_s[-1])
        ahead = timeline.now_index + 1
        assert np.isnan(timeline.series.bound("gust_m_s")[1][ahead])
        assert timeline.series.gust_m_s[ahead] == 6.0

    def test_a_forecast_keeps_the_bounds_of_its_hours(self) -> None:
        given = forecast(rain_mm_h=0.5)
        none = np.zeros(len(given.series))
        given = replace(given, series=given.series.bounded({"rain_mm_h": (none, none + 3.0)}))
        least, most = seen(foretold=given).series.bound("rain_mm_h")
        assert set(least) == {0.0}
        assert set(most) == {3.0}

    def test_what_a_station_measures_takes_the_place_of_a_bound(self) -> None:
        given = forecast(rain_mm_h=0.5)
        none = np.zeros(len(given.series))
        given = replace(given, series=given.series.bounded({"rain_mm_h": (none, none + 3.0)}))
        timeline = seen(station("mast", rain_mm_h=0.2), foretold=given)
        assert now(timeline, "rain_mm_h") == 0.2
        assert np.isnan(timeline.series.bound("rain_mm_h")[1][timeline.now_index])

    def test_bounds_are_brought_to_the_height_of_the_other_winds(self) -> None:
        low = replace(SITE, wind_height_m=2.0)
        mast = station("mast", wind_m_s=2.0, site=low)
        timeline = seen(mast, self.reporting(np.nan))
        least, most = self.bounds(timeline)
        assert 0 < least < 3.0
        assert 3.0 < most < 8.0


DRY = {"temp_c": 20.0, "humidity_pct": 55.0, "rain_mm_h": 0.0, "soil_temp_10cm_c": 12.0}


class TestLeafAndSoil:
    def dry_now(self, plan_of: Any, tables: dict[str, Any], timeline: Timeline) -> LimitState:
        tables["windows"]["contact"]["leaf_dry_before"] = {"low": "2 h"}
        judgement = judge_look(plan_of(tables), replace(timeline, fields=("C",)))
        (checked,) = (c for c in judgement.checks if c.limit is Limit.LEAF_DRY)
        at = np.broadcast_to(checked.stand, judgement.instant.shape)[0, 0, timeline.now_index]
        return LimitState(int(at))

    def test_without_a_sensor_the_air_speaks(self, plan_of: Any, tables: dict[str, Any]) -> None:
        timeline = seen(foretold=forecast(**DRY))
        assert self.dry_now(plan_of, tables, timeline) is LimitState.HOLDS

    def test_a_wet_sensor_speaks_against_dry_air(
        self, plan_of: Any, tables: dict[str, Any]
    ) -> None:
        timeline = seen(station("leaf", leaf_wet_pct=80.0), foretold=forecast(**DRY))
        assert self.dry_now(plan_of, tables, timeline) is LimitState.BROKEN

    def test_a_silent_sensor_leaves_it_unknown_whatever_the_air_is_like(
        self, plan_of: Any, tables: dict[str, Any]
    ) -> None:
        silent = station("leaf", age_s=7200, leaf_wet_pct=0.0)
        timeline = seen(silent, foretold=forecast(**DRY))
        assert self.dry_now(plan_of, tables, timeline) is LimitState.UNKNOWN
        assert not timeline.expects["leaf_wet_pct"][timeline.now_index + 1 :].any()

    def test_a_silent_soil_thermometer_is_not_replaced_by_the_forecast(self) -> None:
        silent = station("soil", age_s=7200, soil_temp_10cm_c=15.0)
        timeline = seen(silent, foretold=forecast(**DRY))
        assert np.isnan(now(timeline, "soil_temp_10cm_c"))
        assert now(seen(foretold=forecast(**DRY)), "soil_temp_10cm_c") == 12.0


def test_an_outlook_is_of_a_day_and_a_half_before_now_and_the_hours_of_the_horizon() -> None:
    timeline = seen(station("mast", temp_c=20.0), foretold=forecast(temp_c=15.0))
    hour = NOW // HOUR * HOUR
    times = timeline.series.times
    assert times[0] == hour - 36 * HOUR
    assert times[timeline.now_index - 1 : timeline.now_index + 2].tolist() == [
        hour,
        NOW,
        hour + HOUR,
    ]
    assert times[-1] == hour + 24 * HOUR
    whole = compose_timeline(
        now=hour, stations=[], forecasts=[forecast(temp_c=15.0)], site=SITE, horizon_s=24 * HOUR
    )
    assert whole.series.times[[35, 36, 37]].tolist() == [hour - HOUR, hour, hour + HOUR]
    assert whole.series.times[-1] == hour + 24 * HOUR


@pytest.mark.parametrize(("age_s", "stands"), [(3 * HOUR, True), (3 * HOUR + 1, False)])
def test_a_forecast_stands_until_it_is_stale(age_s: int, stands: bool) -> None:
    timeline = seen(foretold=forecast(age_s=age_s, temp_c=15.0))
    assert np.isfinite(now(timeline, "temp_c")) == stands
    assert timeline.feeds == (("feed",) if stands else ())


def test_a_value_foretold_stands_for_an_hour_and_no_longer() -> None:
    every_two = forecast(temp_c=15.0)
    thinned = replace(every_two, series=every_two.series.at(slice(0, None, 2)))
    ahead = seen(foretold=thinned).series.temp_c
    assert 0.4 < np.isnan(ahead).mean() < 0.6


def test_gusts_are_estimated_by_the_wmos_factor_where_the_grower_wants_it() -> None:
    """1.66: WMO/TD-No. 1555, from memory."""
    given = forecast(wind_m_s=4.0)
    assert np.isnan(now(seen(foretold=given), "gust_m_s"))
    wanted = seen(foretold=replace(given, estimates_gusts=True))
    assert now(wanted, "gust_m_s") == pytest.approx(6.64)
    has_own = forecast(wind_m_s=4.0, gust_m_s=5.0)
    assert now(seen(foretold=replace(has_own, estimates_gusts=True)), "gust_m_s") == 5.0


@pytest.mark.parametrize(("minutes", "noticed"), [(4, False), (5, True)])
def test_five_directions_tell_of_their_spread(minutes: int, noticed: bool) -> None:
    directions = np.array([160.0, 170.0, 180.0, 190.0, 200.0])[:minutes]
    timeline = seen(station("mast", age_s=0, minutes=minutes, wind_from_deg=directions))
    assert np.isfinite(now(timeline, "wind_spread_deg")) == noticed


def test_a_wider_spread_of_the_directions_stands_over_the_one_given() -> None:
    directions = np.random.default_rng(1).normal(180.0, 20.0, 60)
    mast = station("mast", age_s=0, wind_from_deg=directions, wind_spread_deg=5.0)
    assert now(seen(mast), "wind_spread_deg") == pytest.approx(float(yamartino(directions[-11:])))


def test_no_gust_of_an_anemometer_whose_wind_is_missing() -> None:
    wind = np.r_[np.full(40, 3.0), np.full(20, np.nan)]
    mast = station("mast", wind_m_s=wind, gust_m_s=6.0)
    assert np.isnan(now(seen(mast), "gust_m_s"))
    cup = replace(mast, measures=frozenset({"gust_m_s"}))
    assert now(seen(cup), "gust_m_s") == 6.0


def test_a_second_thermometer_speaks_over_the_first_one_only() -> None:
    tower = replace(SITE, temp_upper_height_m=9.0)
    pair = station("pair", site=tower, temp_c=20.0, temp_upper_c=21.0)
    timeline = seen(pair)
    assert now(timeline, "temp_upper_c") == 21.0
    assert timeline.series.site.temp_upper_height_m == 9.0
    assert timeline.expects["temp_upper_c"].tolist() == (timeline.series.times <= NOW).tolist()
    behind = seen(station("barn", temp_c=25.0), pair)
    assert np.isnan(now(behind, "temp_upper_c"))
    assert "temp_upper_c" not in behind.expects
