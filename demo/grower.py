"""The grower: looks at the ranking, starts a job, and does what the phone says."""

from collections.abc import Sequence

from demo import day
from demo.phone import Push
from demo.screen import Screen
from watcher.i18n.message import plain_name
from watcher.jobs.steps import StepName, StepRequest, sprayed_s
from watcher.messages.words import span
from watcher.service.watch import Watch
from watcher.store.tables import Job

_WHO = "grower"
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
        titles = [push.title for push in heard]
        job = self._job
        if job is None:
            if self._starts and now >= self._starts[0]:
                await self._start(now)
        elif job.state == "running" and any(t.startswith("Stop ") for t in titles):
            await self._change(
                now, "stops and waits", StepRequest(StepName.PAUSE, _WHO, job=job.id)
            )
        elif job.state == "paused" and any(t.startswith("All clear ") for t in titles):
            await self._change(now, "goes on", StepRequest(StepName.RESUME, _WHO, job=job.id))
        elif sprayed_s(job, now) >= job.planned_s:
            await self._change(now, "is done", StepRequest(StepName.FINISH, _WHO, job=job.id))
            self._job = None

    async def goes_home(self, now: int) -> None:
        """Leave what is not done for another day."""
        job = self._job
        if job is not None:
            what = "leaves the rest for another day"
            await self._change(
                now, what, StepRequest(StepName.ABANDON, _WHO, job=job.id, note=what)
            )
            self._job = None

    async def _start(self, now: int) -> None:
        picture = self._watch.picture
        ranked = picture.ranking.spray if picture else ()
        first = next((f for f in ranked if f.field not in self._been_on), None)
        if first is None or first.setup is None:
            return
        field, setup = first.field, first.setup
        del self._starts[0]
        self._been_on.add(field)
        what = f"starts with {plain_name(setup)}, about {span(first.duration_s)}"
        await self._change(now, what, StepRequest(StepName.START, _WHO, field=field, setup=setup))

    async def _change(self, now: int, what: str, step: StepRequest) -> None:
        self._job = (await self._watch.take_step(step)).job
        if self._job is not None:
            self._screen.happens(now, f"The grower on {plain_name(self._job.field)}: {what}.")
