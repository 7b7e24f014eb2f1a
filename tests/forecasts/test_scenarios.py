"""Scenarios: several feeds, what one of them lacks, rain, and the hours inside."""

import numpy as np
import pytest

from tests.support.known_errors import NAMES, START, KnownErrors
from watcher.forecasts.history import AHEAD, HOUR_S, PATH_H, History
from watcher.forecasts.scenarios import scenarios
from watcher.forecasts.within_hour import HALVES, STEPS, Patterns, spread_out

AT = np.array([START], dtype=np.int64)


def present(*feeds: dict[str, float]) -> History:
    """Nothing past: feeds that foretell the same for every hour."""

    def hours(feed: dict[str, float], name: str) -> np.ndarray:
        return np.full((1, PATH_H.size), feed.get(name, np.nan))

    foretold = {name: np.stack([hours(feed, name) for feed in feeds]) for name in NAMES}
    measured = {name: np.full((1, PATH_H.size), np.nan) for name in NAMES}
    return History(AT, 0.0, foretold, measured)


def drawn(history: History, count: int = 400) -> dict[str, np.ndarray]:
    return dict(scenarios(history, count, np.random.default_rng(0)).values)


def test_two_feeds_are_blended() -> None:
    found = drawn(present({"wind_m_s": 4.0}, {"wind_m_s": 9.0}))
    assert np.median(found["wind_m_s"]) == pytest.approx(2.5**2, abs=0.4)


def test_what_one_feed_lacks_comes_from_the_other() -> None:
    found = drawn(present({"wind_m_s": 5.0}, {"wind_m_s": 5.0, "gust_m_s": 8.0}))
    assert np.isfinite(found["gust_m_s"]).all()
    assert (found["gust_m_s"] >= found["wind_m_s"]).all()
    assert np.isnan(drawn(present({"wind_m_s": 5.0}))["gust_m_s"]).all()


def test_the_dew_point_is_never_above_the_temperature() -> None:
    found = drawn(present({"wind_m_s": 5.0, "temp_c": 15.0, "dew_point_c": 14.5}))
    assert (found["dew_point_c"] <= found["temp_c"]).all()


def test_a_chance_of_rain_is_used_as_it_is_given() -> None:
    dry_amount = {"wind_m_s": 5.0, "rain_mm_h": 0.0}
    found = drawn(present(dry_amount | {"rain_chance_pct": 30.0}))
    assert (found["rain_mm_h"] > 0).mean() == pytest.approx(0.30, abs=0.04)
    found = drawn(present(dry_amount))
    assert 0.01 < (found["rain_mm_h"] > 0).mean() < 0.10
    assert np.isnan(drawn(present({"wind_m_s": 5.0}))["rain_mm_h"]).all()


def test_more_past_forecasts_make_fewer_prior_paths() -> None:
    known = KnownErrors(40)
    rng = np.random.default_rng(0)
    few, many = (scenarios(known.history(row), 100, rng) for row in (8, 159))
    assert (few.past_forecasts < 10).all()
    assert many.past_forecasts[PATH_H == 1] == 120


def test_fewer_past_forecasts_stand_behind_hours_that_few_of_them_reached() -> None:
    known = KnownErrors(40)
    far = PATH_H > 48
    known.foretold_root[:, far] = np.nan
    found = scenarios(known.history(159), 100, np.random.default_rng(0))
    assert (found.past_forecasts[far] == 0).all()
    assert found.past_forecasts[PATH_H == 48] > 100


def test_what_comes_after_the_present_is_never_learned_from() -> None:
    known = KnownErrors(30)
    history = known.history(100)
    first = scenarios(history, 50, np.random.default_rng(1)).values["wind_m_s"]
    known.measured_root[101:] += 9.0
    again = scenarios(known.history(100), 50, np.random.default_rng(1)).values["wind_m_s"]
    assert np.array_equal(first, again)


def test_the_station_says_which_way_the_next_hours_go() -> None:
    known = KnownErrors(30)
    history = known.history(100)
    higher = dict(history.measured)
    higher["wind_m_s"] = higher["wind_m_s"].copy()
    higher["wind_m_s"][-1] *= 2.0
    raised = History(history.at, 0.0, history.foretold, higher)
    before, after = (drawn(h)["wind_m_s"][:, AHEAD].mean(axis=0) for h in (history, raised))
    assert after[0] > before[0] + 0.3
    assert after[40] == pytest.approx(before[40], abs=0.4)


def hours_of_bins(hours: int, spread: float) -> Patterns:
    rng = np.random.default_rng(2)
    times = 600 * np.arange(hours * STEPS, dtype=np.int64) + START
    wind = 5.0 * np.exp(spread * rng.standard_normal(times.size))
    return Patterns.of(times, wind, wind * 1.5)


@pytest.mark.parametrize("spread", [0.02, 0.3])
def test_the_spread_inside_an_hour_is_the_stations_own(spread: float) -> None:
    patterns = hours_of_bins(2000, spread)
    wind = np.full((200, 24), 5.0)
    winds, gusts = spread_out(wind, 1.6 * wind, patterns, np.random.default_rng(3))
    pairs = winds.reshape(200, 24, HALVES)
    highest = pairs.max(axis=-1).mean()
    assert highest == pytest.approx(5.0 * patterns.wind.max(axis=1).mean(), rel=0.05)
    assert (pairs.min(axis=-1) <= 5.0 + 1e-9).all()
    assert (pairs.max(axis=-1) >= 5.0 - 1e-9).all()
    assert (gusts >= winds).all()
    assert gusts.reshape(200, 24, HALVES).max(axis=-1) == pytest.approx(8.0, rel=0.6)


def test_a_day_of_missing_bins_gives_no_pattern_and_experience_stands_in() -> None:
    empty = Patterns.of(np.empty(0, np.int64), np.empty(0), np.empty(0))
    wind = np.full((50, 10), 4.0)
    winds, _ = spread_out(wind, wind * 1.5, empty, np.random.default_rng(0))
    assert np.isfinite(winds).all()
    half = Patterns.of(HOUR_S * np.arange(9, dtype=np.int64), np.ones(9), np.ones(9))
    assert half.wind.size == 0
