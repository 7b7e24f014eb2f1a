"""The grower: looks at the ranking, starts a job, and does what the phone says."""

from collections.abc import Sequence
from dataclasses import dataclass

from demo import day
from demo.phone import Push
from demo.screen import Screen, clock
from watcher.i18n.message import plain_name
from watcher.jobs.steps import StepName, StepRequest, sprayed_s
from watcher.limits.status import Status
from watcher.messages.chances import basis, tenths
from watcher.messages.words import span
from watcher.service.watch import Watch
from watcher.store.tables import Job

_WHO = "grower"
_STARTS_AT = (day.at(9.5), day.at(18.75))
WEIGHS_AT = day.at(12)
"""When the next job is weighed by its chance: the forecast calls it open to its end."""
_GOOD_CHANCE = 0.5


@dataclass(frozen=True)
class _Left:
    """A job that was left for its chance."""

    field: str
    setup: str
    ends_at: int


class Grower:
    """One grower with one sprayer. Jobs are booked through the log, as every edge does it."""

    def __init__(self, watch: Watch, screen: Screen) -> None:
        self._watch, self._screen = watch, screen
        self._starts = list(_STARTS_AT)
        self._been_on: set[str] = set()
        self._job: Job | None = None
        self._left: _Left | None = None

    async def looks(self, now: int, heard: Sequence[Push]) -> None:
        """Do what is to be done at this moment, after these messages."""
        titles = [push.title for push in heard]
        job = self._job
        self._see_what_came(now)
        if now == WEIGHS_AT and job is None:
            await self._weigh(now)
            return
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

    async def _weigh(self, now: int) -> None:
        """Look at the next job and its chance, and begin it if that is good."""
        snapshot, known = self._watch.snapshot, self._watch.transactions.chances
        ranked = snapshot.ranking.spray if snapshot else ()
        first = next((f for f in ranked if f.field not in self._been_on), None)
        if first is None or first.setup is None or known is None:
            return
        chance = known.now(first.field, first.setup, now, first.status)
        where = plain_name(first.field)
        if chance is None or chance.chance is None or chance.chance >= _GOOD_CHANCE:
            await self._start(now)
            return
        self._left = _Left(first.field, first.setup, now + round(first.duration_s))
        until = "" if first.breaks_at is None else f" until {clock(first.breaks_at)}"
        self._screen.happens(
            now,
            f"The grower looks at {where}: the forecast calls it open{until}, a job of "
            f"{span(first.duration_s)} would fit. But {tenths(chance.chance)} that it holds to "
            f"{clock(self._left.ends_at)} ({basis(chance.past_forecasts)}). Leaves it.",
        )

    def _see_what_came(self, now: int) -> None:
        """Tell when a job that was left would have been stopped."""
        snapshot, left = self._watch.snapshot, self._left
        if snapshot is None or left is None:
            return
        judgement, at = snapshot.judgement, snapshot.timeline.now_index
        plan = judgement.plan
        case = plan.fields.index(left.field), plan.setups.index(left.setup), at
        if now > left.ends_at:
            self._left = None
        elif judgement.instant[case] == Status.UNSUITABLE:
            self._left = None
            short = span(left.ends_at - now)
            self._screen.happens(
                now,
                f"{plain_name(left.field)} would have to stop now, {short} short of its end: "
                "the chance saved a job that the forecast would have begun.",
            )

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
        snapshot = self._watch.snapshot
        ranked = snapshot.ranking.spray if snapshot else ()
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
