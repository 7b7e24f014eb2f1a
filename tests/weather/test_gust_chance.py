"""The chance of a gust over the bound."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from watcher.weather.gust_chance import GustChance, gust_chance
from watcher.weather.series import Site, WeatherSeries

law = settings(deadline=None)

BOUND = 6.7
MINUTES = 70


def _chance(
    wind: np.ndarray, gust: np.ndarray | None = None, bound: float = BOUND, step_s: int = 60
) -> GustChance:
    times = step_s * (1 + np.arange(wind.size))
    quantities = {"wind_m_s": wind} | ({} if gust is None else {"gust_m_s": gust})
    series = WeatherSeries.of(times, Site(45.0, 0.0), "made", quantities)
    return gust_chance(series, bound_m_s=bound, step_s=step_s)


def _minutes(mean: float, gust: float, bound: float = BOUND) -> float:
    found = _chance(np.full(MINUTES, mean), np.full(MINUTES, gust), bound)
    return float(found.chance[-1])


def test_the_curve_is_the_one_that_was_fitted() -> None:
    """Wind 4, gusts 6: expected 6, spread 0.32. At 6.32 all rooms are 1:
    1.8 - 1.8 - 0.28 - 0.07 + 0.115 = -0.235."""
    assert _minutes(4.0, 6.0, 6.32) == pytest.approx(1.0 / (1.0 + np.exp(0.235)))


def test_gusts_far_under_the_bound_are_unlikely_to_pass_it() -> None:
    assert _minutes(3.0, 3.5) < 0.01


def test_gusts_that_pass_it_all_along_are_nearly_certain_to() -> None:
    assert _minutes(6.0, 9.0) > 0.95


@law
@given(st.floats(0.1, 6.0), st.floats(0.0, 6.0), st.floats(1.0, 20.0), st.floats(0.0, 5.0))
def test_a_higher_bound_never_has_a_higher_chance(
    mean: float, excess: float, bound: float, more: float
) -> None:
    low, high = (_minutes(mean, mean + excess, b) for b in (bound, bound + more))
    assert high <= low + 1e-12


def test_a_gust_over_the_bound_a_moment_ago_makes_another_likelier() -> None:
    wind, gust = np.full(MINUTES, 4.0), np.full(MINUTES, 5.5)
    seen = gust.copy()
    seen[-4] = 6.8
    assert _chance(wind, seen).chance[-1] > _chance(wind, gust).chance[-1]


def test_without_gusts_it_is_unknown() -> None:
    found = _chance(np.full(MINUTES, 4.0))
    assert found.unknown.all()
    assert np.isnan(found.chance).all()


def test_too_few_readings_are_unknown() -> None:
    wind = np.full(MINUTES, 4.0)
    wind[-9:-5] = np.nan
    assert _chance(wind, wind + 1.0).unknown[-1]


def test_a_bound_that_is_not_known_is_unknown() -> None:
    wind = np.full(MINUTES, 4.0)
    assert _chance(wind, wind + 1.0, bound=np.nan).unknown.all()


def test_no_bound_is_never_passed() -> None:
    assert _minutes(4.0, 7.0, np.inf) == 0.0


@pytest.mark.parametrize("step_s", [10, 300])
def test_it_is_judged_whatever_the_time_between_readings(step_s: int) -> None:
    count = 4200 // step_s
    found = _chance(np.full(count, 4.0), np.full(count, 6.0), 6.32, step_s)
    assert found.chance[-1] == pytest.approx(1.0 / (1.0 + np.exp(0.235)))


def test_the_curve_by_hand_where_the_gusts_differ() -> None:
    """Gusts of 6 m/s in a wind of 4, one of 6.6 twenty minutes ago and one of 6.3 five ago."""
    wind, gust = np.full(MINUTES, 4.0), np.full(MINUTES, 6.0)
    gust[[-21, -6]] = 6.6, 6.3
    half_hour = gust[-30:]
    spread = np.hypot(half_hour.std(), 0.08 * 4.0)
    ahead, ten, thirty = ((7.0 - g) / spread for g in (half_hour.mean(), 6.3, 6.6))
    score = 1.8 - 1.8 * ahead - 0.28 * ten - 0.07 * thirty + 0.115 * ahead**2
    assert _chance(wind, gust, 7.0).chance[-1] == pytest.approx(1.0 / (1.0 + np.exp(-score)))


@pytest.mark.parametrize(
    ("bound", "score"),
    [
        (99.0, 1.8 - (1.8 + 0.28 + 0.07) * 8.0 + 0.115 * 64.0),
        (0.5, 1.8 + (1.8 + 0.28 + 0.07) * 3.0),
    ],
)
def test_the_curve_is_held_where_it_was_never_tried(bound: float, score: float) -> None:
    """From three spreads under the gusts to eight over them."""
    assert _minutes(4.0, 6.0, bound) == pytest.approx(1.0 / (1.0 + np.exp(-score)))


def test_in_a_dead_calm_a_millimetre_a_second_is_a_spread() -> None:
    assert _minutes(0.0, 0.0, 0.001) == pytest.approx(1.0 / (1.0 + np.exp(0.235)))


@pytest.mark.parametrize(("missing", "unknown"), [(2, False), (3, True)])
def test_three_quarters_of_the_last_ten_minutes_must_be_known(missing: int, unknown: bool) -> None:
    wind = np.full(MINUTES, 4.0)
    wind[-3 - missing : -3] = np.nan
    assert _chance(wind, wind + 1.0).unknown[-1] == unknown
