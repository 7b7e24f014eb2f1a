"""Windows that only look back."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from watcher.weather.trailing import highs, known_share, means, median_of, plausible_wind

law = settings(deadline=None)

DAY = pd.Timestamp("2025-06-01", tz="UTC")


@pytest.fixture
def irregular() -> pd.Series:
    """Readings 10 s to 5 min apart, a tenth of them missing."""
    rng = np.random.default_rng(3)
    seconds = np.cumsum(rng.integers(10, 300, 400))
    values = np.where(rng.random(400) < 0.1, np.nan, rng.gamma(4.0, 1.0, 400))
    return pd.Series(values, index=DAY + pd.to_timedelta(seconds, unit="s"))


def _times(series: pd.Series) -> np.ndarray:
    return (series.index - DAY).total_seconds().to_numpy().astype(np.int64)


def test_means_are_those_of_pandas_rolling_windows(irregular: pd.Series) -> None:
    ours = means(times=_times(irregular), values=irregular.to_numpy(), width_s=600)[:, 0]
    np.testing.assert_allclose(ours, irregular.rolling("600s").mean(), rtol=1e-12)


def test_highs_are_those_of_pandas_rolling_windows(irregular: pd.Series) -> None:
    ours = highs(times=_times(irregular), values=irregular.to_numpy(), width_s=600)[:, 0]
    np.testing.assert_array_equal(ours, irregular.rolling("600s").max())


def test_a_reading_counts_in_the_window_that_ends_at_its_time() -> None:
    times, values = np.array([0, 60, 120]), np.array([1.0, 2.0, 3.0])
    found = means(times=times, values=values, width_s=60, count=2)
    np.testing.assert_array_equal(found, [[1.0, np.nan], [2.0, 1.0], [3.0, 2.0]])


def test_a_window_without_a_known_reading_is_nan() -> None:
    times, values = np.array([0, 600]), np.array([np.nan, 1.0])
    assert np.isnan(means(times=times, values=values, width_s=60)[0, 0])
    assert np.isnan(highs(times=times, values=values, width_s=60)[0, 0])


def test_the_share_known_counts_readings_that_were_due() -> None:
    times = np.arange(60, 660, 60)
    values = np.ones(10)
    values[:4] = np.nan
    assert known_share(times=times, values=values, width_s=600, step_s=60)[-1] == pytest.approx(0.6)


def test_rows_that_never_came_are_not_known() -> None:
    times = np.array([60, 120, 540, 600])
    assert known_share(times=times, values=np.ones(4), width_s=600, step_s=60)[-1] == 0.4


@law
@given(st.lists(st.one_of(st.just(np.nan), st.floats(-1e6, 1e6)), min_size=1, max_size=12))
def test_the_median_is_that_of_what_is_known(values: list[float]) -> None:
    known = [value for value in values if not np.isnan(value)]
    expected = np.median(known) if known else np.nan
    np.testing.assert_allclose(median_of(np.array([values])), [expected])


@pytest.mark.parametrize("wrong", [-0.1, -9999.9, 75.1, 9999.0, np.inf, np.nan])
def test_what_no_wind_can_be_is_missing(wrong: float) -> None:
    assert np.isnan(plausible_wind(np.array([wrong])))[0]


def test_no_times_give_no_windows() -> None:
    nothing = np.empty(0)
    times = nothing.astype(np.int64)
    assert means(times=times, values=nothing, width_s=60, count=3).shape == (0, 3)
