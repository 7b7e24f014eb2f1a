"""How many times the mean wind the gusts of a place usually are."""

import numpy as np
import pytest

from watcher.weather.gust_factor import usual_gust_factor
from watcher.weather.series import Site, WeatherSeries

MIDNIGHT = 1_750_032_000  # in Greenwich, in June


def _log(days: int = 2, *, wind: float = 4.0, factor: float = 1.5) -> WeatherSeries:
    """Ten minutes each, a steady wind with gusts so many times as strong."""
    times = MIDNIGHT + 600 * np.arange(144 * days)
    steady = np.full(times.size, wind)
    known = {"wind_m_s": steady, "gust_m_s": steady * factor}
    return WeatherSeries.of(times, Site(52.0, 0.0), "made", known)


def test_it_is_the_gust_over_the_mean() -> None:
    assert usual_gust_factor(_log(factor=1.7)) == pytest.approx(1.7)


def test_one_odd_gust_does_not_count() -> None:
    log = _log(factor=1.7)
    odd = log.gust_m_s.copy()
    odd[70] = 70.0
    assert usual_gust_factor(log.having(gust_m_s=odd)) == pytest.approx(1.7)


def test_nights_do_not_count() -> None:
    log = _log(factor=1.7)
    night = (log.times // 3600) % 24 < 3
    assert usual_gust_factor(
        log.having(gust_m_s=np.where(night, 20.0, log.gust_m_s))
    ) == pytest.approx(1.7)


@pytest.mark.parametrize("log", [_log(wind=1.0), _log().at(slice(0, 60)), _log().at(slice(0, 0))])
def test_calms_and_short_logs_tell_nothing(log: WeatherSeries) -> None:
    assert np.isnan(usual_gust_factor(log))


def test_without_gusts_it_is_not_known() -> None:
    log = _log()
    assert np.isnan(usual_gust_factor(log.having(gust_m_s=np.full(len(log), np.nan))))


def test_a_gust_is_never_less_than_its_mean() -> None:
    assert usual_gust_factor(_log(factor=0.9)) == 1.0


@pytest.mark.parametrize(("count", "known"), [(35, False), (36, True)])
def test_six_hours_of_windy_daylight_are_enough(count: int, known: bool) -> None:
    noon = 60  # ten minutes each from midnight: from ten in the morning on
    log = _log().at(slice(noon, noon + count))
    assert np.isfinite(usual_gust_factor(log)) == known
