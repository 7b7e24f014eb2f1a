"""One reading a minute from samples. Expected values are worked by hand."""

import math
import random

import pytest

from watcher.sources.stations.rows import Rows
from watcher.sources.stations.samples import Samples

START = 1_781_272_800  # a whole minute, 2026-06-12 14:00 UTC
Sample = dict[str, float]


def readings(samples: Samples, given: list[tuple[int, Sample]]) -> Rows:
    """Every reading that the samples, and one later, give."""
    found: Rows = {}
    for second, sample in [*given, (given[-1][0] + 1000, {})]:
        found |= samples.add(START + second, sample)
    return found


def winds(speeds: list[float], every_s: int = 1) -> list[tuple[int, Sample]]:
    return [((n + 1) * every_s, {"wind_m_s": speed}) for n, speed in enumerate(speeds)]


def test_a_minute_of_samples_is_one_reading_stamped_with_its_end() -> None:
    found = readings(Samples(every_s=60, gusts=False), winds([2.0] * 30 + [4.0] * 30))
    assert found == {START + 60: {"wind_m_s": pytest.approx(3.0)}}


def test_no_gust_is_made_unless_told_that_samples_are_fresh() -> None:
    found = readings(Samples(every_s=60, gusts=False), winds([2.0] * 60))
    assert "gust_m_s" not in found[START + 60]


def test_the_gust_is_the_highest_three_second_mean() -> None:
    # WMO-No. 8, part I, chapter 5: three seconds at 8 m/s are a gust of 8; one second is not.
    lasting = readings(Samples(every_s=60, gusts=True), winds([2.0] * 20 + [8.0] * 3 + [2.0] * 37))
    spike = readings(Samples(every_s=60, gusts=True), winds([2.0] * 20 + [8.0] + [2.0] * 39))
    assert lasting[START + 60]["gust_m_s"] == pytest.approx(8.0)
    assert spike[START + 60]["gust_m_s"] == pytest.approx((8.0 + 2.0 + 2.0) / 3)


def test_samples_too_far_apart_make_no_gust() -> None:
    found = readings(Samples(every_s=60, gusts=True), winds([2.0] * 15, every_s=4))
    assert found[START + 60] == {"wind_m_s": pytest.approx(2.0)}


def test_a_gust_of_rounded_samples_may_be_half_a_step_more() -> None:
    found = readings(Samples(every_s=60, gusts=True, step_m_s=1.0), winds([3.0] * 60))
    assert found[START + 60]["gust_m_s"] == pytest.approx(3.5)
    assert found[START + 60]["wind_m_s"] == pytest.approx(3.0)


def test_a_gust_that_the_instrument_gives_stands() -> None:
    found = [(s, {"wind_m_s": 2.0, "gust_m_s": 5.0 + (s == 9)}) for s in range(1, 61)]
    assert readings(Samples(every_s=60, gusts=True), found)[START + 60]["gust_m_s"] == 6.0


def test_directions_are_averaged_across_north() -> None:
    found = [
        (s, {"wind_m_s": 3.0, "wind_from_deg": 350.0 if s % 2 else 30.0}) for s in range(1, 61)
    ]
    assert readings(Samples(every_s=60, gusts=False), found)[START + 60]["wind_from_deg"] == (
        pytest.approx(10.0)
    )


def test_calm_air_has_no_direction() -> None:
    found = [(s, {"wind_m_s": 0.2, "wind_from_deg": 90.0}) for s in range(1, 61)]
    assert readings(Samples(every_s=60, gusts=False), found)[START + 60] == {
        "wind_m_s": pytest.approx(0.2)
    }


def test_the_spread_is_that_of_ten_minutes() -> None:
    # Yamartino (1984): for directions of 10 degrees to either side epsilon = sin 10 degrees, and
    # sigma = asin(epsilon) * (1 + (2 / sqrt 3 - 1) * epsilon ** 3).
    said = [
        (s, {"wind_m_s": 3.0, "wind_from_deg": 350.0 if s % 2 else 10.0}) for s in range(1, 661)
    ]
    found = readings(Samples(every_s=60, gusts=False), said)
    assert "wind_spread_deg" not in found[START + 60]
    sigma = 10.0 * (1.0 + (2.0 / math.sqrt(3.0) - 1.0) * math.sin(math.radians(10.0)) ** 3)
    assert found[START + 660]["wind_spread_deg"] == pytest.approx(sigma, abs=1e-6)


@pytest.mark.parametrize("gone", [(0, 20), (20, 40), (40, 60)])
def test_a_minute_with_a_large_gap_is_no_reading(gone: tuple[int, int]) -> None:
    found = [(s, w) for s, w in winds([2.0] * 60) if not gone[0] < s <= gone[1]]
    assert readings(Samples(every_s=60, gusts=True), found) == {}


def test_a_quantity_that_stops_is_left_out_alone() -> None:
    found = [(s, w | ({"temp_c": 20.0} if s < 30 else {})) for s, w in winds([2.0] * 60)]
    assert readings(Samples(every_s=60, gusts=False), found) == {
        START + 60: {"wind_m_s": pytest.approx(2.0)}
    }


def test_after_an_outage_the_minute_before_it_keeps_its_own_time() -> None:
    samples = Samples(every_s=60, gusts=False)
    for second, wind in winds([2.0] * 58):
        samples.add(START + second, wind)
    assert list(samples.add(START + 7200, {"wind_m_s": 9.0})) == [START + 60]


def test_a_clock_set_back_gives_up_what_was_gathered() -> None:
    samples = Samples(every_s=60, gusts=False)
    for second, wind in winds([2.0] * 58):
        samples.add(START + second, wind)
    assert samples.add(START - 3600, {"wind_m_s": 2.0}) == {}
    assert samples.add(START + 61, {"wind_m_s": 2.0}) == {}


def test_means_agree_with_the_standard_library() -> None:
    rng = random.Random(4)
    speeds = [rng.uniform(0.0, 12.0) for _ in range(60)]
    found = readings(Samples(every_s=60, gusts=True), winds(speeds))[START + 60]
    threes = [math.fsum(speeds[i : i + 3]) / 3 for i in range(58)]
    assert found["wind_m_s"] == pytest.approx(math.fsum(speeds) / 60)
    assert found["gust_m_s"] == pytest.approx(max(threes))
