"""How a value stands from its bounds, at and just beside each of them."""

import numpy as np
import pytest

from watcher.limits.catalogue import Limit
from watcher.limits.check import Checked, Knowledge, between, bounded, mixed, ruled
from watcher.limits.status import Band, LimitState, Status

NAN, INF = np.nan, np.inf


@pytest.mark.parametrize(
    ("value", "low", "high", "headroom", "stand"),
    [
        (7.9, -INF, 10.0, 0.21, LimitState.HOLDS),
        (8.0, -INF, 10.0, 0.2, LimitState.HOLDS),  # at its margin it holds
        (8.1, -INF, 10.0, 0.19, LimitState.NEAR),
        (10.0, -INF, 10.0, 0.0, LimitState.NEAR),  # at its bound it is not broken
        (10.1, -INF, 10.0, -0.01, LimitState.BROKEN),
        (5.0, 3.0, INF, 0.2, LimitState.HOLDS),
        (3.0, 3.0, INF, 0.0, LimitState.NEAR),
        (2.9, 3.0, INF, -0.01, LimitState.BROKEN),
        (6.0, 3.0, 10.0, 0.3, LimitState.HOLDS),  # the nearer bound counts
        (9.0, 3.0, 10.0, 0.1, LimitState.NEAR),
        (NAN, 3.0, 10.0, NAN, LimitState.UNKNOWN),
        (NAN, -INF, INF, INF, LimitState.HOLDS),  # nothing is asked
    ],
)
def test_a_value_against_its_bounds(
    value: float, low: float, high: float, headroom: float, stand: LimitState
) -> None:
    found = bounded(
        Limit.GUST,
        np.array([value]),
        low=np.asarray(low),
        high=np.asarray(high),
        scale=np.asarray(10.0),
        margin=np.asarray(0.2),
    )
    assert found.stand[0] == stand
    assert found.headroom[0] == pytest.approx(headroom, nan_ok=True)


def test_fields_with_and_without_a_bound_are_checked_at_once() -> None:
    found = bounded(
        Limit.WIND,
        np.array([5.0]),
        low=np.array([-INF, 3.0, -INF, 3.0]),
        high=np.array([INF, INF, 10.0, 10.0]),
        scale=np.asarray(10.0),
        margin=np.asarray(0.1),
    )
    assert found.headroom == pytest.approx([INF, 0.2, 0.5, 0.2])


def test_a_rule_without_a_distance_is_a_whole_scale_broken_and_without_end_held() -> None:
    found = ruled(Limit.INVERSION, np.zeros(4), np.array(list(LimitState), dtype=np.int8))
    np.testing.assert_array_equal(found.headroom, [-1.0, NAN, 0.0, INF])
    assert np.isnan([found.low, found.high]).all()


def test_the_codes_of_a_limit_are_those_of_the_status_it_allows() -> None:
    assert [s.value for s in LimitState] == [s.value for s in Status] == [0, 1, 2, 3]
    assert [band.value for band in Band] == [-1, 0, 1, 2, 3]
    assert [k.value for k in Knowledge] == [-1, 0, 1]
    assert Status.SUITABLE.word == "suitable"


def test_checks_of_which_one_knows_more_are_mixed_by_what_is_usual() -> None:
    """The others are exact, and no rule decides them."""
    one = np.zeros(1)
    plain = Checked(Limit.GUST, one, one, one, one, one.astype(np.int8))
    known = Checked(Limit.GUST, one, one, one, one, one.astype(np.int8), *2 * (np.int8([1]),))
    both = mixed([plain, known], lambda *each: np.concatenate(each))
    assert both.known is not None
    assert both.rule is not None
    assert both.known.tolist() == [Knowledge.EXACT, 1]
    assert both.rule.tolist() == [-1, 1]
    assert mixed([plain, plain], lambda *each: np.concatenate(each)).known is None


BROKEN, UNKNOWN, NEAR, HOLDS = LimitState
EXACT, AT_LEAST, AT_MOST = Knowledge.EXACT, Knowledge.AT_LEAST, Knowledge.AT_MOST


@pytest.mark.parametrize(
    ("least", "most", "stand", "shown", "headroom", "known"),
    [
        # Surely within 3 to 10: the worse end is shown, of two alike the upper one.
        (5.0, 6.0, HOLDS, 5.0, 0.2, AT_LEAST),
        (5.5, 8.5, NEAR, 8.5, 0.15, AT_MOST),
        (5.0, 8.0, HOLDS, 8.0, 0.2, AT_MOST),
        (4.0, 6.0, NEAR, 4.0, 0.1, AT_LEAST),
        # Surely beyond the same bound: the better end.
        (11.0, 13.0, BROKEN, 11.0, -0.1, AT_LEAST),
        (1.0, 2.0, BROKEN, 2.0, -0.1, AT_MOST),
        (NAN, 2.0, BROKEN, 2.0, -0.1, AT_MOST),
        (11.0, NAN, BROKEN, 11.0, -0.1, AT_LEAST),
        # Perhaps within, perhaps beyond: unknown.
        (9.0, 12.0, UNKNOWN, 12.0, NAN, AT_MOST),
        (2.0, 5.0, UNKNOWN, 2.0, NAN, AT_LEAST),
        (10.0, 12.0, UNKNOWN, 12.0, NAN, AT_MOST),
        (1.0, 3.0, UNKNOWN, 1.0, NAN, AT_LEAST),
        (5.0, NAN, UNKNOWN, NAN, NAN, AT_MOST),
        (2.0, 12.0, UNKNOWN, 12.0, NAN, AT_MOST),
        # Nothing is known of its bounds: the value itself stands.
        (NAN, NAN, HOLDS, 6.0, 0.3, EXACT),
    ],
)
def test_a_value_of_which_only_bounds_are_known(
    least: float, most: float, stand: LimitState, shown: float, headroom: float, known: int
) -> None:
    sides = {"low": np.asarray(3.0), "high": np.asarray(10.0)}
    by = {"scale": np.asarray(10.0), "margin": np.asarray(0.2)}
    exact = bounded(
        Limit.GUST, np.array([6.0 if np.isnan([least, most]).all() else NAN]), **sides, **by
    )
    found = between(Limit.GUST, exact, np.array([least]), np.array([most]), **by)
    assert found.known is not None
    assert (found.stand[0], found.known[0]) == (stand, known)
    assert found.headroom[0] == pytest.approx(headroom, nan_ok=True)
    assert found.value[0] == pytest.approx(shown, nan_ok=True)


def test_where_there_is_no_high_bound_a_least_is_enough() -> None:
    by = {"scale": np.asarray(10.0), "margin": np.asarray(0.2)}
    exact = bounded(
        Limit.RAIN_AFTER, np.array([NAN]), low=np.asarray(3.0), high=np.asarray(INF), **by
    )
    found = between(Limit.RAIN_AFTER, exact, np.array([5.0]), np.array([NAN]), **by)
    assert found.known is not None
    assert (found.stand[0], found.value[0], found.known[0]) == (HOLDS, 5.0, AT_LEAST)
