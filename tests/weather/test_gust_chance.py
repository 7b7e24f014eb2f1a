"""The chance of a gust over the bound."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.weather.simulated_days import SITE, steady_wind
from watcher.weather.gust_chance import GustChance, crossing_rate, gust_chance, peak_factor
from watcher.weather.series import Site, WeatherSeries

law = settings(deadline=None)

BOUND = 6.7
TEN = 10


def _series(wind: np.ndarray, gust: np.ndarray | None = None, step_s: int = 60) -> WeatherSeries:
    times = step_s * (1 + np.arange(wind.size))
    quantities = {"wind_m_s": wind} | ({} if gust is None else {"gust_m_s": gust})
    return WeatherSeries.of(times, Site(45.0, 0.0), "made", quantities)


def _chance(wind: np.ndarray, gust: np.ndarray | None = None, bound: float = BOUND) -> GustChance:
    return gust_chance(_series(wind, gust), bound_m_s=bound, step_s=60)


def _minutes(mean: float, gust: float) -> GustChance:
    return _chance(np.full(TEN, mean), np.full(TEN, gust))


@pytest.fixture(scope="module")
def steady() -> np.ndarray:
    """Forty hours of steady neutral turbulence, as 3 s running means."""
    wind = steady_wind(11, wind_m_s=4.0, seconds=40 * 3600)
    return np.convolve(wind, np.full(3, 1.0 / 3.0), mode="same")


def test_turbulence_passes_its_mean_as_often_as_rice_says(steady: np.ndarray) -> None:
    above = steady > steady.mean()
    counted = (above[1:] & ~above[:-1]).sum() / steady.size
    expected = crossing_rate(mean_m_s=4.0, height_m=SITE.wind_height_m)
    assert counted == pytest.approx(float(expected), rel=0.1)


def test_the_highest_gust_of_ten_minutes_is_where_the_peak_factor_puts_it(
    steady: np.ndarray,
) -> None:
    """Measured on 240 blocks of simulated turbulence.

    Davenport's factor takes each crossing as independent; gusts cluster, so it is a little high.
    """
    blocks = steady.reshape(-1, 600)
    measured = ((blocks.max(axis=1) - steady.mean()) / steady.std()).mean()
    rate = crossing_rate(mean_m_s=4.0, height_m=SITE.wind_height_m)
    assert measured <= float(peak_factor(crossings=600.0 * rate)) <= 1.08 * measured


@pytest.mark.parametrize("wind", [2.0, 4.0, 8.0])
def test_the_ten_minute_peak_factor_is_between_2_3_and_3(wind: float) -> None:
    """Domain reference: about 2.3 to 3 (value from memory)."""
    rate = crossing_rate(mean_m_s=wind, height_m=10.0)
    assert 2.3 <= float(peak_factor(crossings=600.0 * rate)) <= 3.0


def test_the_peak_factor_is_davenports() -> None:
    """Davenport 1964: at 100 expected crossings sqrt(2 ln 100) = 3.035, and 0.190 more."""
    assert float(peak_factor(crossings=100.0)) == pytest.approx(3.225, abs=0.001)


def test_neutral_wind_over_grass_has_the_usual_gust_factor() -> None:
    """Open grass in moderate wind: 1.3 to 1.6 (value from memory)."""
    series = _series(np.full(TEN, 5.0))
    found = gust_chance(series, bound_m_s=BOUND, step_s=60, roughness_m=0.03)
    assert 1.3 <= found.likely_gust_m_s[-1] / 5.0 <= 1.6


def test_the_chance_in_steady_turbulence_is_the_share_of_ten_minutes_with_such_a_gust(
    steady: np.ndarray,
) -> None:
    wind = steady.reshape(-1, 60)
    bound = 5.5
    found = _chance(wind.mean(axis=1), wind.max(axis=1), bound)
    ends = np.arange(TEN, len(wind) - TEN + 1, TEN)
    came = (steady.reshape(-1, 600).max(axis=1) > bound)[1:]
    assert found.chance[ends - 1].mean() == pytest.approx(came[: ends.size].mean(), abs=0.08)
    assert 0.1 < came.mean() < 0.9


def test_a_steady_wind_raises_nothing() -> None:
    found = _minutes(4.0, 4.0)
    assert found.chance[-1] == 0.0
    assert not found.told.any()


def test_a_wind_whose_gusts_pass_the_bound_all_along_is_told_nearly_for_certain() -> None:
    assert _minutes(6.0, 9.0).chance[-1] > 0.95


@law
@given(st.floats(0.1, 6.0), st.floats(0.0, 6.0), st.floats(1.0, 20.0), st.floats(0.0, 5.0))
def test_a_higher_bound_never_has_a_higher_chance(
    mean: float, excess: float, bound: float, more: float
) -> None:
    wind, gust = np.full(TEN, mean), np.full(TEN, mean + excess)
    low, high = (_chance(wind, gust, b).chance[-1] for b in (bound, bound + more))
    assert high <= low + 1e-12


@law
@given(st.floats(0.1, 6.0), st.floats(0.0, 6.0), st.floats(0.0, 2.0))
def test_gustier_wind_never_has_a_lower_chance(mean: float, excess: float, more: float) -> None:
    calmer, gustier = (_minutes(mean, mean + e).chance[-1] for e in (excess, excess + more))
    assert gustier >= calmer - 1e-12


@law
@given(st.integers(0, TEN - 1), st.floats(0.0, 75.0))
def test_one_gust_read_wrongly_is_not_told(at: int, bad: float) -> None:
    gust = np.full(TEN, 3.5)
    gust[at] = bad
    assert not _chance(np.full(TEN, 3.0), gust).told.any()


def test_gusts_over_the_bound_a_moment_ago_make_more_of_them_likelier() -> None:
    wind, gust = np.full(TEN, 4.0), np.full(TEN, 5.5)
    seen = gust.copy()
    seen[2:4] = 6.8
    assert _chance(wind, seen).chance[-1] > _chance(wind, gust).chance[-1]


def test_without_gusts_the_spread_is_that_of_neutral_turbulence() -> None:
    """mean/ln(z/z0) over low crops at 10 m: 4/ln(100) = 0.8686 m/s."""
    found = _chance(np.full(TEN, 4.0))
    assert found.neutral[-1]
    assert found.spread_m_s[-1] == pytest.approx(0.8686, abs=1e-4)


def test_readings_every_five_minutes_lean_on_neutral_turbulence() -> None:
    series = _series(np.full(4, 4.0), np.full(4, 4.1), step_s=300)
    found = gust_chance(series, bound_m_s=BOUND, step_s=300)
    assert found.neutral[-1]
    assert found.spread_m_s[-1] == pytest.approx(0.8686, abs=1e-4)


def test_with_gusts_every_minute_the_spread_is_from_data_alone() -> None:
    assert not _minutes(4.0, 5.0).neutral[-1]


def test_the_spread_of_steady_turbulence_is_found_from_means_and_gusts(
    steady: np.ndarray,
) -> None:
    wind = steady.reshape(-1, 60)
    found = _chance(wind.mean(axis=1), wind.max(axis=1))
    assert float(np.median(found.spread_m_s[TEN:])) == pytest.approx(steady.std(), rel=0.15)


def test_too_few_readings_are_unknown() -> None:
    wind = np.full(TEN, 4.0)
    wind[:3] = np.nan
    found = _chance(wind, wind + 1.0)
    assert found.unknown[-1]
    assert not found.told[-1]


def test_a_bound_that_is_not_known_is_unknown() -> None:
    assert _chance(np.full(TEN, 4.0), bound=np.nan).unknown.all()


def test_no_bound_is_never_passed() -> None:
    found = _chance(np.full(TEN, 4.0), np.full(TEN, 7.0), bound=np.inf)
    assert found.chance[-1] == 0.0
    assert not found.unknown[-1]
