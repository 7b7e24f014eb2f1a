"""The one weather shape: what it refuses, and what it keeps when it is cut."""

import numpy as np
import pytest

from watcher.weather.series import Site, WeatherSeries

SITE = Site(41.0, -96.0)
TIMES = 1_781_107_200 + 60 * np.arange(4)
NAN = np.full(4, np.nan)
SOME = np.array([1.0, np.nan, 3.0, np.nan])


def series(**more: object) -> WeatherSeries:
    return WeatherSeries(TIMES, SITE, "made", **more)  # type: ignore[arg-type]


@pytest.mark.parametrize(("least", "most"), [(SOME, NAN), (NAN, SOME), (SOME, SOME)])
def test_bounds_are_kept_where_either_side_is_known(least: np.ndarray, most: np.ndarray) -> None:
    assert set(series(bounds={"gust_m_s": (least, most)}).bounds) == {"gust_m_s"}


def test_bounds_of_which_nothing_is_known_are_none() -> None:
    assert series(bounds={"gust_m_s": (NAN, NAN)}).bounds == {}


def test_what_is_not_given_is_missing_and_never_zero() -> None:
    assert np.isnan(series(wind_m_s=SOME).gust_m_s).all()


@pytest.mark.parametrize(
    ("times", "runs"),
    [
        (TIMES[::-1], 1),
        (np.append(TIMES[:3], TIMES[2]), 1),
        (TIMES.reshape(2, 2), 1),
        (TIMES, 3),
        (TIMES, 2),  # two runs have the same times
    ],
)
def test_times_that_do_not_rise_are_refused(times: np.ndarray, runs: int) -> None:
    with pytest.raises(ValueError, match="made"):
        WeatherSeries(times, SITE, "made", runs=runs)


def test_a_quantity_of_another_length_is_refused_by_name() -> None:
    with pytest.raises(ValueError, match="gust_m_s"):
        series(gust_m_s=SOME[:3])


def test_a_part_is_cut_with_its_bounds_from_its_start_to_before_its_end() -> None:
    whole = series(wind_m_s=np.arange(4.0), bounds={"gust_m_s": (SOME, SOME)})
    part = whole.between(int(TIMES[1]), int(TIMES[3]))
    assert part.times.tolist() == TIMES[1:3].tolist()
    assert part.wind_m_s.tolist() == [1.0, 2.0]
    assert part.bounds["gust_m_s"][0][1] == 3.0


def test_a_site_of_which_nothing_else_is_said_is_a_weather_station_on_grass() -> None:
    """Wind at 10 m, temperature at 2 m (WMO-No. 8), grass of 12 cm (FAO-56), no second height."""
    assert (SITE.elevation_m, SITE.wind_height_m, SITE.temp_height_m) == (0.0, 10.0, 2.0)
    assert SITE.canopy_m == 0.12
    assert np.isnan(SITE.temp_upper_height_m)


def test_runs_are_cut_by_no_index() -> None:
    two = WeatherSeries(np.tile(TIMES, 2), SITE, "made", runs=2)
    with pytest.raises(ValueError, match="2 runs"):
        two.at(slice(0, 1))
    with pytest.raises(ValueError, match="0 equal runs"):
        WeatherSeries(TIMES, SITE, "made", runs=0)


def test_bounds_are_cut_where_told_and_of_the_named_only() -> None:
    least = np.arange(4.0)
    whole = series(bounds={"gust_m_s": (least, least), "wind_m_s": (least, least)})
    cut = whole.unbounded({"gust_m_s"}, least >= 2.0)
    assert cut.bounds["gust_m_s"][0][:2].tolist() == [0.0, 1.0]
    assert np.isnan(cut.bounds["gust_m_s"][1][2:]).all()
    assert cut.bounds["wind_m_s"][0].tolist() == least.tolist()
