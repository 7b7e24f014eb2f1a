"""Sources that are not asked for a while, because what they send breaks what reads it."""

from dataclasses import dataclass, field

BREAKS = 2
"""So many in a row, and a source is left out."""
FIRST_S = 900
LONGEST_S = 6 * 3600
"""How long a source is left out at first, doubled each time, and at the longest (no source)."""


@dataclass
class _Broken:
    in_a_row: int = 0
    since: int = 0
    until: int = 0


@dataclass
class LeftOut:
    """Which sources are left out, and until when. Of this run only: after a start all are asked."""

    _broken: dict[str, _Broken] = field(default_factory=dict)

    def broke(self, source: str, now: int) -> int | None:
        """Note that what a source sent broke its reader; returns until when it is left out."""
        broken = self._broken.setdefault(source, _Broken())
        broken.in_a_row += 1
        if broken.in_a_row < BREAKS:
            return None
        doublings = min(broken.in_a_row - BREAKS, 16)
        broken.since, broken.until = now, now + min(LONGEST_S, FIRST_S * 2**doublings)
        return broken.until

    def answered(self, source: str) -> None:
        """Note that a source gave a good answer: nothing is held against it any more."""
        self._broken.pop(source, None)

    def wait_s(self, source: str, now: int) -> int:
        """Return how much longer a source is left out, 0 if it is not.

        A clock that was set back ends it: else it might be left out for good.
        """
        broken = self._broken.get(source)
        if broken is None or now < broken.since:
            return 0
        return max(0, broken.until - now)
