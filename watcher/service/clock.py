"""The clock everything is told the time by: the wall's in earnest, a fast one in the demo."""

import time
from typing import Protocol


class Clock(Protocol):
    """Says what time it is, and how fast its time runs against the machine's."""

    @property
    def speed(self) -> float:
        """Seconds of this clock in one second of the machine."""
        ...

    def now(self) -> int:
        """Return the moment in whole epoch seconds."""
        ...


class WallClock:
    """The machine's own time."""

    speed = 1.0

    def now(self) -> int:
        """Return the moment in whole epoch seconds."""
        return int(time.time())


class SetClock:
    """A clock that stands where it is set, for going through past weather."""

    speed = 1.0

    def __init__(self, at: int) -> None:
        self.at = at

    def now(self) -> int:
        """Return the moment it is set to, in whole epoch seconds."""
        return self.at
