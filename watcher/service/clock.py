"""The clock everything has the time from: the wall's in earnest, a fast one in the demo."""

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Protocol

FOLLOWED_S = 60.0
"""By so much the machine's clock may be set at once without a question: nothing is sent, kept or
given up to the minute."""
LIVE_S = 600.0
"""The newest reading of a station that is heard just now is at most so old (no source)."""
AHEAD_S = 120.0
"""How far the clocks of others may run ahead (common practice, no source)."""
HEARD_FOR_S = 2 * 3600.0
"""So long the word of others about the time counts: a feed is asked about twice an hour."""
SETTLES_S = 900.0
"""Where nobody else tells the time, a clock that stands by its jump for so long is believed."""
LONG_OFF_S = 86_400
"""After a longer stop the date is not believed before somebody else confirms it (no source)."""
_EARLIEST = datetime(2025, 1, 1, tzinfo=UTC).timestamp()
"""No machine that runs this program is earlier: its clock was never set."""


class Clock(Protocol):
    """Says what time it is, and how fast its time runs against the machine's."""

    @property
    def speed(self) -> float:
        """Seconds of this clock in one second of the machine."""
        ...

    def now(self) -> int:
        """Return the moment in whole epoch seconds."""
        ...


@dataclass(frozen=True)
class Doubt:
    """The machine's clock and something else contradict each other by so many seconds.

    ``by_s`` is positive where the machine's clock, or what it was set by, is ahead. While ``lost``
    nobody knows which of them is right; else the watch knows, and goes on by its own time.
    """

    by_s: float
    lost: bool


@dataclass(frozen=True)
class _Heard:
    """What somebody else's clock said: its lead over the running clock, when that was heard."""

    ahead: float
    at: float
    within_s: float
    sure: bool

    def agrees(self, ahead: float) -> bool:
        return -AHEAD_S <= ahead - self.ahead <= self.within_s


class WallClock:
    """The machine's own time, without its jumps.

    It runs on a clock that nobody sets and that counts the time asleep, and follows the wall clock
    in small steps. A jump is not followed by itself: the times of stations and of feeds decide
    (``hear``), or that nobody else tells the time for a while. Whoever keeps times asks ``due``
    by how much it is to be set and sets it (``set``), once all that was kept is shifted.
    Safe to use from many threads.
    """

    speed = 1.0

    def __init__(
        self,
        wall: Callable[[], float] | None = None,
        running: Callable[[], float] | None = None,
    ) -> None:
        """``wall`` tells epoch seconds, ``running`` seconds of a clock that nobody sets."""
        self._wall, self._running = wall or _wall_s, running or _running_s
        self._lock = threading.Lock()
        began = self._running()
        self._ahead = self._wall() - began
        self._jump: tuple[float, float] | None = None  # the wall clock's lead now, and since when
        self._heard: dict[str, _Heard] = {}
        self._proven_by = began  # from then on the time at the start is taken for right
        self.since = int(self._wall())
        """The moment at which it began, as it tells the time now."""

    def now(self) -> int:
        """Return the moment in whole epoch seconds."""
        with self._lock:
            return int(self._look() + self._ahead)

    def not_before(self, known: int) -> None:
        """Begin no earlier than a moment that is known to have been, and doubt a much later one.

        A machine without a battery for its clock starts anywhere.
        """
        with self._lock:
            running = self._look()
            own = running + self._ahead
            if not -FOLLOWED_S <= own - known <= LONG_OFF_S:
                self._proven_by = running + SETTLES_S
            if own < known - FOLLOWED_S:
                self._ahead = known - running
                self.since = known
                self._look()

    def hear(self, who: str, at: float, *, within_s: float = LIVE_S, sure: bool = False) -> None:
        """Take somebody else's word for the time: ``at`` was at most ``within_s`` ago.

        ``sure`` for one whose clock is known to be kept right.
        """
        with self._lock:
            running = self._look()
            own = running + self._ahead
            if self._jump and running < self._proven_by and own < at <= own + AHEAD_S:
                self._ahead += at - own  # of the time the watch was off nothing else is known
            self._heard[who] = _Heard(at - running, running, within_s, sure)

    def hear_date(self, host: str, at: float, secure: bool) -> None:
        """Take the time a web server puts on its answers; sure where it has shown who it is."""
        self.hear(f"the feed at {host}", at, within_s=FOLLOWED_S, sure=secure)

    @property
    def doubt(self) -> Doubt | None:
        """What contradicts this clock or the machine's at the moment; None where all agree."""
        with self._lock:
            running = self._look()
            proven = self._agree(running, self._ahead)
            apart = None if proven else self._contradiction(running)
            if apart is not None:
                return Doubt(apart, lost=True)
            if self._jump is not None:
                # Of a clock set while the watch runs the time from before is known to go on.
                known = proven or self._proven_by <= running
                return Doubt(self._jump[0] - self._ahead, lost=not known)
            return Doubt(0.0, lost=True) if not proven and running < self._proven_by else None

    @property
    def confirmed(self) -> bool:
        """Whether somebody else's clock agreed with this one lately."""
        with self._lock:
            return self._agree(self._look(), self._ahead)

    def due(self) -> int:
        """Return by how many seconds this clock is to be set now; mostly zero."""
        with self._lock:
            running = self._look()
            if self._jump is None:
                return 0
            ahead, since = self._jump
            own, new = self._agree(running, self._ahead), self._agree(running, ahead)
            settled = running - since >= SETTLES_S and running + ahead >= _EARLIEST
            believed = new if own != new else settled
            return round(ahead - self._ahead) if believed else 0

    def set(self, by_s: int) -> None:
        """Set this clock by what ``due`` returned."""
        with self._lock:
            self._ahead += by_s
            self.since += by_s
            self._proven_by = self._look()

    def _look(self) -> float:
        """Follow the wall clock where it goes in small steps; returns the running clock's time."""
        running = self._running()
        ahead = self._wall() - running
        if abs(ahead - self._ahead) <= FOLLOWED_S:
            self._ahead, self._jump = ahead, None
        elif self._jump is None or abs(ahead - self._jump[0]) > FOLLOWED_S:
            self._jump = (ahead, running)
        return running

    def _agree(self, running: float, ahead: float) -> bool:
        return any(h.agrees(ahead) for h in self._lately(running))

    def _lately(self, running: float) -> list[_Heard]:
        return [h for h in self._heard.values() if running - h.at <= HEARD_FOR_S]

    def _contradiction(self, running: float) -> float | None:
        """By how much others say that this clock is ahead: one that is sure, or two that agree.

        A reading may be old; one from the future is never right.
        """
        apart = [
            (self._ahead - h.ahead, h.sure)
            for h in self._lately(running)
            if not h.agrees(self._ahead) and (h.within_s < LIVE_S or h.ahead > self._ahead)
        ]
        for by_s, sure in apart:
            if sure or sum(abs(other - by_s) <= LIVE_S for other, _ in apart) > 1:
                return by_s
        return None


class SetClock:
    """A clock that stands where it is set, for going through past weather."""

    speed = 1.0

    def __init__(self, at: int) -> None:
        self.at = at

    def now(self) -> int:
        """Return the moment it is set to, in whole epoch seconds."""
        return self.at


def _wall_s() -> float:
    return time.time()


def _running_s() -> float:
    """Seconds of a clock that nobody sets; where the system has one, it counts the time asleep."""
    boot = getattr(time, "CLOCK_BOOTTIME", None)
    return time.monotonic() if boot is None else time.clock_gettime(boot)
