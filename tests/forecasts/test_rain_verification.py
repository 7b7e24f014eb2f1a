"""Forecasts of rain against what fell, by counts made here and by a published library."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.support.known_errors import NAMES
from watcher.forecasts.history import DAY_S, PATH_H, History
from watcher.forecasts.rain import WET_MM_H
from watcher.forecasts.rain_verification import RainOff, verified_rain
from watcher.forecasts.scores import FEWEST_DAYS
from watcher.forecasts.verification import LEADS_H

START = 1_600_041_600  # 2020-09-14 00:00 UTC


def history(foretold: list[np.ndarray], measured: np.ndarray) -> History:
    """Forecasts of rain once a day. [J, K] each"""
    at = START + DAY_S * np.arange(len(measured))
    none = np.full(measured.shape, np.nan)
    every = {name: np.stack([none] * len(foretold)) for name in NAMES}
    return History(
        at,
        0.0,
        every | {"rain_mm_h": np.stack(foretold)},
        dict.fromkeys(NAMES, none) | {"rain_mm_h": measured},
    )


def simulated(seed: int, days: int = 40) -> tuple[list[np.ndarray], np.ndarray]:
    """SIMULATED: rain in one hour of five; a feed that is mostly right, and one that guesses."""
    rng = np.random.default_rng(seed)
    shape = (days, PATH_H.size)
    wet = rng.random(shape) < 0.2
    came = np.where(wet, rng.gamma(1.0, 1.0, shape) + WET_MM_H, 0.0)
    right = np.where(rng.random(shape) < 0.85, wet, ~wet)
    good = np.where(right, rng.gamma(1.0, 1.0, shape) + WET_MM_H, 0.0)
    guess = np.where(rng.random(shape) < 0.2, 1.0, 0.0)
    return [good, guess], came


def of_lead(feed: int, seed: int = 1) -> tuple[RainOff, np.ndarray, np.ndarray]:
    """The first lead of a feed, with what it foretold and what fell in its hours."""
    foretold, came = simulated(seed)
    first, last = LEADS_H[0]
    hours = (first <= PATH_H) & (last >= PATH_H)
    found = verified_rain(history(foretold, came))[feed][0]
    return found, foretold[feed][:, hours].ravel(), came[:, hours].ravel()


def test_a_case_worked_out_by_hand() -> None:
    """Of 20 days, in the first hour ahead: 10 hits, 5 misses, 5 false alarms; all else dry.

    Of 120 hours 15 are wet and 15 foretold so: 1.875 hits by chance, (10 - 1.875) / (20 - 1.875).
    """
    foretold, came = (np.zeros((20, PATH_H.size)) for _ in range(2))
    first = PATH_H == 1
    foretold[:15, first], came[5:, first] = 2.0, 1.0
    [one] = verified_rain(history([foretold], came))
    assert (one[0].hits, one[0].misses, one[0].false_alarms, one[0].dry) == (10, 5, 5, 100)
    assert one[0].hit_rate == pytest.approx(10 / 15)
    assert one[0].false_alarm_ratio == pytest.approx(5 / 15)
    assert one[0].equitable_threat == pytest.approx(0.448276, abs=1e-6)
    assert one[0].amount.bias == pytest.approx((10 * 1.0 + 5 * 2.0 - 5 * 1.0) / 20)
    assert not one[1].known  # it never rained further ahead


def test_a_feed_that_guesses_is_no_better_than_chance() -> None:
    good, guess = (of_lead(feed)[0] for feed in (0, 1))
    assert abs(guess.equitable_threat) < 0.1
    assert good.equitable_threat > 0.3


def test_a_feed_that_never_foretells_rain_has_no_false_alarms_to_count() -> None:
    _, came = simulated(2)
    [one] = verified_rain(history([np.zeros(came.shape)], came))
    assert one[0].hit_rate == 0.0
    assert np.isnan(one[0].false_alarm_ratio)
    assert one[0].equitable_threat == 0.0


def test_nothing_is_told_of_too_few_wet_days() -> None:
    _, came = simulated(2)
    came[: FEWEST_DAYS - 1, PATH_H == 1] = 1.0
    came[FEWEST_DAYS - 1 :] = 0.0
    [one] = verified_rain(history([came], came))
    assert not any(lead.known for lead in one)
    came[FEWEST_DAYS - 1, PATH_H == 1] = 1.0
    [one] = verified_rain(history([came], came))
    assert [lead.known for lead in one] == [True, False, False]


def test_feeds_are_compared_on_the_same_hours_only() -> None:
    foretold, came = simulated(3)
    foretold[1][:20] = np.nan
    both = verified_rain(history(foretold, came))
    counts = [lead.hits + lead.misses + lead.false_alarms + lead.dry for lead in both[0]]
    assert counts == [20 * (last - first + 1) for first, last in LEADS_H]


@settings(max_examples=20)
@given(st.integers(0, 1000))
def test_figures_are_those_of_a_library(seed: int) -> None:
    """Against the package ``scores``, on simulated hours."""
    xarray = pytest.importorskip("xarray")
    categorical = pytest.importorskip("scores.categorical")
    continuous = pytest.importorskip("scores.continuous")
    for feed in (0, 1):
        found, foretold, came = of_lead(feed, seed)
        said, wet = foretold >= WET_MM_H, came >= WET_MM_H
        table = categorical.BinaryContingencyManager(
            xarray.DataArray(said.astype(float)), xarray.DataArray(wet.astype(float))
        )
        assert found.hit_rate == pytest.approx(float(table.probability_of_detection()))
        assert found.false_alarm_ratio == pytest.approx(float(table.false_alarm_ratio()))
        assert found.equitable_threat == pytest.approx(float(table.equitable_threat_score()))
        either = said | wet
        of = xarray.DataArray(foretold[either]), xarray.DataArray(came[either])
        assert found.amount.bias == pytest.approx(float(continuous.additive_bias(*of)))
        assert found.amount.rms == pytest.approx(float(continuous.rmse(*of)))


def test_the_hours_of_a_lead_are_counted_from_the_moment_the_forecast_was_in_hand() -> None:
    foretold, came = simulated(4)
    found = verified_rain(history(foretold, came))[0]
    for (first, last), lead in zip(LEADS_H, found, strict=True):
        hours = (first <= PATH_H) & (last >= PATH_H)
        assert lead.hits + lead.misses == int((came[:, hours] >= WET_MM_H).sum())
