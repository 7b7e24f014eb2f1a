"""The chance that the 10-minute mean passes its bound."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import ArrayLike

from watcher.weather.mean_ahead import (
    BEGINS_FROM,
    EARLIER_IF_RARE,
    LASTS_FROM,
    MeanAhead,
    foretold,
    mean_ahead,
)
from watcher.weather.series import Site, WeatherSeries

law = settings(deadline=None)

BOUND = 4.5
MINUTES = 80


def _series(wind: ArrayLike, step_s: int = 60) -> WeatherSeries:
    values = np.asarray(wind, dtype=np.float64)
    times = step_s * (1 + np.arange(values.size))
    return WeatherSeries.of(times, Site(45.0, 0.0), "made", {"wind_m_s": values})


def _ahead(wind: ArrayLike, *, step_s: int = 60, bound: ArrayLike = BOUND) -> MeanAhead:
    return mean_ahead(_series(wind, step_s), bound_m_s=bound, step_s=step_s)


def _gusty(mean: float, *, minutes: int = MINUTES, swing: float = 0.4) -> np.ndarray:
    """A wind that swings about its mean every other minute."""
    return mean + swing * np.where(np.arange(minutes) % 2, 1.0, -1.0)


@pytest.mark.parametrize(
    ("room", "chance"),
    [(0.0, 0.50), (0.2, 0.39), (0.4, 0.30), (0.6, 0.21), (0.8, 0.14), (1.0, 0.09), (1.5, 0.02)],
)
def test_in_a_wind_without_a_trend_the_room_in_spreads_decides(room: float, chance: float) -> None:
    """In a steady 4 m/s a tenth of it is the spread: half of a usual gustiness of a fifth."""
    found = _ahead(np.full(MINUTES, 4.0), bound=4.0 + room * 0.4)
    assert found.chance[-1] == pytest.approx(chance, abs=0.005)


def test_most_of_the_coming_mean_is_already_known() -> None:
    """Five minutes after a step the mean passes the bound in five more, should it last."""
    wind = np.where(np.arange(MINUTES) < MINUTES - 5, 2.0, 6.0)
    before, after = _ahead(wind[:-5]).chance[-1], _ahead(wind).chance[-1]
    assert before < 0.01
    assert after > BEGINS_FROM


def test_a_wind_that_rose_is_expected_to_fall_back_towards_the_last_hour() -> None:
    wind = 2.0 + 3.0 * np.arange(MINUTES) / MINUTES
    found = _ahead(wind)
    assert found.mean_m_s[-1] > found.expected_m_s[-1] > wind[-60:].mean()


def test_a_gustier_wind_is_likelier_to_pass_a_bound_above_it() -> None:
    steady, gusty = (_ahead(_gusty(3.8, swing=s)).chance[-1] for s in (0.2, 1.2))
    assert gusty > steady


def test_a_warning_begins_at_one_chance_and_lasts_to_a_lower_one() -> None:
    found = _ahead(np.repeat([4.2, 4.4, 4.2, 2.0], [70, 30, 60, 80]))
    between = (found.chance >= LASTS_FROM) & (found.chance < BEGINS_FROM)
    assert between[10:70].all()
    assert not found.warns[:70].any()
    assert found.warns[90]
    assert between[115:160].all()
    assert found.warns[115:160].all()
    assert not found.warns[-30:].any()


def test_a_warning_that_ended_does_not_begin_again_between_the_two_chances() -> None:
    found = _ahead(np.repeat([4.4, 2.0, 4.2], [90, 80, 80]))
    assert found.warns[80]
    assert (found.chance[-20:] >= LASTS_FROM).all()
    assert not found.warns[-80:].any()


def test_one_missing_minute_hides_nothing() -> None:
    wind = _gusty(4.0)
    holed = wind.copy()
    holed[-1] = np.nan
    assert _ahead(holed).chance[-1] == pytest.approx(_ahead(wind).chance[-1], abs=0.1)


def test_a_tenth_of_the_minutes_missing_changes_little() -> None:
    wind = _gusty(4.0)
    holed = np.where(np.arange(MINUTES) % 10 == 4, np.nan, wind)
    assert _ahead(holed).chance[-1] == pytest.approx(_ahead(wind).chance[-1], abs=0.1)


def test_too_few_readings_are_unknown() -> None:
    wind = _gusty(4.0)
    wind[-7:-1] = np.nan
    found = _ahead(wind)
    assert found.unknown[-1]
    assert not found.warns[-1]
    assert np.isnan(found.chance[-1])


def test_not_knowing_ends_no_warning() -> None:
    wind = np.concatenate([np.full(70, 4.4), np.full(8, np.nan), np.full(10, 4.0)])
    found = _ahead(wind, bound=4.6)
    assert found.warns[69]
    assert not found.warns[77]
    assert found.chance[-1] < BEGINS_FROM
    assert found.warns[-1]


@pytest.mark.parametrize("wrong", [-9999.9, -1.0, 9999.0, np.inf])
def test_what_no_wind_can_be_counts_as_missing(wrong: float) -> None:
    wind, holed = _gusty(4.0), _gusty(4.0)
    wind[-5], holed[-5] = wrong, np.nan
    assert _ahead(wind).chance[-1] == _ahead(holed).chance[-1]


@law
@given(st.floats(0.0, 6.0), st.floats(0.0, 2.0), st.floats(1.0, 8.0), st.floats(0.0, 3.0))
def test_a_higher_bound_never_has_a_higher_chance(
    mean: float, swing: float, bound: float, more: float
) -> None:
    low, high = _ahead(_gusty(mean + swing, swing=swing), bound=[[bound], [bound + more]]).chance
    assert (high[20:] <= low[20:]).all()


@law
@given(st.integers(10, 179))
def test_the_chance_is_one_of_the_past_only(at: int) -> None:
    wind = np.random.default_rng(3).normal(4.0, 0.8, 180)
    np.testing.assert_array_equal(_ahead(wind).chance[:at], _ahead(wind[:at]).chance)


@pytest.mark.parametrize("step_s", [10, 60, 90, 120, 180, 300])
def test_a_wind_over_its_bound_all_along_is_nearly_certain(step_s: int) -> None:
    wind = np.full(7200 // step_s, 6.0)
    assert _ahead(wind, step_s=step_s).chance[-1] > 0.95


@pytest.mark.parametrize("step_s", [10, 60, 120, 300])
def test_a_wind_far_under_its_bound_is_no_danger(step_s: int) -> None:
    wind = np.full(7200 // step_s, 2.0)
    assert _ahead(wind, step_s=step_s).chance[-1] < 0.01


def test_rarer_readings_are_less_sure() -> None:
    minutes, fives = np.full(80, 3.8), np.full(16, 3.8)
    assert _ahead(fives, step_s=300).chance[-1] > _ahead(minutes).chance[-1]


def test_rare_readings_warn_from_a_lower_chance() -> None:
    found = _ahead(np.full(16, 4.1), step_s=300)
    assert BEGINS_FROM > found.chance[-1] >= BEGINS_FROM - 0.1
    assert found.warns[-1]


def test_readings_every_ten_seconds_are_judged_by_their_minutes() -> None:
    wind = _gusty(4.0)
    fast = np.repeat(wind, 6)
    assert _ahead(fast, step_s=10).chance[-1] == pytest.approx(_ahead(wind).chance[-1])


def test_a_station_that_strays_more_is_less_sure() -> None:
    series = _series(_gusty(3.8))
    usual, more = (
        mean_ahead(series, bound_m_s=BOUND, step_s=60, spread_scale=s).chance[-1] for s in (1, 1.4)
    )
    assert more > usual


def test_no_bound_is_never_passed() -> None:
    found = _ahead(_gusty(4.0), bound=np.inf)
    assert found.chance[-1] == 0.0
    assert not found.warns.any()


def test_a_bound_that_is_not_known_is_unknown() -> None:
    assert _ahead(_gusty(4.0), bound=np.nan).unknown.all()


def test_a_calm_is_no_danger() -> None:
    assert _ahead(np.zeros(MINUTES)).chance[-1] == 0.0


class TestForetold:
    """The mean in so many minutes is what is known of its ten minutes and what is to come."""

    def test_of_means_of_five_minutes_the_last_counts_for_five(self) -> None:
        wind = np.where(np.arange(16) < 15, 2.0, 6.0)  # 6 m/s over the last five minutes
        means, _ = foretold(_series(wind, 300), step_s=300)
        in_one, in_ten = means[0, -1], means[-1, -1]
        known = (4 * 2.0 + 5 * 6.0) / 9  # nine of the ten minutes that end in one
        assert in_one == pytest.approx(0.9 * known + 0.1 * 4.0, abs=0.25)
        assert 2.0 < in_ten < 4.5

    def test_by_hand_from_minutes(self) -> None:
        """The fitted weights (this module's own) on 2 m/s with 6 m/s four minutes ago."""
        wind = np.full(MINUTES, 2.0)
        wind[-4] = 6.0
        means, _ = foretold(_series(wind), step_s=60)
        usual = 0.11 * 2.0 + 0.31 * 2.4 + 0.30 * (2 + 4 / 30) + 0.28 * (2 + 4 / 60)
        assert means[-1, -1] == pytest.approx(usual + 0.41 * 10**-0.53 * (2.0 - usual))
        in_seven = means[6, -1]  # of its minutes the last three are known, all at 2 m/s
        assert in_seven == pytest.approx(
            0.3 * 2.0 + 0.7 * (usual + 0.41 * 7**-0.53 * (2.0 - usual))
        )

    def test_readings_of_half_minutes_count_as_the_minutes_they_make(self) -> None:
        halves = 4.0 + np.where(np.arange(2 * MINUTES) % 2, 2.0, -2.0)
        by_half, _ = foretold(_series(halves, 30), step_s=30)
        by_minute, _ = foretold(_series(np.full(MINUTES, 4.0)), step_s=60)
        assert by_half[:, -1] == pytest.approx(by_minute[:, -1])


class TestFittedConstants:
    """Written out once more, so that none of them is changed unseen (the fit is this program's)."""

    MINUTES = (0.110, 0.197, 0.273, 0.345, 0.413, 0.481, 0.547, 0.614, 0.680, 0.746)
    FIVES = (0.268, 0.403, 0.504, 0.585, 0.671, 0.808, 0.937, 1.045, 1.125, 1.182)

    def test_the_chances_a_warning_begins_and_ends_at(self) -> None:
        assert (BEGINS_FROM, LASTS_FROM, EARLIER_IF_RARE) == (0.3, 0.1, 0.1)

    @pytest.mark.parametrize(
        ("step_s", "strays", "spread"),
        [
            # A steady 4 m/s: thirty minutes of none, and ten of a fifth of it.
            (60, MINUTES, 0.2 * 4.0 * np.sqrt(10 / 40)),
            (120, MINUTES, 0.2 * 4.0 * np.sqrt(10 / 40)),
            # Six times five minutes of none, and six of 15 % of it; from three minutes on.
            (180, FIVES, 0.15 * 4.0 * np.sqrt(6 / 12)),
            (300, FIVES, 0.15 * 4.0 * np.sqrt(6 / 12)),
        ],
    )
    def test_how_far_a_steady_wind_strays(
        self, step_s: int, strays: tuple[float, ...], spread: float
    ) -> None:
        _, error = foretold(_series(np.full(7200 // step_s, 4.0), step_s), step_s=step_s)
        assert error[:, -1] == pytest.approx(np.array(strays) * spread)

    def test_how_far_a_gusty_wind_strays(self) -> None:
        """Of half an hour swinging by 1.2 m/s about 4: 30 x 1.44 and 10 x 0.64 over 40."""
        _, error = foretold(_series(_gusty(4.0, swing=1.2)), step_s=60)
        spread = np.sqrt((30 * 1.44 + 10 * 0.64) / 40)
        assert error[:, -1] == pytest.approx(np.array(self.MINUTES) * spread)

    def test_a_calm_strays_by_the_sensors_own_resolution(self) -> None:
        _, error = foretold(_series(np.zeros(MINUTES)), step_s=60)
        assert error[:, -1] == pytest.approx(np.array(self.MINUTES) * 0.05)

    def test_what_is_to_come_by_hand_from_fives(self) -> None:
        """6 m/s over the last five minutes, 3 over those before, 2 until then."""
        wind = np.full(16, 2.0)
        wind[-2:] = 3.0, 6.0
        means, _ = foretold(_series(wind, 300), step_s=300)
        m10, m30, m60 = 4.5, (6 + 3 + 4 * 2) / 6, (6 + 3 + 10 * 2) / 12
        for h in range(1, 11):
            part = (h - 1) / 9
            to_come = (
                m10
                + 0.54 * h**-0.34 * (6.0 - m10)
                + (0.22 + 0.05 * part) * (m30 - m10)
                + (0.17 + 0.14 * part) * (m60 - m10)
            )
            of_before = max(5 - h, 0)
            known = (of_before * 3.0 + 5 * 6.0) / (of_before + 5)
            expected = ((10 - h) * known + h * to_come) / 10
            assert means[h - 1, -1] == pytest.approx(expected), h

    def test_a_missing_newest_minute_is_the_mean_of_the_last_three(self) -> None:
        wind = np.full(MINUTES, 2.0)
        wind[-3:] = 4.0, 5.0, np.nan
        means, _ = foretold(_series(wind), step_s=60)
        m3, m10, m30, m60 = 4.5, (7 * 2 + 9) / 9, (27 * 2 + 9) / 29, (57 * 2 + 9) / 59
        usual = 0.11 * m3 + 0.31 * m10 + 0.30 * m30 + 0.28 * m60
        assert means[-1, -1] == pytest.approx(usual + 0.41 * 10**-0.53 * (m3 - usual))
        assert means[8, -1] == pytest.approx(  # of its minutes none but the missing one is past
            0.1 * m3 + 0.9 * (usual + 0.41 * 9**-0.53 * (m3 - usual))
        )


@pytest.mark.parametrize(("known", "unknown"), [(4, True), (5, False)])
def test_half_of_the_ten_minutes_tells_where_the_wind_is(known: int, unknown: bool) -> None:
    wind = _gusty(4.0)
    wind[-10 : -known or None] = np.nan
    assert _ahead(wind).unknown[-1] == unknown


def test_readings_every_three_minutes_warn_from_a_lower_chance_already() -> None:
    for step_s, bound, begins in ((120, 4.22, False), (180, 4.34, True)):
        found = _ahead(np.full(7200 // step_s, 4.0), step_s=step_s, bound=bound)
        assert 0.2 <= found.chance[-1] < 0.3
        assert found.begins[-1] == begins


def test_a_warning_begins_and_lasts_at_its_very_chance() -> None:
    found = mean_ahead(_series(np.full(MINUTES, 4.0)), bound_m_s=4.0, step_s=60, begins_from=0.5)
    assert found.chance[-1] == 0.5
    assert found.begins[-1]
