"""Keeps what the watch remembers right when the machine's clock is found to be wrong.

The watch goes on by its own time over a jump of the machine's clock (``WallClock``). Where the
times of stations and feeds show that the new one is right, all that was kept is shifted with it;
while nobody knows the time, nothing is judged and that is said.
"""

from dataclasses import dataclass, field

import structlog
from sqlalchemy.orm import Session

from watcher.alerts import condition_states, watch_runs
from watcher.alerts.enqueue import Enqueue
from watcher.service.clock import FOLLOWED_S, LONG_OFF_S, Clock, Doubt, WallClock
from watcher.store import outbox, runs, shifting
from watcher.store.database import Database
from watcher.store.tables import WatchRun

log = structlog.get_logger("watcher.service")

_TOLD_AFTER_S = 60
"""A doubt at the start is mostly over in a moment: the first feed answers."""


@dataclass
class Timekeeper:
    """The clock of one running watch, and what is said of it."""

    clock: Clock
    post: Enqueue
    _doubted: Doubt | None = field(default=None, init=False)
    _doubted_since: int = field(default=0, init=False)
    _unsaid_start: WatchRun | None = field(default=None, init=False)
    _long_off: bool = field(default=False, init=False)

    def begin(self, session: Session, *, tell: bool = True) -> int:
        """Note that the watch runs from now on; returns the number of this run.

        When nobody watched is said once the time is known, unless ``tell`` is false.
        """
        before = runs.last(session)
        if before is not None and isinstance(self.clock, WallClock):
            self.clock.not_before(before.last_alive_at)
        now = self.clock.now()
        self._long_off = before is not None and abs(now - before.last_alive_at) > LONG_OFF_S
        if self.lost:
            self._unsaid_start = before if tell else None
        elif tell:
            watch_runs.tell_start(session, self.post, now)
        return runs.begin(session, now)

    @property
    def doubt(self) -> Doubt | None:
        """What contradicts the watch's time; None while nothing does."""
        return self.clock.doubt if isinstance(self.clock, WallClock) else None

    @property
    def lost(self) -> bool:
        """Whether nobody knows what time it is."""
        doubt = self.doubt
        return doubt is not None and doubt.lost

    @property
    def dated(self) -> bool:
        """Whether the date is certain enough to let old readings go by it.

        After a long stop it is not before somebody else confirms it.
        """
        confirmed = not isinstance(self.clock, WallClock) or self.clock.confirmed
        return not self.lost and (confirmed or not self._long_off)

    def hear(self, source: str, newest: int) -> None:
        """Take the time of a station's newest reading, by its own clock, as word of the time."""
        if isinstance(self.clock, WallClock):
            self.clock.hear(source, newest)

    def contradicted(self, source: str, at: float) -> bool:
        """Hear a time that cannot be; returns whether it is this clock that may be wrong.

        A time from before there was any such clock is the station's own mistake.
        """
        if not isinstance(self.clock, WallClock) or at <= self.clock.now():
            return False
        self.clock.hear(f"{source}, refused", at)
        return not self.clock.confirmed

    def set_right(self, store: Database) -> bool:
        """Set the clock where it is to be set, and all that was kept with it; returns whether."""
        clock = self.clock
        if not isinstance(clock, WallClock) or not (by_s := clock.due()):
            return False
        now = clock.now()
        log.warning("the clock is set; what was kept is shifted", by_s=by_s)
        with store.writing() as session:
            shifting.shift(session, clock.since, now, by_s)
            # Worded by the wrong clock: whatever is still so is worded anew.
            waiting = [
                k for s in condition_states.load(session).values() for k in s.messages.values()
            ]
            outbox.supersede(session, waiting, since=clock.since + by_s)
            watch_runs.tell_clock_set(session, self.post, now + by_s, by_s)
        clock.set(by_s)
        return True

    def look(self, session: Session) -> bool:
        """Say what is to be said of the clock; returns whether the time is known."""
        doubt, now = self.doubt, self.clock.now()
        if doubt is None:
            self._doubted = None
        elif self._doubted is None or abs(doubt.by_s - self._doubted.by_s) > FOLLOWED_S:
            self._doubted, self._doubted_since = doubt, now
            log.warning("the clock is in doubt", by_s=round(doubt.by_s), lost=doubt.lost)
        if doubt is not None and doubt.lost:
            if now - self._doubted_since >= _TOLD_AFTER_S:
                since = self._doubted_since
                watch_runs.tell_time_unknown(session, self.post, now, doubt.by_s, since)
            return False
        if doubt is not None:
            since = self._doubted_since
            watch_runs.tell_clock_jump(session, self.post, now, doubt.by_s, since)
        if self._unsaid_start is not None:
            watch_runs.tell_start(session, self.post, now, self._unsaid_start)
            self._unsaid_start = None
        return True
