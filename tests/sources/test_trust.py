"""How far a source is trusted: what is demoted, for how long, and what then is left of it."""

import numpy as np
import pytest

from watcher.sources.base import Flag, Observations
from watcher.sources.trust import demoted, doubted_shares, trusted
from watcher.weather.series import Site, WeatherSeries

NOW = 1_781_107_200
DAY = 24 * 3600


def told(bad_share: float, *, hours_ago: float = 0.0, count: int = 1440) -> Observations:
    """A day of minutes up to some hours ago, the last so many of them flagged."""
    times = NOW - int(hours_ago * 3600) - 60 * np.arange(count)[::-1]
    series = WeatherSeries.of(
        times,
        Site(41.0, -96.0),
        "mast",
        {"wind_m_s": np.full(count, 3.0), "temp_c": np.full(count, 20.0)},
    )
    flags = np.where(np.arange(count) >= count * (1 - bad_share), Flag.STUCK, 0)
    return Observations(series, {"wind_m_s": flags.astype(np.uint16)})


def test_a_quarter_of_a_day_may_fail() -> None:
    assert demoted(told(0.25), NOW) == {}
    assert demoted(told(0.30), NOW) == {"wind_m_s": pytest.approx(0.30)}


def test_a_demoted_quantity_is_missing_throughout_the_others_stay() -> None:
    series = trusted(told(0.5), NOW)
    assert np.isnan(series.wind_m_s).all()
    assert (series.temp_c == 20.0).all()


def test_a_trusted_quantity_misses_its_doubted_values_only() -> None:
    assert np.isnan(trusted(told(0.2), NOW).wind_m_s).sum() == 288


def test_trust_comes_back_with_a_day_of_good_values() -> None:
    bad, good = told(1.0, hours_ago=24, count=720), told(0.0, count=1439)
    both = Observations(
        WeatherSeries.of(
            np.concatenate([bad.series.times, good.series.times]),
            bad.series.site,
            "mast",
            {"wind_m_s": np.full(2159, 3.0)},
        ),
        {"wind_m_s": np.concatenate([bad.flags["wind_m_s"], good.flags["wind_m_s"]])},
    )
    assert demoted(both, NOW) == {}
    assert "wind_m_s" in demoted(both, NOW - 20 * 3600)


def test_a_few_values_tell_nothing() -> None:
    assert demoted(told(1.0, count=11), NOW) == {}
    assert demoted(told(1.0, count=12), NOW) == {"wind_m_s": 1.0}


def test_missing_values_are_no_failures() -> None:
    """A wind without gusts has none to report, a calm no direction."""
    observations = told(0.0)
    series = observations.series.having(gust_m_s=np.full(1440, np.nan))
    assert doubted_shares(Observations(series), NOW) == {"wind_m_s": 0.0, "temp_c": 0.0}


def test_readings_from_ahead_of_now_are_not_counted() -> None:
    assert demoted(told(0.5), NOW - DAY) == {}


def test_a_source_that_never_spoke_is_not_demoted() -> None:
    assert demoted(Observations(WeatherSeries.of([], Site(0, 0), "mast", {})), NOW) == {}
