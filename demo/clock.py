"""A clock that runs fast, and waits for everybody to keep up."""


class FastClock:
    """Goes in steps, and stands between them until it is moved on. Epoch seconds.

    So what takes the machine a while, judging a reading or delivering a message, takes no time on
    this clock, and the day is the same on a slow machine.
    """

    speed = 120.0
    """Seconds of this clock in one second of the machine, about, where its steps are smallest."""

    def __init__(self, start: int) -> None:
        self._at = start

    def now(self) -> int:
        """Return the moment it stands at."""
        return self._at

    def move_on(self, to: int) -> None:
        """Move on to a later moment."""
        self._at = max(self._at, to)
