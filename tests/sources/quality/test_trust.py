"""How far a source is trusted: what is demoted, for how long, and what then is left of it."""

import numpy as np
import pytest

from watcher.sources.quality.trust import believed, demoted, doubted_shares
from watcher.weather.bins import HOUR_S, Bins, over_bins
from watcher.weather.series import Site, WeatherSeries

NOW = 1_781_107_200


def day(bad_share: float, count: int = 1440) -> Bins:
    """So many minutes up to now, the last so many of them with a doubt about the wind."""
    times = NOW - 60 * np.arange(1, count + 1)[::-1]
    values = {"wind_m_s": np.full(count, 3.0), "temp_c": np.full(count, 20.0)}
    series = WeatherSeries.of(times, Site(41.0, -96.0), "mast", values)
    doubted = {"wind_m_s": np.arange(count) >= count * (1 - bad_share)}
    return over_bins(series, width_s=HOUR_S, doubted=doubted)


def test_a_quarter_of_a_day_may_fail() -> None:
    assert demoted(day(0.25)) == {}
    assert demoted(day(0.30)) == {"wind_m_s": pytest.approx(0.30)}


def test_a_demoted_quantity_is_missing_throughout_the_others_stay() -> None:
    bins = day(0.5)
    series = believed(bins.series, demoted(bins))
    assert np.isnan(series.wind_m_s).all()
    assert (series.temp_c == 20.0).all()


def test_a_trusted_quantity_misses_nothing_but_its_doubted_values() -> None:
    bins = day(0.2)
    series = believed(bins.series, demoted(bins))
    np.testing.assert_array_equal(series.wind_m_s, bins.series.wind_m_s)


def test_a_few_values_tell_nothing() -> None:
    assert demoted(day(1.0, count=11)) == {}
    assert demoted(day(1.0, count=12)) == {"wind_m_s": 1.0}


def test_missing_values_are_no_failures() -> None:
    """A wind without gusts has none to report, a calm no direction."""
    assert doubted_shares(day(0.0)) == {"wind_m_s": 0.0, "temp_c": 0.0}


def test_a_source_that_never_spoke_is_not_demoted() -> None:
    nothing = WeatherSeries.of([], Site(0.0, 0.0), "mast", {})
    assert demoted(over_bins(nothing, width_s=HOUR_S)) == {}
