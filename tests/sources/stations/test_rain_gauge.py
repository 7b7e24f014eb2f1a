"""Rain told as an amount or a count, as rates: the sum of the rates is what fell."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from watcher.sources.base import Observations, RainFall
from watcher.sources.stations.rain_gauge import Gauge, rated
from watcher.weather.series import Site, WeatherSeries

START = 1_781_272_800


def fallen(times: list[int], mm: list[float], *, is_total: bool) -> Observations:
    at = np.array(times, dtype=np.int64)
    series = WeatherSeries(at, Site(41.0, -96.0), "mast")
    return Observations(series, rain_fall=RainFall(at, np.array(mm), is_total))


def rates(
    times: list[int], mm: list[float], *, is_total: bool = True, before: Gauge | None = None
) -> list[float]:
    found, _ = rated(fallen(times, mm, is_total=is_total), before)
    return found.series.rain_mm_h.tolist()


def test_a_count_is_told_as_what_fell_since_the_reading_before() -> None:
    minutes = [START + 60 * n for n in range(4)]
    assert rates(minutes, [5.0, 5.0, 5.2, 5.6]) == pytest.approx([np.nan, 0, 12, 24], nan_ok=True)
    known = Gauge(START - 60, 4.9)
    assert rates(minutes[:1], [5.0], before=known) == pytest.approx([6.0])


def test_a_count_that_begins_anew_tells_what_fell_since() -> None:
    assert rates([START + 600, START + 1200], [0.4, 0.4], before=Gauge(START, 30.0)) == (
        pytest.approx([2.4, 0.0])
    )


def test_a_count_rounded_another_way_is_no_new_one() -> None:
    assert rates([START + 60], [29.999], before=Gauge(START, 30.0)) == [0.0]


def test_an_amount_fell_since_the_reading_before() -> None:
    known = Gauge(START - 300, 0.0)
    assert rates([START, START + 600], [0.5, 1.0], is_total=False, before=known) == (
        pytest.approx([6.0, 6.0])
    )


def test_what_fell_over_more_than_a_day_is_no_rate() -> None:
    assert np.isnan(rates([START], [30.0], before=Gauge(START - 86_401, 0.0))).all()


def test_what_comes_again_or_late_changes_nothing() -> None:
    _, stands = rated(fallen([START, START + 60], [5.0, 5.2], is_total=True), None)
    assert stands == Gauge(START + 60, 5.2)
    again, after = rated(fallen([START + 60], [5.2], is_total=True), stands)
    assert np.isnan(again.series.rain_mm_h).all()  # what the log has of it stands
    assert after == stands


@given(st.lists(st.tuples(st.integers(1, 3600), st.integers(0, 50)), min_size=1, max_size=30))
def test_the_rates_add_up_to_what_was_counted(steps: list[tuple[int, int]]) -> None:
    times = (START + np.cumsum([step for step, _ in steps])).tolist()
    count = (10.0 + 0.2 * np.cumsum([tips for _, tips in steps])).tolist()
    found = rates(times, count, before=Gauge(START, 10.0))
    fell = sum(rate * step / 3600 for rate, (step, _) in zip(found, steps, strict=True))
    assert fell == pytest.approx(count[-1] - 10.0)
