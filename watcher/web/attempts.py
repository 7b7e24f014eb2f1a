"""How often somebody may try to come in."""

from collections import deque
from math import inf

WITHIN_S = 900
FROM_ONE_PLACE = 8
IN_ALL = 40
"""Wrong attempts within a quarter of an hour, from one address and from everywhere."""


class Attempts:
    """Counts wrong attempts, by address and in all; forgets those that are long ago."""

    def __init__(self) -> None:
        self._wrong: dict[str, deque[int]] = {}

    def wait_s(self, address: str, now: int) -> int:
        """Return how long this address must wait until it may try; 0 for not at all."""
        self._forget(now)
        mine = self._wrong.get(address, ())
        everyone = sorted(at for times in self._wrong.values() for at in times)
        free_at = max(_free_at(mine, FROM_ONE_PLACE), _free_at(everyone, IN_ALL))
        return max(0, int(free_at - now)) if free_at > -inf else 0

    def wrong(self, address: str, now: int) -> None:
        """Note an attempt that failed."""
        self._wrong.setdefault(address, deque(maxlen=FROM_ONE_PLACE)).append(now)

    def _forget(self, now: int) -> None:
        for address, times in list(self._wrong.items()):
            while times and times[0] <= now - WITHIN_S:
                times.popleft()
            if not times:
                del self._wrong[address]


def _free_at(times: "deque[int] | list[int] | tuple[()]", most: int) -> float:
    """When the oldest of the newest ``most`` attempts is forgotten; never full: minus infinity."""
    return times[len(times) - most] + WITHIN_S if len(times) >= most else -inf
