"""The grower: looks at the ranking, starts a job, and does what the phone says."""

from collections.abc import Callable, Sequence

from sqlalchemy.orm import Session

from demo import day
from demo.phone import Push
from demo.screen import Screen
from watcher.alerts.wording.words import name, span
from watcher.jobs import book
from watcher.jobs.watch import sprayed_s
from watcher.service.watch import Watch
from watcher.store import jobs
from watcher.store.tables import Job

_STARTS_AT = (day.at(9.5), day.at(18.75))


class Grower:
    """One grower with one sprayer. Jobs are booked through the log, as every edge does it."""

    def __init__(self, watch: Watch, screen: Screen) -> None:
        self._watch, self._screen = watch, screen
        self._starts = list(_STARTS_AT)
        self._been_on: set[str] = set()
        self._job: Job | None = None

    async def looks(self, now: int, heard: Sequence[Push]) -> None:
        """Do what is to be done at this moment, after these messages."""
        heads = {push.title.partition(":")[0] for push in heard}
        job = self._job
        if job is None:
            if self._starts and now >= self._starts[0]:
                await self._start(now)
        elif job.state == "running" and "Stop" in heads:
            await self._change(now, "stops and waits", lambda s: jobs.pause(s, job.id, now))
        elif job.state == "paused" and "All clear" in heads:
            await self._change(now, "goes on", lambda s: jobs.resume(s, job.id, now))
        elif sprayed_s(job, now) >= job.planned_s:
            await self._change(now, "is done", lambda s: jobs.finish(s, job.id, now))
            self._job = None

    async def goes_home(self, now: int) -> None:
        """Leave what is not done for another day."""
        job = self._job
        if job is not None:
            what = "leaves the rest for another day"
            await self._change(now, what, lambda s: jobs.abandon(s, job.id, now, what))
            self._job = None

    async def _start(self, now: int) -> None:
        picture, plan = self._watch.picture, self._watch.book.plan
        ranked = picture.ranking.spray if picture else ()
        first = next((f for f in ranked if f.field not in self._been_on), None)
        if first is None or first.setup is None:
            return
        field, setup = first.field, first.setup
        del self._starts[0]
        self._been_on.add(field)
        what = f"starts with {name(setup)}, about {span(first.duration_s)}"
        await self._change(now, what, lambda s: book.start(s, plan, field, setup, now))

    async def _change(self, now: int, what: str, change: Callable[[Session], Job]) -> None:
        def write() -> Job:
            with self._watch.book.store.writing() as session:
                return change(session)

        self._job = await self._watch.in_log(write)
        self._screen.happens(now, f"The grower on {name(self._job.field)}: {what}.")
