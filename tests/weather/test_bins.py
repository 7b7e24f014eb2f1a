"""Weather over bins: against pandas, published angles, and the laws of adding up."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from watcher.weather.bins import HOUR_S, TEN_MINUTES_S, Bins, joined, over_bins, widened
from watcher.weather.series import QUANTITIES, Site, WeatherSeries
from watcher.weather.wind import direction_mean, yamartino

SITE = Site(41.0, -96.0)
START = 1_781_107_200
NAN = np.nan
MEANS = [
    name for name in QUANTITIES if name not in {"gust_m_s", "wind_from_deg", "wind_spread_deg"}
]


def gappy(seed: int = 7, count: int = 2000) -> WeatherSeries:
    """Irregular readings with holes in them, a fifth of all values missing."""
    rng = np.random.default_rng(seed)
    times = START + np.cumsum(rng.integers(20, 400, count))
    values = {name: rng.normal(10.0, 3.0, count) for name in QUANTITIES}
    values["wind_m_s"] = np.abs(rng.normal(3.0, 2.0, count))
    values["wind_from_deg"] = rng.uniform(0.0, 360.0, count)
    values["wind_spread_deg"] = rng.uniform(2.0, 40.0, count)
    for column in values.values():
        column[rng.random(count) < 0.2] = np.nan
    return WeatherSeries.of(times, SITE, "mast", values)


def frame(series: WeatherSeries, width_s: int) -> pd.api.typing.DataFrameGroupBy:
    table = pd.DataFrame(
        series.quantities(), index=pd.to_datetime(series.times, unit="s", utc=True)
    )
    return table.groupby(table.index.floor(f"{width_s}s"))


@pytest.mark.parametrize("width_s", [TEN_MINUTES_S, HOUR_S])
class TestAgainstPandas:
    def test_means_and_counts(self, width_s: int) -> None:
        series = gappy()
        bins, by_bin = over_bins(series, width_s=width_s), frame(series, width_s)
        np.testing.assert_array_equal(bins.readings, by_bin.size())
        for name in MEANS:
            np.testing.assert_allclose(getattr(bins.series, name), by_bin[name].mean(), rtol=1e-12)
            np.testing.assert_array_equal(bins.known[name], by_bin[name].count())

    def test_times_are_the_beginnings_of_bins(self, width_s: int) -> None:
        series = gappy()
        theirs = frame(series, width_s).size().index.astype("datetime64[s, UTC]").astype("int64")
        np.testing.assert_array_equal(over_bins(series, width_s=width_s).series.times, theirs)

    def test_extremes(self, width_s: int) -> None:
        series = gappy()
        bins, by_bin = over_bins(series, width_s=width_s), frame(series, width_s)
        np.testing.assert_array_equal(bins.series.gust_m_s, by_bin.gust_m_s.max())
        np.testing.assert_array_equal(bins.temp_low_c, by_bin.temp_c.min())
        np.testing.assert_array_equal(bins.temp_high_c, by_bin.temp_c.max())

    def test_components_of_the_wind(self, width_s: int) -> None:
        series = gappy()
        bins = over_bins(series, width_s=width_s)
        east = -series.wind_m_s * np.sin(np.radians(series.wind_from_deg))
        theirs = frame(series.having(temp_c=east), width_s).temp_c.mean()
        np.testing.assert_allclose(bins.east_m_s, theirs, rtol=1e-9, atol=1e-12)


def minutes(**values: object) -> WeatherSeries:
    count = len(next(iter(values.values())))  # type: ignore[arg-type]
    times = START + 60 * np.arange(count)
    return WeatherSeries.of(times, SITE, "mast", values)  # type: ignore[arg-type]


def hour(**values: object) -> Bins:
    return hour_of(minutes(**values))


def hour_of(series: WeatherSeries) -> Bins:
    return over_bins(series, width_s=HOUR_S)


def test_direction_and_spread_of_a_bin_are_those_of_its_directions() -> None:
    rng = np.random.default_rng(3)
    from_deg = rng.normal(355.0, 25.0, 60) % 360.0
    bins = hour(wind_m_s=np.full(60, 3.0), wind_from_deg=from_deg)
    assert bins.series.wind_from_deg[0] == pytest.approx(float(direction_mean(from_deg)))
    assert bins.series.wind_spread_deg[0] == pytest.approx(float(yamartino(from_deg)))


def test_the_vector_of_two_winds_at_right_angles() -> None:
    """3 m/s from the north and 4 m/s from the east: 2.5 m/s from 53.13 degrees, by hand."""
    bins = hour(wind_m_s=[3.0, 4.0], wind_from_deg=[0.0, 90.0])
    assert np.hypot(bins.east_m_s, bins.north_m_s)[0] == pytest.approx(2.5)
    from_deg = np.degrees(np.arctan2(-bins.east_m_s, -bins.north_m_s))
    assert from_deg[0] == pytest.approx(53.130, abs=1e-3)
    assert bins.series.wind_m_s[0] == 3.5


def test_spreads_given_go_together_as_the_epa_says() -> None:
    """Root mean square; 10, 12, 8, 14 give 11.225 (EPA-454/R-99-005, section 6.2.1)."""
    bins = hour(wind_spread_deg=[10.0, 12.0, 8.0, 14.0])
    assert bins.series.wind_spread_deg[0] == pytest.approx(11.225, abs=5e-4)


def test_a_turning_wind_spreads_more_than_its_ten_minutes_did() -> None:
    turning = np.linspace(0.0, 90.0, 60)
    bins = hour(wind_m_s=np.full(60, 3.0), wind_from_deg=turning, wind_spread_deg=np.full(60, 4.0))
    assert bins.series.wind_spread_deg[0] > 20.0


def test_a_vane_in_a_calm_says_nothing_of_the_direction() -> None:
    bins = hour(wind_m_s=[0.0, 0.3, 2.0], wind_from_deg=[90.0, 90.0, 270.0])
    assert bins.series.wind_from_deg[0] == pytest.approx(270.0)


def test_a_calm_without_a_direction_counts_in_the_vector() -> None:
    bins = hour(wind_m_s=[0.0, 4.0], wind_from_deg=[np.nan, 180.0])
    assert bins.north_m_s[0] == pytest.approx(2.0)


def test_doubted_values_are_left_out_and_counted() -> None:
    doubted = {"temp_c": np.array([False, True, False])}
    bins = over_bins(minutes(temp_c=[10.0, 99.0, 12.0]), width_s=HOUR_S, doubted=doubted)
    assert bins.series.temp_c[0] == 11.0
    assert bins.temp_high_c[0] == 12.0
    assert (bins.known["temp_c"][0], bins.doubted["temp_c"][0]) == (2, 1)


def test_a_bin_without_a_good_value_has_none() -> None:
    bins = hour(temp_c=[np.nan, np.nan], gust_m_s=[np.nan, np.nan], wind_m_s=[1.0, 1.0])
    assert np.isnan([bins.series.temp_c[0], bins.series.gust_m_s[0], bins.temp_low_c[0]]).all()
    assert bins.known["temp_c"][0] == 0


class TestRain:
    def test_a_whole_hour_of_minutes_adds_up(self) -> None:
        assert hour(rain_mm_h=np.full(60, 3.0)).rain_mm[0] == pytest.approx(3.0)

    def test_what_was_not_measured_is_not_made_up(self) -> None:
        assert hour(rain_mm_h=np.full(20, 3.0)).rain_mm[0] == pytest.approx(1.0)

    def test_one_hourly_report_stands_for_its_hour(self) -> None:
        assert hour(rain_mm_h=[3.0]).rain_mm[0] == pytest.approx(3.0)

    def test_and_for_no_more_than_the_ten_minutes_asked_for(self) -> None:
        bins = over_bins(minutes(rain_mm_h=[3.0]), width_s=TEN_MINUTES_S)
        assert bins.rain_mm[0] == pytest.approx(0.5)

    def test_unknown_rain_is_unknown(self) -> None:
        assert np.isnan(hour(rain_mm_h=[np.nan, np.nan]).rain_mm[0])

    def test_ten_minutes_add_up_to_their_hour(self) -> None:
        rate = np.random.default_rng(1).uniform(0.0, 9.0, 60)
        ten = over_bins(minutes(rain_mm_h=rate), width_s=TEN_MINUTES_S).rain_mm
        assert ten.sum() == pytest.approx(hour(rain_mm_h=rate).rain_mm[0])


@given(cut=st.integers(0, 2000), width_s=st.sampled_from([TEN_MINUTES_S, HOUR_S]))
def test_bins_made_in_two_goes_are_those_made_in_one(cut: int, width_s: int) -> None:
    """Cut where a bin begins, as the log does: in whole hours."""
    series = gappy(count=2000)
    edge = int(series.times[min(cut, 1999)]) // HOUR_S * HOUR_S
    parts = [series.between(0, edge), series.between(edge, int(series.times[-1]) + 1)]
    whole = over_bins(series, width_s=width_s)
    both = joined(
        [over_bins(p, width_s=width_s) for p in parts], width_s=width_s, site=SITE, source="mast"
    )
    np.testing.assert_array_equal(both.series.times, whole.series.times)
    for name in QUANTITIES:
        np.testing.assert_allclose(
            getattr(both.series, name), getattr(whole.series, name), rtol=1e-9, atol=1e-9
        )
    np.testing.assert_allclose(both.rain_mm, whole.rain_mm, rtol=1e-9, atol=1e-9)


def test_of_two_bins_of_a_time_the_one_of_most_readings_stands_then_the_last() -> None:
    poor, rich, late = (hour(temp_c=np.full(n, v)) for n, v in ((2, 1.0), (5, 2.0), (5, 3.0)))
    both = joined([rich, poor], width_s=HOUR_S, site=SITE, source="mast")
    assert both.series.temp_c.tolist() == [2.0]
    assert joined([rich, late], width_s=HOUR_S, site=SITE, source="mast").series.temp_c[0] == 3.0


def test_no_readings_make_no_bins() -> None:
    nothing = WeatherSeries.of([], SITE, "mast", {})
    assert len(over_bins(nothing, width_s=HOUR_S)) == 0
    assert len(joined([], width_s=HOUR_S, site=SITE, source="mast")) == 0


@pytest.mark.parametrize(("directions", "noticed"), [(4, False), (5, True)])
def test_fewer_than_five_directions_tell_nothing_of_their_spread(
    directions: int, noticed: bool
) -> None:
    spread = hour(wind_m_s=np.full(directions, 3.0), wind_from_deg=np.arange(directions) * 10.0)
    assert np.isfinite(spread.series.wind_spread_deg[0]) == noticed


def test_a_wind_of_half_a_metre_a_second_has_a_direction() -> None:
    bins = hour(wind_m_s=[0.5, 0.49], wind_from_deg=[90.0, 180.0])
    assert bins.series.wind_from_deg[0] == pytest.approx(90.0)


@pytest.mark.parametrize("doubted", ["wind_m_s", "gust_m_s"])
def test_bounds_go_with_the_wind_they_are_of(doubted: str) -> None:
    least = np.array([5.0, 6.0])
    series = minutes(wind_m_s=[5.0, 6.0]).bounded({"gust_m_s": (least, least + 5.0)})
    bins = over_bins(series, width_s=HOUR_S, doubted={doubted: np.array([False, True])})
    assert [side[0] for side in bins.series.bound("gust_m_s")] == [5.0, 10.0]


class TestBounds:
    """What is known of a bin in which some values are only bounded."""

    @staticmethod
    def of(name: str, values: list[float], least: list[float], most: list[float]) -> list[float]:
        series = minutes(**{name: values}).bounded({name: (np.array(least), np.array(most))})
        return [float(side[0]) for side in hour_of(series).series.bound(name)]

    def test_the_highest_of_a_gust_known_and_one_bounded(self) -> None:
        assert self.of("gust_m_s", [8.0, NAN], [NAN, 5.0], [NAN, 10.0]) == [8.0, 10.0]

    def test_a_highest_that_no_bounded_one_can_pass_is_known(self) -> None:
        assert np.isnan(self.of("gust_m_s", [12.0, NAN], [NAN, 5.0], [NAN, 10.0])).all()

    def test_a_mean_lies_between_the_means_of_the_sides(self) -> None:
        assert self.of("rain_mm_h", [2.0, NAN], [NAN, 0.0], [NAN, 6.0]) == [1.0, 4.0]

    def test_a_mean_with_an_open_side_is_open_on_that_side(self) -> None:
        least, most = self.of("rain_mm_h", [2.0, NAN], [NAN, 4.0], [NAN, NAN])
        assert (least, np.isnan(most)) == (3.0, True)
        least, most = self.of("rain_mm_h", [2.0, NAN], [NAN, NAN], [NAN, 4.0])
        assert (np.isnan(least), most) == (True, 3.0)

    def test_a_highest_of_which_one_has_no_least_is_still_at_least_the_others(self) -> None:
        assert self.of("gust_m_s", [8.0, NAN], [NAN, NAN], [NAN, 10.0]) == [8.0, 10.0]


class TestWidened:
    """The direction's spread with the swing inside each reading: variances add up, 3-4-5."""

    FROM = np.array([80.0, 85.0, 90.0, 95.0, 100.0])

    def test_readings_without_a_spread_of_their_own_take_the_usual_swing(self) -> None:
        bins = hour(wind_m_s=np.full(5, 3.0), wind_from_deg=self.FROM)
        between = float(bins.series.wind_spread_deg[0])
        for of_readings in (False, True):
            wide = widened(bins, 9.0, of_readings=of_readings).wind_spread_deg
            assert wide[0] == pytest.approx(np.hypot(between, 9.0))

    def test_a_spread_that_is_of_the_bin_stands(self) -> None:
        bins = hour(wind_m_s=[3.0], wind_from_deg=[90.0], wind_spread_deg=[20.0])
        assert widened(bins, 9.0, of_readings=False).wind_spread_deg[0] == 20.0

    def test_one_that_is_of_each_reading_is_added_to_that_between_them(self) -> None:
        bins = hour(
            wind_m_s=np.full(5, 3.0), wind_from_deg=self.FROM, wind_spread_deg=np.full(5, 20.0)
        )
        between = float(yamartino(self.FROM))
        wide = widened(bins, 9.0, of_readings=True).wind_spread_deg
        assert wide[0] == pytest.approx(np.hypot(20.0, between))

    def test_a_single_reading_has_nothing_between(self) -> None:
        bins = hour(wind_m_s=[3.0], wind_from_deg=[90.0], wind_spread_deg=[20.0])
        assert widened(bins, 9.0, of_readings=True).wind_spread_deg[0] == pytest.approx(20.0)

    def test_where_the_readings_wandered_further_than_each_said_the_usual_swing_is_added(
        self,
    ) -> None:
        bins = hour(
            wind_m_s=np.full(5, 3.0), wind_from_deg=self.FROM, wind_spread_deg=np.full(5, 1.0)
        )
        wide = widened(bins, 9.0, of_readings=True).wind_spread_deg
        assert wide[0] == pytest.approx(np.hypot(float(yamartino(self.FROM)), 9.0))


def test_rain_stands_for_the_usual_time_between_two_readings_of_its_hour() -> None:
    """Readings 10, 10 and 20 min apart: four of them stand for ten minutes each."""
    times = START + 60 * np.array([0, 10, 20, 40])
    series = WeatherSeries.of(times, SITE, "mast", {"rain_mm_h": np.full(4, 6.0)})
    assert hour_of(series).rain_mm[0] == pytest.approx(6.0 * 40 / 60)


def test_cut_bins_keep_all_that_was_counted() -> None:
    series = gappy(count=400)
    doubted = {"temp_c": np.arange(400) % 3 == 0}
    bins = over_bins(series, width_s=TEN_MINUTES_S, doubted=doubted)
    part = bins.at(slice(2, 5))
    assert part.doubted["temp_c"].tolist() == bins.doubted["temp_c"][2:5].tolist()
    assert part.known["wind_m_s"].tolist() == bins.known["wind_m_s"][2:5].tolist()
    np.testing.assert_array_equal(part.temp_low_c, bins.temp_low_c[2:5])
