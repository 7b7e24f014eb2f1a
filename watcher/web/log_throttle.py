"""Log lines that anybody outside may cause: at most one a minute of a kind, with a count."""

import logging
import time
from collections.abc import Callable

import structlog

log = structlog.get_logger("watcher.web")

EVERY_S = 60.0
_MOST_KINDS = 200


class LogThrottle:
    """Says a thing the first time, and then how often it happened, once a minute at most."""

    def __init__(self, now: Callable[[], float] = time.monotonic) -> None:
        """``now`` tells the time in seconds from anywhere."""
        self._now = now
        self._said: dict[str, float] = {}
        self._times: dict[str, int] = {}

    def times(self, kind: str) -> int | None:
        """Note that a thing happened.

        Returns how often it did since that was last said, or None while it is not to be said.
        """
        if kind not in self._times and len(self._times) >= _MOST_KINDS:
            kind = "other"
        self._times[kind] = self._times.get(kind, 0) + 1
        now = self._now()
        if now - self._said.get(kind, -EVERY_S) < EVERY_S:
            return None
        self._said[kind] = now
        times, self._times[kind] = self._times[kind], 0
        return times

    def warn(self, event: str, kind: str = "", **values: object) -> None:
        """Write a warning of our own, if it is time to."""
        times = self.times(f"{event} {kind}")
        if times is not None:
            extra = {"kind": kind} if kind else {}
            log.warning(event, times=times, **extra, **values)


class LogThrottleFilter(logging.Filter):
    """Lets the libraries' log lines through as seldom."""

    def __init__(self, throttled: LogThrottle) -> None:
        super().__init__()
        self._throttled = throttled

    def filter(self, record: logging.LogRecord) -> bool:
        """Say whether a line is written; one that stands for several says for how many."""
        what = record.exc_info[0] if record.exc_info else None
        times = self._throttled.times(f"{record.name} {str(record.msg).splitlines()[:1]} {what}")
        if times is not None and times > 1:
            record.msg = f"{record.getMessage()} ({times} times)"
            record.args = None
        return times is not None
