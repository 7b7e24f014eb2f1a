"""What anybody may cause to be logged is logged once a minute, with a count."""

import logging

import pytest
import structlog

from watcher.web.log_throttle import EVERY_S, LogThrottle, LogThrottleFilter


class _Time:
    def __init__(self) -> None:
        self.at = 1000.0

    def __call__(self) -> float:
        return self.at


def test_a_thing_is_said_at_once_and_then_once_a_minute_with_a_count() -> None:
    time = _Time()
    throttled = LogThrottle(time)
    with structlog.testing.capture_logs() as said:
        for _ in range(1000):
            throttled.warn("connections closed", "silent")
        time.at += EVERY_S
        throttled.warn("connections closed", "silent")
    assert [line["times"] for line in said] == [1, 1000]


def test_kinds_are_counted_by_themselves() -> None:
    throttled = LogThrottle(_Time())
    with structlog.testing.capture_logs() as said:
        for kind in ("silent", "slow", "silent", "slow"):
            throttled.warn("connections closed", kind)
    assert [line["kind"] for line in said] == ["silent", "slow"]


def test_kinds_without_number_do_not_fill_the_memory() -> None:
    throttled = LogThrottle(_Time())
    said = sum(throttled.times(str(number)) is not None for number in range(10_000))
    assert said < 300


def test_a_library_that_repeats_itself_is_cut_short(caplog: pytest.LogCaptureFixture) -> None:
    time = _Time()
    logger = logging.Logger("library")
    logger.addFilter(LogThrottleFilter(LogThrottle(time)))
    logger.addHandler(caplog.handler)
    for number in range(50):
        logger.error("no room for %s", number)
    time.at += EVERY_S
    logger.error("no room for %s", "more")
    assert caplog.messages == ["no room for 0", "no room for more (50 times)"]
