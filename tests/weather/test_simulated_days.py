"""The simulated days are weather enough to judge warnings by."""

import numpy as np
import pytest
from scipy.signal import welch

from tests.weather.simulated_days import Day, simulate, steady_wind, with_faults


@pytest.fixture(scope="module")
def day() -> Day:
    return simulate(4, fronts=2)


def test_a_seed_is_a_day(day: Day) -> None:
    np.testing.assert_array_equal(simulate(4, fronts=2).wind_m_s, day.wind_m_s)


def test_turbulence_falls_off_by_the_five_thirds_law() -> None:
    """Kolmogorov 1941; in Kaimal's spectrum from n z/U of about 1 on."""
    wind = steady_wind(5, wind_m_s=2.0, seconds=200_000)
    n, power = welch(wind, nperseg=4096)
    inertial = (n > 0.2) & (n < 0.45)
    slope = np.polyfit(np.log(n[inertial]), np.log(power[inertial]), 1)[0]
    assert slope == pytest.approx(-5.0 / 3.0, abs=0.1)


def test_gusts_are_those_of_open_country() -> None:
    """Gust factors of 3 s in 10 min: 1.3 to 1.66 (domain reference, WMO/TD-1555, from memory)."""
    noon = slice(10 * 3600, 16 * 3600)
    days = [simulate(seed, fronts=0) for seed in range(8, 12)]
    means = np.array([day.wind_m_s[noon].reshape(-1, 600).mean(axis=1) for day in days])
    highest = np.array([day.gust_m_s[noon].reshape(-1, 600).max(axis=1) for day in days])
    factors = highest / means
    assert 1.3 <= np.median(factors) <= 1.7


def test_a_front_cools_turns_the_wind_and_lifts_the_pressure(day: Day) -> None:
    front = max(day.fronts, key=lambda f: f.cooling_k)
    arrives, peak = int(front.arrives_s), int(front.arrives_s + front.ramp_s)
    before, after = slice(arrives - 900, arrives - 300), slice(peak + 300, peak + 900)
    cooling = day.temp_c[before].mean() - day.temp_c[after].mean()
    rise = day.pressure_pa[after].mean() - day.pressure_pa[before].mean()
    assert cooling == pytest.approx(front.cooling_k, rel=0.4)
    assert rise == pytest.approx(front.rise_pa, rel=0.4)
    assert day.wind_m_s[after].mean() > day.wind_m_s[before].mean()


def test_the_pressure_rises_before_the_wind_turns(day: Day) -> None:
    front = max(day.fronts, key=lambda f: f.rise_pa)
    arrives = int(front.arrives_s)
    minutes = day.pressure_pa[arrives - 900 : arrives].reshape(-1, 60).mean(axis=1)
    assert minutes[-1] - minutes[:8].mean() > 10.0


def test_a_station_reports_means_and_the_highest_gust(day: Day) -> None:
    series = day.station(60)
    assert series.wind_m_s[700] == pytest.approx(day.wind_m_s[700 * 60 : 701 * 60].mean(), abs=0.01)
    assert series.gust_m_s[700] == pytest.approx(day.gust_m_s[700 * 60 : 701 * 60].max(), abs=0.01)


def test_failing_sensors_leave_gaps_and_spikes(day: Day) -> None:
    sound = day.station()
    failing = with_faults(sound, 1)
    assert np.isnan(failing.wind_m_s).any()
    assert np.nanmax(failing.gust_m_s) > sound.gust_m_s.max() + 5.0
