"""Scores against published libraries, and bars that are of days."""

import numpy as np
import pytest

from watcher.forecasts import scores

RNG = np.random.default_rng(5)
CHANCE = RNG.random(300)
CAME = RNG.random(300) < CHANCE


def test_brier_is_that_of_two_libraries() -> None:
    scoringrules = pytest.importorskip("scoringrules")
    ours = scores.brier(CHANCE, CAME)
    theirs = scoringrules.brier_score(CAME.astype(float), CHANCE).mean()
    assert ours == pytest.approx(theirs)
    xarray = pytest.importorskip("xarray")
    probability = pytest.importorskip("scores.probability")
    other = probability.brier_score(xarray.DataArray(CHANCE), xarray.DataArray(CAME.astype(float)))
    assert ours == pytest.approx(float(other))


def test_crps_of_an_ensemble_is_that_of_two_libraries() -> None:
    scoringrules = pytest.importorskip("scoringrules")
    measured = RNG.normal(size=40)
    ensemble = RNG.normal(size=(40, 21))
    ours = scores.crps(ensemble, measured)
    theirs = scoringrules.crps_ensemble(measured, ensemble, estimator="nrg")
    assert ours == pytest.approx(theirs)
    xarray = pytest.importorskip("xarray")
    probability = pytest.importorskip("scores.probability")
    other = probability.crps_for_ensemble(
        xarray.DataArray(ensemble, dims=("case", "member")),
        xarray.DataArray(measured, dims=("case",)),
        "member",
        method="ecdf",
    )
    assert float(ours.mean()) == pytest.approx(float(other))


def test_the_truth_saves_all_of_the_error_and_the_reference_none() -> None:
    usual = np.full(CAME.shape, CAME.mean())
    assert scores.brier_skill(CAME.astype(float), usual, CAME) == 1.0
    assert scores.brier_skill(usual, usual, CAME) == 0.0


def test_cases_of_a_day_that_are_alike_make_bars_no_narrower() -> None:
    held = RNG.random(200) < 0.5
    once = scores.by_days(lambda at: float(held[at].mean()), np.arange(200))
    repeated = np.repeat(held, 20)
    many = scores.by_days(
        lambda at: float(repeated[at].mean()), np.repeat(np.arange(200, dtype=np.int64), 20)
    )
    assert many.value == pytest.approx(once.value)
    assert many.high - many.low > 0.8 * (once.high - once.low)


def test_reliability_counts_every_case_once() -> None:
    days = np.arange(300, dtype=np.int64) // 10
    found = scores.reliability(CHANCE, CAME, days, draws=50)
    assert sum(b.count for b in found) == 300
    assert sum(b.held.value * b.count for b in found) == pytest.approx(CAME.sum())
    assert all(b.held.low <= b.held.value <= b.held.high for b in found)


def test_what_usually_holds_is_only_what_was_known_by_then() -> None:
    came = np.array([True, True, False])
    hour = np.zeros(3, np.int64)
    said, known = np.array([0.0, 10.0, 30.0]), np.array([5.0, 40.0, 50.0])
    assert scores.past_share(came, hour, known, said) == pytest.approx([1 / 2, 2 / 3, 2 / 3])
    assert np.isnan(scores.brier(np.empty(0), np.empty(0, bool)))
