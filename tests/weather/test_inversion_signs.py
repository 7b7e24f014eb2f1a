"""Each line of evidence on its own."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from watcher.weather.inversion_signs import (
    Daylight,
    Finding,
    clock,
    direction,
    gradient,
    radiation,
    rise_since_low,
    sky,
    warming,
)
from watcher.weather.stability import Stability
from watcher.weather.sun import next_sunrise

HOUR = 3600
# 2026-06-10 at 41 N 96 W: sunrise 10:53, sunset 01:58 UTC (of the 11th), noon 18:24.
MIDNIGHT = 1_781_049_600
PLACE = {"latitude": 41.0, "longitude": -96.0}
SUNRISE, SUNSET = MIDNIGHT + 10.88 * HOUR, MIDNIGHT + 25.97 * HOUR
NOON = MIDNIGHT + 18.4 * HOUR
NIGHT = MIDNIGHT + 6 * HOUR
SUNRISE_EXACT = float(next_sunrise(times=MIDNIGHT, **PLACE))


def at(*times: float) -> Daylight:
    return Daylight.of(times=np.array(times), **PLACE)


def names(findings: Any) -> list[str]:
    return [Finding(int(f)).name for f in np.atleast_1d(findings)]


def test_the_hours_these_tests_stand_on_are_right() -> None:
    day = at(SUNRISE + 1800, SUNSET - 1800)
    assert day.hours_since_sunrise[0] == pytest.approx(0.5, abs=0.05)
    assert day.hours_to_sunset[1] == pytest.approx(0.5, abs=0.05)


class TestGradient:
    def found(self, upper: Any, height: float = 2.0, upper_height: float = 10.0) -> list[str]:
        return names(
            gradient(
                temp_c=15.0,
                temp_upper_c=upper,
                height_m=height,
                upper_height_m=upper_height,
            ).finding
        )

    def test_warmer_above_is_measured_however_little(self) -> None:
        assert self.found([15.01, 17.0]) == ["MEASURED", "MEASURED"]

    def test_colder_above_by_more_than_the_dry_lapse_is_none(self) -> None:
        assert self.found([14.7, 14.0]) == ["NONE", "NONE"]

    def test_equal_or_hardly_colder_is_stable_air_not_an_inversion(self) -> None:
        assert self.found([15.0, 14.95]) == ["POSSIBLE", "POSSIBLE"]

    def test_over_a_tall_layer_the_dry_lapse_counts(self) -> None:
        """From 2 to 80 m the dry lapse is 0.76 K: half a kelvin colder is still stable."""
        assert self.found([14.5, 14.2], upper_height=80.0) == ["POSSIBLE", "NONE"]

    @pytest.mark.parametrize(("height", "upper"), [(10.0, 2.0), (2.0, np.nan), (2.0, 2.0)])
    def test_heights_that_make_no_layer_are_unknown(self, height: float, upper: float) -> None:
        assert self.found(17.0, height, upper) == ["UNKNOWN"]


class TestSky:
    def test_a_clear_night_is_likely_until_the_wind_mixes_it(self) -> None:
        night = at(NIGHT, NIGHT, NIGHT, NIGHT)
        sign = sky(wind_m_s=[1.0, 3.0, 4.5, 6.5], cloud_pct=10.0, daylight=night)
        assert names(sign.finding) == ["LIKELY", "LIKELY", "POSSIBLE", "NONE"]

    def test_an_overcast_windy_night_is_none_a_still_one_is_not(self) -> None:
        sign = sky(wind_m_s=[1.0, 3.0, 3.5], cloud_pct=100.0, daylight=at(NIGHT, NIGHT, NIGHT))
        assert names(sign.finding) == ["LIKELY", "POSSIBLE", "NONE"]

    def test_an_overcast_night_is_neutral_under_low_cloud_only(self) -> None:
        # Turner 1964 / EPA-454/R-99-005, 6.4.1: cover 10/10 and ceiling under 7000 ft is index 0.
        nights = at(*[NIGHT] * 4)
        sign = sky(
            wind_m_s=1.0,
            cloud_pct=[100.0, 100.0, 100.0, 75.0],
            ceiling_m=[2100.0, 2200.0, np.nan, 500.0],
            daylight=nights,
        )
        assert names(sign.finding) == ["NONE", "LIKELY", "LIKELY", "LIKELY"]

    def test_by_day_no_cloud_makes_an_inversion(self) -> None:
        sign = sky(wind_m_s=1.0, cloud_pct=[0.0, 100.0, np.nan], daylight=at(NOON, NOON, NOON))
        assert names(sign.finding) == ["NONE", "NONE", "NONE"]
        assert sign.stability is not None
        assert sign.stability.tolist() == [Stability.A, Stability.D, Stability.UNKNOWN]

    def test_the_last_hour_of_sun_and_the_first_count_as_night(self) -> None:
        times = (
            SUNSET - 1.2 * HOUR,
            SUNSET - 0.8 * HOUR,
            SUNRISE + 0.8 * HOUR,
            SUNRISE + 1.2 * HOUR,
        )
        sign = sky(wind_m_s=2.0, cloud_pct=0.0, daylight=at(*times))
        assert names(sign.finding) == ["NONE", "LIKELY", "LIKELY", "NONE"]

    def test_a_night_of_unknown_cloud_is_read_as_clear(self) -> None:
        sign = sky(wind_m_s=2.0, cloud_pct=np.nan, daylight=at(NIGHT))
        assert names(sign.finding) == ["LIKELY"]


class TestRadiation:
    def found(self, when: float, **given: Any) -> list[str]:
        usual = {"wind_m_s": 2.0, "solar_w_m2": np.nan, "net_w_m2": np.nan}
        return names(radiation(**usual | given, daylight=at(when)).finding)

    def test_a_night_that_loses_much_heat_in_weak_wind_is_likely(self) -> None:
        assert self.found(NIGHT, net_w_m2=-60.0) == ["LIKELY"]

    def test_a_night_that_loses_hardly_any_is_none(self) -> None:
        assert self.found(NIGHT, net_w_m2=-5.0) == ["NONE"]

    def test_wind_mixes_what_the_loss_of_heat_cools(self) -> None:
        assert self.found(NIGHT, net_w_m2=-60.0, wind_m_s=4.0) == ["POSSIBLE"]
        assert self.found(NIGHT, net_w_m2=-60.0, wind_m_s=7.0) == ["NONE"]

    def test_snow_that_loses_heat_at_noon_is_likely_too(self) -> None:
        assert self.found(NOON, net_w_m2=-50.0, solar_w_m2=400.0) == ["LIKELY"]

    def test_sun_alone_is_none_by_day(self) -> None:
        assert self.found(NOON, solar_w_m2=700.0) == ["NONE"]

    def test_without_any_radiation_it_does_not_know(self) -> None:
        assert self.found(NOON) == ["UNKNOWN"]
        assert self.found(NIGHT) == ["UNKNOWN"]

    def test_at_night_the_sun_says_nothing(self) -> None:
        assert self.found(NIGHT, solar_w_m2=0.0) == ["UNKNOWN"]

    def test_a_gain_of_heat_gives_no_class_beside_the_suns(self) -> None:
        given = {"wind_m_s": 1.0, "net_w_m2": 400.0, "daylight": at(NOON)}
        assert radiation(solar_w_m2=np.nan, **given).stability == Stability.UNKNOWN
        assert radiation(solar_w_m2=950.0, **given).stability == Stability.A


class TestDirection:
    def found(self, when: float, spread: float, wind: float) -> list[str]:
        sign = direction(
            wind_m_s=wind,
            wind_spread_deg=spread,
            height_m=10.0,
            roughness_m=0.15,
            daylight=at(when),
        )
        return names(sign.finding)

    def test_a_steady_vane_in_light_wind_at_night_is_likely(self) -> None:
        assert self.found(NIGHT, 3.0, 2.0) == ["LIKELY"]

    def test_a_wandering_vane_in_light_wind_at_night_is_likely_too(self) -> None:
        assert self.found(NIGHT, 25.0, 2.0) == ["LIKELY"]

    def test_by_day_the_spread_never_tells_of_an_inversion(self) -> None:
        assert self.found(NOON, 3.0, 2.0) == ["NONE"]

    def test_without_a_spread_it_does_not_know(self) -> None:
        assert self.found(NIGHT, np.nan, 2.0) == ["UNKNOWN"]


class TestClock:
    def found(self, when: float, wind: float) -> str:
        return names(clock(wind_m_s=wind, daylight=at(when)).finding)[0]

    def test_weak_wind_two_hours_before_sunset_is_possible(self) -> None:
        assert self.found(SUNSET - 2.1 * HOUR, 2.5) == "NONE"
        assert self.found(SUNSET - 1.9 * HOUR, 2.5) == "POSSIBLE"

    def test_in_light_air_it_begins_three_hours_before_sunset(self) -> None:
        assert self.found(SUNSET - 3.1 * HOUR, 1.5) == "NONE"
        assert self.found(SUNSET - 2.9 * HOUR, 1.5) == "POSSIBLE"

    def test_eleven_kilometres_an_hour_of_wind_clear_the_night(self) -> None:
        assert self.found(NIGHT, 3.0) == "POSSIBLE"
        assert self.found(NIGHT, 3.1) == "NONE"

    def test_still_air_in_the_dark_is_likely(self) -> None:
        assert self.found(NIGHT, 0.5) == "LIKELY"

    def test_still_air_at_noon_is_none(self) -> None:
        assert self.found(NOON, 0.5) == "NONE"

    def test_where_the_sun_does_not_set_a_low_sun_stands_for_night(self) -> None:
        """78 N in June: 11 degrees high at midnight, 35 at noon; at 70 N 3 and 43."""
        midnight = MIDNIGHT + 23 * HOUR  # at 15 E
        for latitude, expected in ((70.0, "POSSIBLE"), (80.0, "NONE")):
            day = Daylight.of(times=[midnight], latitude=latitude, longitude=15.0)
            assert np.isnan(day.hours_to_sunset).all()
            assert names(clock(wind_m_s=2.5, daylight=day).finding) == [expected]

    def test_polar_night_is_night_at_noon(self) -> None:
        noon = MIDNIGHT + (193 * 24 + 11) * HOUR  # 2026-12-20
        day = Daylight.of(times=[noon], latitude=78.0, longitude=15.0)
        assert names(clock(wind_m_s=0.5, daylight=day).finding) == ["LIKELY"]


class TestWarming:
    """Temperature of a night at 10 degC, then rising by 1 K an hour from sunrise."""

    TIMES = MIDNIGHT + HOUR * np.arange(0, 20, 0.25)
    RISING = 10.0 + np.maximum(0.0, (TIMES - SUNRISE) / HOUR)

    def found(self, hours_after_sunrise: float, wind: float, temp: Any = None) -> str:
        sign = warming(
            times=self.TIMES,
            temp_c=self.RISING if temp is None else temp,
            wind_m_s=wind,
            longitude=-96.0,
            daylight=Daylight.of(times=self.TIMES, **PLACE),
        )
        index = np.searchsorted(self.TIMES, SUNRISE + hours_after_sunrise * HOUR)
        return names(sign.finding[index])[0]

    def test_until_the_morning_has_warmed_three_degrees_fahrenheit_it_is_possible(self) -> None:
        assert self.found(1.2, 2.5) == "POSSIBLE"
        assert self.found(1.9, 2.5) == "NONE"

    def test_an_early_rise_breaks_nothing_within_an_hour_of_sunrise(self) -> None:
        fast = 10.0 + 4.0 * np.maximum(0.0, (self.TIMES - SUNRISE) / HOUR)
        assert self.found(0.7, 2.5, fast) == "POSSIBLE"
        assert self.found(1.1, 2.5, fast) == "NONE"

    @pytest.mark.parametrize(
        ("wind", "temp", "expected"),
        [
            (1.79, 12.0, ["POSSIBLE", "NONE", "NONE"]),
            (1.8, 12.0, ["NONE", "NONE", "NONE"]),
            (1.8, 10.0, ["POSSIBLE", "POSSIBLE", "POSSIBLE"]),
            (11.0 / 3.6, 10.0, ["NONE", "NONE", "NONE"]),
        ],
    )
    def test_at_its_bound_a_sign_counts(self, wind: float, temp: float, expected: Any) -> None:
        """Exactly one, two and four hours after sunrise, after a night at 10 degC."""
        hours = np.array([-1.0, 1.0, 2.0, 4.0])
        day = Daylight.of(times=SUNRISE + hours * HOUR, **PLACE)
        sign = warming(
            times=SUNRISE + hours * HOUR,
            temp_c=[10.0, temp, temp, temp],
            wind_m_s=wind,
            longitude=-96.0,
            daylight=replace(day, hours_since_sunrise=np.where(hours < 0, 23.0, hours)),
        )
        assert names(sign.finding)[1:] == expected

    def test_without_wind_it_takes_two_hours(self) -> None:
        assert self.found(1.8, 1.0) == "POSSIBLE"
        assert self.found(2.1, 1.0) == "NONE"

    def test_a_morning_that_does_not_warm_stays_possible_for_four_hours(self) -> None:
        flat = np.full(self.TIMES.size, 10.0)
        assert self.found(3.7, 2.0, flat) == "POSSIBLE"
        assert self.found(4.1, 2.0, flat) == "NONE"

    def test_wind_clears_a_morning_that_does_not_warm(self) -> None:
        assert self.found(2.0, 3.5, np.full(self.TIMES.size, 10.0)) == "NONE"

    def test_a_missing_temperature_counts_as_no_rise(self) -> None:
        holed = np.where(self.TIMES > SUNRISE + 1.5 * HOUR, np.nan, self.RISING)
        assert self.found(3.0, 2.5, holed) == "POSSIBLE"

    def test_a_low_that_was_not_recorded_counts_as_no_rise(self) -> None:
        late = np.where(self.TIMES < SUNRISE + 2.5 * HOUR, np.nan, self.RISING)
        assert self.found(3.0, 2.5, late) == "POSSIBLE"


def test_the_rise_counts_from_the_low_since_the_last_noon() -> None:
    hours = np.array([-2.0, -1.0, 1.0, 10.0, 18.0, 22.0, 25.0])  # from noon
    temps = [3.0, 20.0, 25.0, 12.0, 9.0, 15.0, 26.0]
    rise = rise_since_low(times=NOON + hours * HOUR, temp_c=temps, longitude=-96.0)
    assert rise == pytest.approx([0.0, 17.0, 0.0, 0.0, 0.0, 6.0, 0.0])


class TestAtTheBounds:
    """Just on either side of each published bound."""

    @pytest.mark.parametrize(
        ("upper", "height", "expected"),
        [
            (15.0, 10.0, "POSSIBLE"),
            (14.91, 10.0, "POSSIBLE"),
            (14.88, 10.0, "NONE"),
            (14.35, 80.0, "POSSIBLE"),  # 0.7644 K of dry lapse less 0.65: over a tenth
            (14.32, 80.0, "NONE"),
        ],
    )
    def test_a_pair_of_thermometers_may_be_off_by_a_tenth(
        self, upper: float, height: float, expected: str
    ) -> None:
        sign = gradient(temp_c=15.0, temp_upper_c=upper, height_m=2.0, upper_height_m=height)
        assert names(sign.finding) == [expected]

    def test_forty_watts_are_a_clear_nights_loss_and_ten_an_overcast_ones(self) -> None:
        sign = radiation(
            wind_m_s=2.0,
            solar_w_m2=np.nan,
            net_w_m2=[-40.0, -39.9, -10.1, -10.0],
            daylight=at(*[NIGHT] * 4),
        )
        assert names(sign.finding) == ["LIKELY", "POSSIBLE", "POSSIBLE", "NONE"]

    @pytest.mark.parametrize(
        ("wind", "expected"),
        [(0.83, "LIKELY"), (3.0 / 3.6, "POSSIBLE"), (3.05, "POSSIBLE"), (11.0 / 3.6, "NONE")],
    )
    def test_still_air_is_under_3_km_h_and_mixed_air_from_11_on(
        self, wind: float, expected: str
    ) -> None:
        assert names(clock(wind_m_s=wind, daylight=at(NIGHT)).finding) == [expected]

    @pytest.mark.parametrize(
        ("to_sunset", "wind", "expected"),
        [
            (2.0, 2.0, "POSSIBLE"),
            (2.01, 2.0, "NONE"),
            (3.0, 1.99, "POSSIBLE"),
            (3.01, 1.99, "NONE"),
        ],
    )
    def test_the_evening_begins_two_hours_before_sunset_three_in_light_air(
        self, to_sunset: float, wind: float, expected: str
    ) -> None:
        day = replace(at(NOON), hours_to_sunset=np.array([to_sunset]))
        assert names(clock(wind_m_s=wind, daylight=day).finding) == [expected]

    def test_a_sun_of_eleven_degrees_that_does_not_set_is_day(self) -> None:
        """78 N at midnight in June: 23.4 - (90 - 78) = 11.4 degrees; 76 N: 9.4."""
        for latitude, night in ((78.0, False), (76.0, True)):
            day = Daylight.of(times=[MIDNIGHT + 23 * HOUR], latitude=latitude, longitude=15.0)
            assert bool(day.night[0]) is night

    def test_an_hour_beside_the_night_counts_as_night(self) -> None:
        moments = SUNRISE_EXACT + HOUR * np.array([0.99, 1.01])
        assert at(*moments).night.tolist() == [True, False]
        assert at(*moments).dark.tolist() == [False, False]


def test_scenarios_laid_end_to_end_begin_their_low_afresh() -> None:
    """The second run knows nothing of the 3 degrees of the first."""
    night = NOON + HOUR * np.array([10.0, 12.0])
    rise = rise_since_low(times=np.tile(night, 2), temp_c=[3.0, 8.0, 6.0, 7.0], longitude=-96.0)
    assert rise == pytest.approx([0.0, 5.0, 0.0, 1.0])
