"""Posts that were refused since they were last put in the log: counted, never kept one by one."""

import threading
from collections.abc import Collection, Iterable

from watcher.store.refused import NO_STATION, Refused
from watcher.store.tables import RefusedFor

_LONGEST_WHY = 200


class Refusals:
    """Counts by station and reason. Safe to use from many threads; of bounded size."""

    def __init__(self, stations: Collection[str]) -> None:
        self._stations = frozenset(stations)
        self._counted: dict[tuple[str, RefusedFor], Refused] = {}
        self._lock = threading.Lock()

    def use(self, stations: Collection[str]) -> None:
        """Know other stations from now on."""
        self._stations = frozenset(stations)

    def note(self, station: str, what: RefusedFor, at: int, why: str, address: str) -> bool:
        """Count a refused post; returns whether it is the first one since the last ``take``.

        Of a name that no station has, the name is what is remembered of why.
        """
        if station not in self._stations:
            station, why = NO_STATION, station
        one = Refused(station, what, 1, at, why[:_LONGEST_WHY], (address,))
        with self._lock:
            first = (station, what) not in self._counted
            self._add([one])
        return first

    def take(self) -> list[Refused]:
        """Return what was counted, and begin anew."""
        with self._lock:
            taken, self._counted = list(self._counted.values()), {}
        return taken

    def put_back(self, taken: Iterable[Refused]) -> None:
        """Count in again what could not be kept."""
        with self._lock:
            since, self._counted = list(self._counted.values()), {}
            self._add([*taken, *since])

    def _add(self, refused: Iterable[Refused]) -> None:
        for one in refused:
            before = self._counted.get((one.source, one.what))
            self._counted[one.source, one.what] = before.and_then(one) if before else one
