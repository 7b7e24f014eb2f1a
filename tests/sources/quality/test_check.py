"""Quality control: what is flagged, what is not, and what a flag may never change."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from watcher.sources.base import Flag, Observations
from watcher.sources.quality.check import check
from watcher.weather.quantities import CATALOGUE
from watcher.weather.series import QUANTITIES, Site, WeatherSeries

SITE = Site(latitude=41.2, longitude=-96.6)
HOUR = 3600


def measured(every_s: int = 60, start: int = 0, **values: Any) -> Observations:
    count = len(next(iter(values.values())))
    times = start + np.arange(count) * every_s
    return Observations(WeatherSeries.of(times, SITE, "mast", values))


def flags(given: Observations, name: str) -> list[int]:
    return list(given.flags.get(name, np.zeros(len(given.series), dtype=np.uint16)))


class TestStep:
    def test_a_spike_is_flagged_and_the_value_after_it_is_not(self) -> None:
        checked = check(measured(temp_c=[20, 20, 35, 20, 20]))
        assert flags(checked, "temp_c") == [0, 0, Flag.STEP, 0, 0]

    def test_a_longer_spike_is_flagged_throughout(self) -> None:
        checked = check(measured(temp_c=[20, 35, 35, 35, 20]))
        assert flags(checked, "temp_c") == [0, Flag.STEP, Flag.STEP, Flag.STEP, 0]

    def test_more_is_allowed_the_more_time_has_passed(self) -> None:
        """Half-way between 3 K in 1 min and 35 °F (19.44 K) in 1 h: 11.22 K in 30.5 min."""
        assert check(measured(1830, temp_c=[10, 21.2])).flags == {}
        assert flags(check(measured(1830, temp_c=[10, 21.3])), "temp_c") == [0, Flag.STEP]

    def test_a_lasting_change_is_believed_in_the_end(self) -> None:
        checked = check(measured(temp_c=[20.0] + [30.0] * 60))
        found = flags(checked, "temp_c")
        assert found[1] == Flag.STEP
        assert found[-1] == Flag.GOOD

    def test_nothing_is_said_after_a_gap_of_more_than_an_hour(self) -> None:
        assert check(measured(3601, temp_c=[10, 40])).flags == {}

    def test_a_missing_value_between_does_not_hide_a_step(self) -> None:
        checked = check(measured(temp_c=[20, np.nan, 30]))
        assert flags(checked, "temp_c") == [0, 0, Flag.STEP]

    def test_the_first_value_is_compared_with_the_history(self) -> None:
        history = measured(temp_c=[20, 20])
        checked = check(measured(start=120, temp_c=[30, 20.5]), history)
        assert flags(checked, "temp_c") == [Flag.STEP, 0]

    def test_a_flagged_value_is_no_measure_for_others(self) -> None:
        history = check(measured(temp_c=[20, 40]))
        assert flags(history, "temp_c") == [0, Flag.STEP]
        assert check(measured(start=120, temp_c=[20]), history).flags == {}
        absurd = check(measured(temp_c=[20, 200, 20]))
        assert flags(absurd, "temp_c") == [0, Flag.RANGE, 0]

    def test_a_direction_may_turn_as_it_likes(self) -> None:
        assert check(measured(wind_from_deg=[10, 190, 359, 1], wind_m_s=[2] * 4)).flags == {}


class TestStuck:
    def test_fog_is_not_a_stuck_sensor(self) -> None:
        """Humidity at 100 %, dew point and temperature alike, for a day."""
        count = 24 * 12
        warming = np.linspace(4.0, 6.0, count).tolist()
        checked = check(
            measured(
                300,
                humidity_pct=[100.0] * count,
                temp_c=warming,
                dew_point_c=[5.0 if t > 4.9 else t for t in warming],
            )
        )
        assert "humidity_pct" not in checked.flags
        assert not any(np.uint16(Flag.STUCK) & f for f in flags(checked, "dew_point_c"))

    def test_a_humidity_sensor_standing_in_dry_air_is_flagged(self) -> None:
        checked = check(measured(300, humidity_pct=[60.0] * (12 * 12 + 1)))
        assert flags(checked, "humidity_pct")[-1] == Flag.STUCK

    def test_a_calm_evening_is_not_a_stuck_anemometer(self) -> None:
        checked = check(measured(300, wind_m_s=[0.0] * (6 * 12), wind_from_deg=[200.0] * (6 * 12)))
        assert "wind_m_s" not in checked.flags

    def test_a_calm_of_a_whole_winter_night_is_not_a_stuck_anemometer(self) -> None:
        checked = check(
            measured(300, wind_m_s=[0.0] * (16 * 12), wind_from_deg=[200.0] * (16 * 12))
        )
        assert checked.flags == {}

    def test_an_anemometer_that_says_calm_for_a_day_is_flagged(self) -> None:
        checked = check(measured(300, wind_m_s=[0.0] * (24 * 12 + 1)))
        assert flags(checked, "wind_m_s")[-1] == Flag.STUCK

    def test_a_vane_may_stand_while_there_is_no_wind_to_move_it(self) -> None:
        count = 6 * 12
        checked = check(measured(300, wind_m_s=[0.4] * count, wind_from_deg=[200.0] * count))
        assert "wind_from_deg" not in checked.flags

    def test_a_vane_that_stands_in_the_wind_is_flagged(self) -> None:
        count = 6 * 12
        winds = (3 + np.arange(count) % 2).tolist()
        checked = check(measured(300, wind_m_s=winds, wind_from_deg=[200.0] * count))
        assert flags(checked, "wind_from_deg")[-1] == Flag.STUCK

    def test_hourly_reports_in_whole_knots_are_not_a_stuck_sensor(self) -> None:
        checked = check(measured(HOUR, wind_m_s=[5.0] * 6, wind_from_deg=[180.0] * 6))
        assert checked.flags == {}

    def test_it_stays_flagged_for_as_long_as_it_stands(self) -> None:
        """Reading by reading, each against a day of history with its flags, for ten hours."""
        history = measured(300, wind_m_s=[3.0, 4.0] * 6)
        seen = []
        for i in range(12, 12 + 10 * 12):
            checked = check(measured(start=i * 300, wind_m_s=[3.0]), history)
            seen.append(flags(checked, "wind_m_s")[0])
            both = np.append(history.series.times, checked.series.times)
            values = np.append(history.series.wind_m_s, 3.0)
            kept = np.append(flags(history, "wind_m_s"), seen[-1]).astype(np.uint16)
            history = Observations(
                WeatherSeries.of(both, SITE, "mast", {"wind_m_s": values}), {"wind_m_s": kept}
            )
        first = seen.index(Flag.STUCK)
        assert 2.5 * 12 <= first <= 3.2 * 12
        assert set(seen[first:]) == {Flag.STUCK}


class TestTogether:
    def test_flags_that_are_there_already_stay(self) -> None:
        given = measured(wind_m_s=[3.0, 90.0])
        suspect = {"wind_m_s": np.array([16, 16], dtype=np.uint16)}
        found = flags(check(Observations(given.series, suspect)), "wind_m_s")
        assert found == [Flag.SUSPECT_SOURCE, Flag.SUSPECT_SOURCE | Flag.RANGE]

    def test_no_observations_are_no_trouble(self) -> None:
        empty = Observations(WeatherSeries.of([], SITE, "mast", {}))
        assert len(check(empty, measured(wind_m_s=[3.0])).series) == 0

    def test_history_that_overlaps_is_left_aside(self) -> None:
        checked = check(measured(start=60, temp_c=[20, 20]), measured(temp_c=[20, 90, 90, 90]))
        assert checked.flags == {}

    def test_step_limits_grow_with_time(self) -> None:
        for limit in (quantity.step for quantity in CATALOGUE if quantity.step):
            seconds, most = zip(*limit.most, strict=True)
            assert list(seconds) == sorted(set(seconds))
            assert list(most) == sorted(most)


class TestRecordedDays:
    """Real one-minute weather: what is flagged must be wrong, and nothing else flagged."""

    def test_a_winter_day_on_the_plain_finds_its_iced_vane_and_nothing_else(
        self, shared: Path
    ) -> None:
        """NOAA SURFRAD Alamosa, 2016-01-01. Near -7 °C the vane stays within 0.2° for hours while
        the wind, when there is any, blows at 1 to 2 m/s."""
        rows = np.loadtxt(shared / "data" / "surfrad-slv16001.dat", skiprows=2)
        rows = np.where(rows < -9000, np.nan, rows)
        checked = check(
            measured(
                temp_c=rows[:, 38],
                humidity_pct=rows[:, 40],
                wind_m_s=rows[:, 42],
                wind_from_deg=rows[:, 44],
                pressure_pa=rows[:, 46] * 100,
                solar_w_m2=rows[:, 8],
                net_w_m2=rows[:, 36],
            )
        )
        assert set(checked.flags) == {"wind_from_deg"}
        found = checked.flags["wind_from_deg"]
        assert set(found.tolist()) == {0, Flag.STUCK}
        assert not found[rows[:, 42] == 0].any()
        for i in np.flatnonzero(found == Flag.STUCK):
            window = rows[i - 180 : i + 1]
            blown = window[window[:, 42] > 0.5]
            assert len(blown) > 12
            assert np.ptp(blown[:, 44]) <= 1.0

    def test_an_evening_inversion_is_no_fault_of_the_sensors(self, shared: Path) -> None:
        """NREL M2 tower, 2018-10-14: up to 2.4 K warmer at 50 m than at 2 m after sunset."""
        path = shared / "data" / "midc_20181014.txt"
        rows = np.loadtxt(path, delimiter=",", skiprows=1, usecols=(2, 4, 5))
        given = measured(solar_w_m2=rows[:, 0], temp_c=rows[:, 1], temp_upper_c=rows[:, 2])
        assert len(given.series) == 1440
        assert check(given).flags == {}


readings = arrays(
    np.float64,
    st.integers(1, 40),
    elements=st.floats(-1e4, 1e6) | st.floats(0, 40) | st.just(np.nan),
)


@given(values=readings, every_s=st.sampled_from([1, 60, 600, 3600]), data=st.data())
def test_raw_values_are_never_changed_and_missing_ones_never_flagged(
    values: np.ndarray, every_s: int, data: st.DataObject
) -> None:
    name = data.draw(st.sampled_from(QUANTITIES))
    reported = measured(every_s, **{name: values.tolist()})
    checked = check(reported)
    for other in QUANTITIES:
        np.testing.assert_array_equal(
            getattr(checked.series, other), getattr(reported.series, other)
        )
    for other, found in checked.flags.items():
        assert found.dtype == np.uint16
        assert not found[np.isnan(getattr(reported.series, other))].any()


@given(
    temps=st.lists(st.floats(-30, 60), min_size=2, max_size=30),
    split=st.integers(1, 29),
)
def test_a_batch_and_its_readings_one_by_one_get_the_same_flags(
    temps: list[float], split: int
) -> None:
    whole = check(measured(temp_c=temps))
    split = min(split, len(temps) - 1)
    first = check(measured(temp_c=temps[:split]))
    second = check(measured(start=60 * split, temp_c=temps[split:]), first)
    assert flags(first, "temp_c") + flags(second, "temp_c") == flags(whole, "temp_c")


@pytest.mark.parametrize("value", [np.inf, -np.inf])
def test_an_infinity_is_out_of_range(value: float) -> None:
    for name in QUANTITIES:
        assert flags(check(measured(**{name: [value]})), name) == [Flag.RANGE]
