"""The watch's own time over jumps of the machine's clock."""

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.support.jumping import JumpingClock
from watcher.service.clock import HEARD_FOR_S, SETTLES_S

NOON = 1_781_107_200
DAY_S = 86_400
JUMPS = [3600, -3600, DAY_S, -DAY_S, 3 * 365 * DAY_S, -NOON]


def settle(clock: JumpingClock) -> int:
    by_s = clock.due()
    if by_s:
        clock.set(by_s)
    return by_s


@pytest.mark.parametrize("by_s", JUMPS)
def test_a_jump_and_back_changes_nothing(by_s: int) -> None:
    clock = JumpingClock(NOON)
    clock.wrong_by = by_s
    for _ in range(5):
        clock.at += 10
        assert (clock.now(), settle(clock)) == (clock.at, 0)
        assert clock.doubt is not None
        assert (round(clock.doubt.by_s), clock.doubt.lost) == (by_s, False)
    clock.wrong_by = 0
    assert clock.now() == clock.at
    assert clock.doubt is None


def test_time_asleep_is_time_that_passed() -> None:
    clock = JumpingClock(NOON)
    clock.at += 8 * 3600
    assert clock.now() == NOON + 8 * 3600
    assert clock.doubt is None


def test_a_clock_that_is_set_a_little_is_followed() -> None:
    clock = JumpingClock(NOON)
    clock.wrong_by = 45
    assert clock.now() == NOON + 45
    assert clock.doubt is None


@pytest.mark.parametrize("by_s", JUMPS)
def test_a_jump_is_not_followed_while_a_station_tells_another_time(by_s: int) -> None:
    clock = JumpingClock(NOON)
    clock.wrong_by = by_s
    for _ in range(100):
        clock.at += 60
        clock.hear("mast", clock.at - 5)
        assert settle(clock) == 0
    assert clock.now() == clock.at


@pytest.mark.parametrize("by_s", JUMPS)
def test_a_clock_that_was_wrong_from_the_start_is_set_once_it_is_mended(by_s: int) -> None:
    clock = JumpingClock(NOON, wrong_by=by_s)
    clock.at += 60
    clock.hear("mast", clock.at - 5)
    assert settle(clock) == 0
    clock.wrong_by = 0
    assert settle(clock) == -by_s
    assert clock.now() == clock.at
    assert clock.doubt is None


@pytest.mark.parametrize("by_s", [3600, -3600])
def test_where_nobody_else_tells_the_time_a_clock_that_stays_is_believed(by_s: int) -> None:
    clock = JumpingClock(NOON)
    clock.wrong_by = by_s
    clock.now()
    clock.at += int(SETTLES_S) - 1
    assert settle(clock) == 0
    clock.at += 1
    assert settle(clock) == by_s


def test_a_clock_that_was_never_set_is_not_believed_however_long_it_stays() -> None:
    clock = JumpingClock(NOON)
    clock.wrong_by = -NOON
    clock.now()
    clock.at += DAY_S
    assert settle(clock) == 0
    assert clock.now() == clock.at


def test_a_start_before_the_watch_last_ran_begins_where_it_ended_and_is_in_doubt() -> None:
    clock = JumpingClock(NOON, wrong_by=-NOON)
    clock.not_before(NOON - 3600)
    assert clock.now() == NOON - 3600
    assert clock.doubt is not None
    assert clock.doubt.lost
    clock.hear("mast", NOON - 3605)
    assert not clock.doubt.lost


def test_a_start_long_after_the_watch_last_ran_waits_for_somebody_to_confirm_it() -> None:
    clock = JumpingClock(NOON)
    clock.not_before(NOON - 2 * DAY_S)
    assert clock.doubt is not None
    assert clock.doubt.lost
    clock.hear_date("feed.example", NOON - 1, secure=True)
    assert clock.doubt is None


def test_nobody_is_waited_for_for_ever() -> None:
    clock = JumpingClock(NOON)
    clock.not_before(NOON - 2 * DAY_S)
    clock.at += int(SETTLES_S)
    assert clock.doubt is None


def test_a_feed_that_has_shown_who_it_is_contradicts_a_wrong_clock() -> None:
    clock = JumpingClock(NOON, wrong_by=DAY_S)
    clock.hear_date("feed.example", NOON, secure=True)
    assert clock.doubt is not None
    assert (clock.doubt.by_s, clock.doubt.lost) == (DAY_S, True)


def test_one_station_with_a_wrong_clock_makes_nobody_doubt_the_time() -> None:
    clock = JumpingClock(NOON)
    clock.hear("mast", NOON + 7200)
    assert clock.doubt is None
    clock.hear("other", NOON + 7200 + 30)
    assert clock.doubt is not None
    clock.hear("third", NOON - 60)
    assert clock.doubt is None


def test_late_readings_make_nobody_doubt_the_time() -> None:
    clock = JumpingClock(NOON)
    for back_fill in range(NOON - 9000, NOON - 3600, 60):
        clock.hear("mast", back_fill)
        clock.hear("other", back_fill)
        assert clock.doubt is None


def test_what_was_heard_long_ago_no_longer_counts() -> None:
    clock = JumpingClock(NOON)
    clock.hear("mast", NOON)
    clock.at += int(HEARD_FOR_S) + 1
    assert not clock.confirmed


STEPS = st.lists(
    st.tuples(
        st.sampled_from([1, 10, 60, 600, 3 * 3600]),
        st.sampled_from([0, 0, 30, 300, *JUMPS]),
    ),
    max_size=30,
)


@settings(suppress_health_check=[HealthCheck.too_slow], deadline=None)
@given(steps=STEPS, begins_wrong_by=st.sampled_from([0, *JUMPS]))
def test_with_one_station_to_tell_it_the_time_is_right_whatever_the_machine_says(
    steps: list[tuple[int, int]], begins_wrong_by: int
) -> None:
    """From the first moment at which the machine's clock was right."""
    clock = JumpingClock(NOON, wrong_by=begins_wrong_by)
    known = begins_wrong_by == 0
    for later, wrong_by in steps:
        clock.at += later
        clock.wrong_by = wrong_by
        clock.hear("mast", clock.at - 20)
        settle(clock)
        known = known or wrong_by == 0
        if known:
            assert abs(clock.now() - clock.at) <= 600  # a reading's own age cannot be told apart
        if known and abs(wrong_by) not in {30, 300}:
            assert clock.doubt is None or not clock.doubt.lost
