"""The story of a job whose wind rises, lived by the real service as a process, in earnest time.

A busy machine makes everything late, so its minute is as long as it is slow: ``patience``.
"""

import os
import re
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from tests.faults.invariants import WITHIN_S, Arrival, Fault, History, Reading, Span, Verdict, check
from tests.support import job_steps
from tests.support.receiver import Receiver
from tests.support.service_process import Service
from watcher.farm.load import load
from watcher.limits.farm_arrays import FarmArrays
from watcher.store import jobs
from watcher.store.database import Database

_SILENT_AFTER_S = 15 * 60.0
_MOST_PATIENCE = 3.0


class RealStory:
    """What happens to one running service, as the checker wants it told."""

    def __init__(self, service: Service, receiver: Receiver) -> None:
        self.service, self.receiver = service, receiver
        self._began = time.monotonic()
        self._load = 1.0
        self._plan = FarmArrays.of(load(service.folder / "farm.toml"))
        self.history = History(
            recipients=("grower",),
            wind_bound_mph=10.0,
            gust_bound_mph=15.0,
            silent_after_s=_SILENT_AFTER_S,
        )

    def now(self) -> float:
        """Seconds since the story began."""
        return time.monotonic() - self._began

    @property
    def patience(self) -> float:
        """How many seconds of this machine are one of a quiet one: by its load a core."""
        load = os.getloadavg()[0] / (os.cpu_count() or 1)
        self._load = min(max(self._load, load), _MOST_PATIENCE)
        return self._load

    def post(self, wind_mph: float = 5.0, gust_mph: float = 7.0) -> None:
        """The mast posts one reading until it is taken."""
        at = self.now()
        self.until(lambda: self._taken(wind_mph, gust_mph), "a reading was taken")
        self.history.readings.append(Reading(at, wind_mph, gust_mph))

    def _taken(self, wind_mph: float, gust_mph: float) -> bool:
        try:
            answered = self.service.post(wind=f"{wind_mph} mph", gust=f"{gust_mph} mph")
        except OSError:
            return False
        return answered in {200, 201, 202}

    def spray(self) -> None:
        """Begin a job beside the service, as the command line does; end the one there is."""
        log, now = Database(self.service.database), int(time.time())
        with log.writing() as session:
            for job in jobs.open_jobs(session):
                job_steps.finish(session, job.id, now)
            job_steps.start(session, self._plan, "hill", "coarse", now)
        log.close()
        self.history.sprayed.append(Span(self.now(), float("inf")))

    def got(self, beginning: str, since: float = 0.0) -> bool:
        """Whether a message with this beginning came since a moment of the story."""
        return any(
            push.title.startswith(beginning) and push.at - self._began >= since
            for push in self.receiver.got
        )

    def until(self, so: Callable[[], bool], what: str, within_s: float = WITHIN_S) -> None:
        """Wait until something is so; fails when that takes too long even for a slow machine."""
        begun = time.monotonic()
        while not so():
            took = time.monotonic() - begun
            assert took < within_s * self.patience, f"not in {took:.0f} s: {what}"
            time.sleep(0.05)

    @contextmanager
    def broken(self, what: str) -> Iterator[None]:
        """Something of this kind is broken meanwhile."""
        begun = self.now()
        try:
            yield
        finally:
            self.history.faults.append(Fault(what, Span(begun, self.now())))

    def kill(self) -> None:
        """SIGKILL the service and start it again."""
        with self.broken("watch"):
            self.service.kill()
            self.history.kills += 1
            self.service.start()

    def verdict(self) -> Verdict:
        """Check what happened, in seconds of a quiet machine.

        What was waited for has come: the minute in which it was due is over.
        """
        slow, found = self.patience, self.history
        end = self.now() + (WITHIN_S + 2) * slow
        found.sprayed = [Span(s.begin / slow, min(s.end, end) / slow) for s in found.sprayed]
        found.readings = [Reading(r.at / slow, r.wind_mph, r.gust_mph) for r in found.readings]
        found.faults = [
            Fault(f.what, Span(f.span.begin / slow, f.span.end / slow), f.settles_s)
            for f in found.faults
        ]
        found.arrivals = [
            Arrival((p.at - self._began) / slow, "grower", p.title, p.body)
            for p in self.receiver.got
        ]
        found.ends = end / slow
        return check(found)


def resident_mib(pid: int) -> float:
    """What a process and its children hold in memory, at most so far."""
    return sum(_peak_mib(each) for each in [pid, *children(pid)])


def _peak_mib(pid: int) -> float:
    try:
        found = re.search(r"VmHWM:\s+(\d+)", Path(f"/proc/{pid}/status").read_text())
    except OSError:
        return 0.0
    return int(found[1]) / 1024 if found else 0.0


def children(pid: int) -> list[int]:
    """The processes that a process has begun, and theirs."""
    found: list[int] = []
    for task in Path(f"/proc/{pid}/task").glob("*/children"):
        try:
            own = [int(number) for number in task.read_text().split()]
        except OSError:
            continue
        found += own + [number for each in own for number in children(each)]
    return found
