"""Values held against witnesses: who is doubted, and who never is."""

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from watcher.sources.base import Flag, Observations
from watcher.sources.quality.agreement import check_against
from watcher.weather.series import Site, WeatherSeries

SITE = Site(41.0, -96.0)
START = 1_781_107_200


def series(source: str, every_s: int = 60, site: Site = SITE, **values: Any) -> WeatherSeries:
    count = len(next(iter(values.values())))
    return WeatherSeries.of(START + every_s * np.arange(count), site, source, values)


def mast(**values: Any) -> Observations:
    return Observations(series("mast", **values))


def doubted(given: Observations, name: str) -> list[int]:
    return list(given.flags.get(name, np.zeros(len(given.series), np.uint16)) & Flag.DISAGREES)


YARD = series("yard", temp_c=[20.0] * 3)
FEED = series("feed", every_s=3600, temp_c=[21.0, 21.0])


class TestTwoWitnesses:
    def test_what_contradicts_both_is_doubted(self) -> None:
        found = check_against(mast(temp_c=[20.0, 31.0, 20.5]), [YARD, FEED])
        assert doubted(found, "temp_c") == [0, Flag.DISAGREES, 0]

    def test_what_agrees_with_one_is_not(self) -> None:
        other = series("other", temp_c=[35.0] * 3)
        assert check_against(mast(temp_c=[20.0, 20.0, 20.0]), [other, FEED]).flags == {}

    def test_raw_values_stay_as_they_are(self) -> None:
        found = check_against(mast(temp_c=[50.0, 20.0, 20.0]), [YARD, FEED])
        assert found.series.temp_c.tolist() == [50.0, 20.0, 20.0]


class TestOneWitness:
    def test_needs_twice_as_much(self) -> None:
        found = check_against(mast(temp_c=[35.5, 36.5]), [YARD])  # 16 K from the yard's 20
        assert doubted(found, "temp_c") == [0, Flag.DISAGREES]

    def test_a_second_one_that_is_silent_on_it_counts_for_nothing(self) -> None:
        mute = series("mute", temp_c=[np.nan] * 3)
        found = check_against(mast(temp_c=[30.0, 37.0]), [YARD, mute])
        assert doubted(found, "temp_c") == [0, Flag.DISAGREES]


class TestWind:
    def test_a_wind_far_below_the_others_is_doubted(self) -> None:
        others = [series("yard", wind_m_s=[9.0] * 3), series("feed", wind_m_s=[8.0] * 3)]
        found = check_against(mast(wind_m_s=[0.0, 0.0, 7.0]), others)
        assert doubted(found, "wind_m_s") == [Flag.DISAGREES, Flag.DISAGREES, 0]

    def test_a_squall_that_no_one_else_saw_is_believed(self) -> None:
        others = [series("yard", wind_m_s=[2.0] * 3), series("feed", wind_m_s=[2.0] * 3)]
        assert check_against(mast(wind_m_s=[2.0, 28.0, 30.0]), others).flags == {}

    def test_winds_are_compared_at_one_height(self) -> None:
        """12 m/s at 10 m are 12 * 0.748 at 2 m (FAO-56 equation 47): 3.1 is within 6 of it."""
        low = Site(41.0, -96.0, wind_height_m=2.0)
        witnesses = [series(s, wind_m_s=[12.0] * 2) for s in ("a", "b")]
        found = Observations(series("mast", site=low, wind_m_s=[3.1, 2.8]))
        assert doubted(check_against(found, witnesses), "wind_m_s") == [0, Flag.DISAGREES]


class TestTimes:
    def test_a_forecast_stands_for_its_hour_and_no_longer(self) -> None:
        said = Observations(series("mast", every_s=1800, temp_c=[60.0, 60.0, 60.0, 60.0, 60.0]))
        feed = series("feed", every_s=3600, temp_c=[20.0, 20.0])
        found = doubted(check_against(said, [feed]), "temp_c")
        assert found == [Flag.DISAGREES] * 4 + [0]

    def test_a_station_speaks_by_its_last_ten_minutes(self) -> None:
        """One spike of the witness among ten good minutes moves its mean by 3 K only."""
        spiky = series("yard", temp_c=[20.0] * 9 + [50.0])
        given = mast(temp_c=[20.0] * 9 + [38.0])
        assert check_against(given, [spiky]).flags == {}

    def test_nobody_is_held_against_the_future(self) -> None:
        late = series("yard", every_s=60, temp_c=[20.0])
        early = Observations(
            WeatherSeries.of([START - 60], SITE, "mast", {"temp_c": np.array([60.0])})
        )
        assert check_against(early, [late]).flags == {}


def test_without_witnesses_nothing_is_said() -> None:
    assert check_against(mast(temp_c=[60.0]), []).flags == {}
    assert check_against(mast(temp_c=[60.0]), [series("mute", temp_c=[np.nan])]).flags == {}


def test_a_value_with_a_finding_keeps_it_and_gets_no_other() -> None:
    flags = {"temp_c": np.array([Flag.RANGE, 0], dtype=np.uint16)}
    said = Observations(series("mast", temp_c=[90.0, 60.0]), flags)
    found = check_against(said, [YARD, FEED]).flags["temp_c"]
    assert found.tolist() == [Flag.RANGE, Flag.DISAGREES]


def test_a_missing_value_is_not_doubted() -> None:
    assert check_against(mast(temp_c=[np.nan]), [YARD, FEED]).flags == {}


@pytest.mark.parametrize("name", ["dew_point_c", "humidity_pct", "pressure_pa"])
def test_either_side_is_doubted_but_for_the_wind(name: str) -> None:
    middle, far = {
        "dew_point_c": (10.0, 9.0),
        "humidity_pct": (50.0, 36.0),
        "pressure_pa": (98e3, 1600.0),
    }[name]
    witnesses = [series(s, **{name: [middle] * 2}) for s in ("a", "b")]
    found = check_against(mast(**{name: [middle - far, middle + far]}), witnesses)
    assert doubted(found, name) == [Flag.DISAGREES] * 2


@given(st.floats(-40, 60), st.floats(-40, 60), st.floats(-40, 60))
def test_one_more_witness_that_agrees_never_adds_a_doubt(own: float, a: float, b: float) -> None:
    reported, first = mast(temp_c=[own]), series("a", temp_c=[a])
    agreeing = series("b", temp_c=[own])
    assert not any(doubted(check_against(reported, [first, agreeing]), "temp_c"))
    both = check_against(reported, [first, series("b", temp_c=[b])])
    if any(doubted(both, "temp_c")):
        assert min(abs(own - a), abs(own - b)) > 8.0
