"""A machine whose clock can be wrong, beside the time as it truly is."""

from watcher.service.clock import WallClock


class JumpingClock(WallClock):
    """The watch's clock on such a machine. ``at`` is the true time, epoch seconds.

    ``wrong_by`` is how far the machine's clock is ahead of it; time asleep counts as any other.
    """

    def __init__(self, at: int, wrong_by: int = 0) -> None:
        self.at, self.wrong_by = at, wrong_by
        super().__init__(wall=lambda: self.at + self.wrong_by, running=lambda: float(self.at - at))
