"""Who speaks for which quantity now, in which order, for how long, and at which height."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from watcher.judge.outlook import Foretold, Measured, Outlook, look_out
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


def seen(*stations: Measured, foretold: Foretold | None = None) -> Outlook:
    return look_out(
        now=NOW,
        stations=stations,
        forecasts=[] if foretold is None else [foretold],
        site=SITE,
        horizon_s=24 * HOUR,
    )


def now(outlook: Outlook, name: str) -> float:
    return float(getattr(outlook.series, name)[outlook.now_index])


class TestOrder:
    def test_the_first_station_told_speaks(self) -> None:
        outlook = seen(station("mast", temp_c=20.0), station("yard", temp_c=25.0))
        assert now(outlook, "temp_c") == 20.0
        assert outlook.spoken["temp_c"].source == "mast"

    def test_the_next_one_speaks_for_what_the_first_does_not_measure(self) -> None:
        outlook = seen(
            station("mast", temp_c=20.0), station("yard", temp_c=25.0, humidity_pct=40.0)
        )
        assert now(outlook, "humidity_pct") == 40.0
        assert outlook.spoken["humidity_pct"].source == "yard"

    def test_the_next_one_speaks_when_the_first_is_silent(self) -> None:
        outlook = seen(station("mast", age_s=901, temp_c=20.0), station("yard", temp_c=25.0))
        assert outlook.spoken["temp_c"].source == "yard"

    def test_up_to_its_bound_a_station_is_not_silent(self) -> None:
        outlook = seen(station("mast", age_s=900, temp_c=20.0), station("yard", temp_c=25.0))
        spoken = outlook.spoken["temp_c"]
        assert (spoken.source, spoken.age_s, spoken.measured) == ("mast", 900.0, True)

    def test_the_next_one_speaks_for_a_quantity_whose_last_values_are_flagged(self) -> None:
        bad = np.full(60, 20.0)
        bad[-20:] = np.nan
        outlook = seen(station("mast", temp_c=bad, humidity_pct=50.0), station("yard", temp_c=25.0))
        assert outlook.spoken["temp_c"].source == "yard"
        assert outlook.spoken["humidity_pct"].source == "mast"


class TestNeverAForecast:
    def test_for_what_a_station_measures_however_long_it_is_silent(self) -> None:
        outlook = seen(station("mast", age_s=7200, wind_m_s=3.0), foretold=forecast(wind_m_s=4.0))
        assert np.isnan(now(outlook, "wind_m_s"))
        spoken = outlook.spoken["wind_m_s"]
        assert (spoken.source, spoken.age_s, spoken.measured) == (None, 7200.0, True)

    def test_nor_when_its_last_reading_is_so_old_that_only_its_hour_is_known(self) -> None:
        mast = station("mast", age_s=7200, wind_m_s=3.0)
        silent = replace(mast, series=mast.series.at(slice(0, 0)))
        outlook = seen(silent, foretold=forecast(wind_m_s=4.0))
        # Two hours ago it was half past; that hour began half an hour before. Never too young.
        assert outlook.spoken["wind_m_s"].age_s == 2.5 * HOUR
        assert np.isnan(now(outlook, "wind_m_s"))

    def test_for_a_station_that_never_spoke(self) -> None:
        nothing = WeatherSeries.of([], SITE, "mast", {})
        mute = Measured(nothing, nothing, WIND, 900.0)
        outlook = seen(mute, foretold=forecast(wind_m_s=4.0))
        assert np.isnan(now(outlook, "wind_m_s"))
        assert np.isnan(outlook.spoken["wind_m_s"].age_s)

    def test_but_for_what_no_station_measures(self) -> None:
        outlook = seen(station("mast", wind_m_s=3.0), foretold=forecast(cloud_pct=60.0))
        spoken = outlook.spoken["cloud_pct"]
        assert now(outlook, "cloud_pct") == 60.0
        assert (spoken.source, spoken.age_s, spoken.measured) == ("feed", 600.0, False)

    def test_of_a_feed_that_is_stale_itself(self) -> None:
        outlook = seen(foretold=forecast(age_s=4 * HOUR, cloud_pct=60.0))
        assert np.isnan(outlook.series.cloud_pct).all()


class TestHeights:
    def test_the_station_that_stands_in_is_brought_to_the_height_of_the_first(self) -> None:
        """FAO-56 equation 47: 4.0 m/s at 10 m are 4.0 * 0.748 at 2 m."""
        low = replace(SITE, wind_height_m=2.0)
        first = station("mast", age_s=7200, site=low, wind_m_s=9.0, gust_m_s=9.0)
        outlook = seen(first, station("tower", wind_m_s=4.0, gust_m_s=7.0))
        assert outlook.series.site.wind_height_m == 2.0
        assert now(outlook, "wind_m_s") == pytest.approx(4.0 * 0.748, abs=2e-3)
        # The gust keeps its excess over the mean whole.
        assert now(outlook, "gust_m_s") == pytest.approx(4.0 * 0.748 + 3.0, abs=2e-3)

    def test_so_is_the_forecast(self) -> None:
        low = replace(SITE, wind_height_m=2.0)
        outlook = seen(station("mast", site=low, wind_m_s=3.0), foretold=forecast(wind_m_s=4.0))
        assert outlook.series.wind_m_s[-1] == pytest.approx(4.0 * 0.748, abs=2e-3)

    def test_without_a_station_for_the_wind_the_forecasts_height_stands(self) -> None:
        outlook = seen(
            station("barn", site=replace(SITE, wind_height_m=3.0), temp_c=20.0),
            foretold=forecast(wind_m_s=4.0),
        )
        assert outlook.series.site.wind_height_m == 10.0


class TestTenMinutes:
    def test_the_wind_is_their_mean_the_gust_their_highest(self) -> None:
        wind = np.r_[np.full(50, 9.0), np.arange(10.0)]
        outlook = seen(station("mast", wind_m_s=wind, gust_m_s=wind + 1.0))
        assert now(outlook, "wind_m_s") == 4.5
        assert now(outlook, "gust_m_s") == 10.0

    def test_the_direction_is_their_mean_across_the_north(self) -> None:
        outlook = seen(station("mast", wind_from_deg=np.tile([350.0, 10.0], 30)))
        assert now(outlook, "wind_from_deg") % 360.0 == pytest.approx(0.0, abs=1e-9)

    def test_the_temperature_is_the_last(self) -> None:
        assert now(seen(station("mast", temp_c=np.arange(60.0))), "temp_c") == 59.0

    def test_the_spread_is_that_of_their_directions_where_none_is_given(self) -> None:
        directions = np.random.default_rng(1).normal(180.0, 20.0, 60)
        outlook = seen(station("mast", age_s=0, wind_from_deg=directions))
        assert now(outlook, "wind_spread_deg") == pytest.approx(float(yamartino(directions[-11:])))


class TestPastHours:
    def test_are_what_was_measured_then_the_first_station_before_the_next(self) -> None:
        outlook = seen(
            station("mast", minutes=120, temp_c=20.0),
            station("yard", minutes=300, temp_c=25.0),
            foretold=forecast(temp_c=30.0),
        )
        past = outlook.series.temp_c[: outlook.now_index]
        assert past[-2:].tolist() == [20.0, 20.0]
        assert past[-5:-3].tolist() == [25.0, 25.0]
        assert past[0] == 30.0

    def test_and_of_a_quantity_it_is_not_said_to_measure_nothing_is_taken(self) -> None:
        shy = replace(
            station("mast", temp_c=20.0, humidity_pct=50.0), measures=frozenset({"temp_c"})
        )
        assert np.isnan(seen(shy).series.humidity_pct).all()


def test_hours_ahead_are_the_forecasts() -> None:
    outlook = seen(station("mast", temp_c=20.0), foretold=forecast(temp_c=30.0))
    assert (outlook.series.temp_c[outlook.now_index + 1 :] == 30.0).all()
    assert outlook.now == NOW


def test_the_winds_uncertainty_is_that_of_who_speaks() -> None:
    unsure = replace(station("mast", wind_m_s=3.0), wind_uncertainty_m_s=0.5)
    silent = replace(station("old", age_s=7200, wind_m_s=3.0), wind_uncertainty_m_s=0.9)
    assert seen(unsure).wind_uncertainty_m_s == 0.5
    assert seen(silent, unsure).wind_uncertainty_m_s == 0.5
    assert seen(silent).wind_uncertainty_m_s == 0.0


@given(ages=st.lists(st.integers(0, 4000), min_size=1, max_size=4))
def test_the_first_that_is_not_silent_speaks_and_else_nobody(ages: list[int]) -> None:
    stations = [station(f"s{i}", age_s=age, wind_m_s=float(i)) for i, age in enumerate(ages)]
    outlook = seen(*stations, foretold=forecast(wind_m_s=99.0))
    speaking = next((i for i, age in enumerate(ages) if age <= 900), None)
    if speaking is None:
        assert np.isnan(now(outlook, "wind_m_s"))
    else:
        assert now(outlook, "wind_m_s") == speaking


@given(st.sampled_from(QUANTITIES), st.integers(0, 59))
def test_a_missing_value_never_brings_in_another_kind_of_source(name: str, count: int) -> None:
    """Taking readings away from the only station leaves its own older one, or nothing."""
    values = np.full(60, 5.0)
    values[60 - count :] = np.nan
    outlook = seen(station("mast", **{name: values}), foretold=forecast(**{name: 7.0}))
    assert outlook.spoken[name].source in {"mast", None}
    assert now(outlook, name) != 7.0
