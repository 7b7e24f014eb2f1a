"""Judging and telling while the log cannot be used: the same program on a small log in memory.

While all is well the small log is filled, behind every judgement, with what judging running jobs
takes. In an outage the watch takes in, judges and delivers with it, and gives back what came about
once the log can be used again. It is kept in a file, so that it outlives the process.
"""

import asyncio
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from typing import TypeVar

import structlog

from watcher.alerts import condition_states, watch_trouble
from watcher.alerts.watch_trouble import Trouble
from watcher.delivery.worker import DeliveryWorker
from watcher.farm.feeds import foretells, observes
from watcher.farm.models import FarmFile, Topic
from watcher.jobs.wind_nowcast import LOOKS_BACK_S
from watcher.judge.timeline import MEAN_S
from watcher.limits.farm_arrays import FarmArrays
from watcher.messages.watch import cannot_judge
from watcher.service.snapshot import Snapshot
from watcher.service.transactions import Transactions
from watcher.store import handover, runs
from watcher.store.handover import Wanted
from watcher.store.kept_file import KeptFile
from watcher.store.standby import StandbyLog

log = structlog.get_logger("watcher.service")
T = TypeVar("T")

_COPIED_WITHIN_S = 3.0
_JUDGED_WITHIN_S = 10.0
_DONE_WITHIN_S = 5.0
_KEPT_EVERY_S = 300
_OLD_S = 2 * 3600
"""What was kept longer ago says nothing of who sprays now."""
_LONGEST_JOB_S = 3 * 86_400
_REST_S = 30.0
_INSIST_S = 1500.0


class StuckError(Exception):
    """An earlier judgement from memory has not come back."""


class NotInUseError(Exception):
    """The log can be used again: what was to be done in memory belongs there."""


class Standby:
    """Stands in for a log that cannot be used. Everything asynchronous ends within its bound."""

    def __init__(
        self, transactions: Transactions, delivery: DeliveryWorker, file: KeptFile | None = None
    ) -> None:
        """``transactions`` and ``delivery`` are those of the log itself."""
        self.log = StandbyLog()
        self.transactions = Transactions(
            transactions.plan,
            self.log,
            transactions.clock,
            links=transactions.links,
            subscribed=transactions.subscribed,
            stands_in=True,
        )
        self.transactions.intake = (
            transactions.intake
        )  # it remembers more of every station than a log would tell
        self.delivery = delivery.over(self.log)
        self.delivery.pause()
        self.knows_jobs = False
        """Whether it was ever filled: else nobody knows who is spraying."""
        self.unfinished = False
        """Whether it holds what an outage of an earlier process left behind."""
        self._main, self._file = transactions, file
        self._wanted = _wanted(transactions.plan.farm.config)
        self._copied_at = 0
        self.taken_over = False
        """Whether it has begun to judge in place of the log."""
        self.turn = asyncio.Lock()
        """Held by whatever changes it: what is given back must be all there is."""
        self._in_use = False
        self._kept_at: int | None = None
        self._kept_in_use = False
        self._kept_changes = -1
        self._given_until = 0
        self._copier, self._judge, self._worker = (
            ThreadPoolExecutor(1, thread_name_prefix=f"standby {name}")
            for name in ("copies", "judges", "works")
        )
        self._judging: Future[Snapshot] | None = None
        self._direct: asyncio.Task[int] | None = None

    def use_farm(self, plan: FarmArrays) -> None:
        """Stand in with another farm from now on."""
        intake = self.transactions.intake
        self.transactions.use(plan)
        self.transactions.intake = intake  # it is shared
        self._wanted = _wanted(plan.farm.config)

    async def begin(self) -> None:
        """Take the file's room, and take up what an earlier process left in it."""
        await self._quietly(self._worker, self._load, _DONE_WITHIN_S)

    async def copy(self) -> None:
        """Copy what judging takes from the log, while that can be read."""
        await self._quietly(self._copier, self._copy, _COPIED_WITHIN_S)

    def use(self) -> None:
        """Stand in for the log from now on; it judges once it has taken over."""
        self._in_use = True

    async def take_over(self) -> None:
        """Begin to judge in place of the log, with the newest that can still be read of it."""
        if self.taken_over:
            return
        async with self.turn:
            if not self.unfinished:
                await self.copy()
            self.taken_over = True
            await self._quietly(self._worker, self._begin_run, _DONE_WITHIN_S)
        self.delivery.resume()

    async def judge(self) -> Snapshot:
        """Judge from memory. Raises what the judgement raises, or any of the errors of ``do``.

        Raises StuckError while an earlier judgement has not come back.
        """
        if self._judging is not None and not self._judging.done():
            raise StuckError
        async with self.turn:
            self._judging = self._begun(self._judge, self.transactions.judge)
            snapshot = await _within(self._judging, _JUDGED_WITHIN_S)
        self.delivery.wake()
        return snapshot

    async def do(self, work: Callable[[Transactions], T]) -> T:
        """Do in memory what else would be done in the log.

        Raises what it raises, NotInUseError once the log is used again, and TimeoutError.
        """
        async with self.turn:
            return await _within(self._begun(self._worker, work, self.transactions), _DONE_WITHIN_S)

    def _begun(
        self, threads: ThreadPoolExecutor, work: Callable[..., T], *args: object
    ) -> Future[T]:
        if not self._in_use:
            raise NotInUseError
        return threads.submit(work, *args)

    async def tell(self, trouble: Trouble) -> None:
        """Tell what is wrong; where even memory is held up, past every outbox."""
        try:
            await self.do(lambda transactions: transactions.tell_trouble(trouble))
        except NotInUseError:
            log.info("the trouble is over")
        except Exception as error:
            log.error("the trouble cannot be sent in order; sending it directly", why=repr(error))
            self._tell_directly(trouble)
        else:
            self.delivery.wake()

    async def keep(self) -> None:
        """Keep what it holds in its file, if that has changed."""
        await self._quietly(self._worker, self._keep, _DONE_WITHIN_S)

    async def keep_sometimes(self) -> None:
        """Keep it if that was long ago, or was in an outage that is over."""
        now = self.transactions.clock.now()
        if self._kept_in_use or self._kept_at is None or now - self._kept_at >= _KEPT_EVERY_S:
            await self.keep()

    async def rest(self) -> None:
        """Take up no further message, and wait for those that are being sent."""
        self.delivery.pause()
        await self.delivery.rest(_REST_S)

    def give_readings_back(self) -> None:
        """Write the readings of a long outage into the log, while judging goes on. Blocking.

        Raises LogError where the log still cannot be used.
        """
        now = self.transactions.clock.now()
        with self.log.reading() as own:
            given = handover.given_back(own, self._copied_at, received_from=self._given_until)
        with self._main.store.writing() as session:
            handover.take_readings_back(session, given)
        self._given_until = now

    def give_back(self) -> None:
        """Write into the log what else came about meanwhile, all in one transaction. Blocking.

        Raises LogError where the log still cannot be used; nothing is lost then.
        """
        with self.log.reading() as own:
            given = handover.given_back(own, self._copied_at, received_from=self._given_until)
            states = condition_states.load(own)
        now = self.transactions.clock.now()
        with self._main.store.writing() as session:
            run = handover.take_back(session, given)
            before = condition_states.load(session)
            # What was never known here is not over for that.
            condition_states.save(
                session, before, states if self.knows_jobs else before | states, now
            )
        if self._main.run_id is None and self.transactions.run_id is not None:
            self._main.run_id = run
        self._main.was_troubled()

    def give_back_unfinished(self) -> None:
        """Write into the log what an earlier process could not, unless the log knows better."""
        if not self.unfinished:
            return
        with self._main.store.reading() as session:
            newest = runs.last(session)
            seen_at = 0 if newest is None else newest.seen_at
        if seen_at <= self._seen_at():
            self.give_back()
        self.unfinished = False

    def given_back(self) -> None:
        """Stand in no longer."""
        self._in_use = self.taken_over = self.unfinished = False
        self._given_until = 0
        if self._direct is not None:
            self._direct.cancel()  # it is no longer true

    def close(self) -> None:
        """Let the threads go; one that hangs is not waited for."""
        for threads in (self._copier, self._judge, self._worker):
            threads.shutdown(wait=False, cancel_futures=True)

    def _seen_at(self) -> int:
        with self.log.reading() as own:
            run = runs.last(own)
        return 0 if run is None else run.seen_at

    def _load(self) -> None:
        if self._file is None:
            return
        kept = self._file.read()
        if kept is not None and self.log.unpack(kept):
            with self.log.reading() as own:
                self.unfinished = watch_trouble.remembered(own)
            self.knows_jobs = self.transactions.clock.now() - self._seen_at() <= _OLD_S
        self._file.reserve()

    def _copy(self) -> None:
        now = self.transactions.clock.now()
        with self._main.store.reading() as session:
            copy = handover.copied(session, self._wanted, now)
        with self.log.writing() as own:
            if self.taken_over or self.unfinished:
                return  # what came about in memory is newer
            handover.fill(own, copy)
        self._copied_at, self.knows_jobs = now, True

    def _begin_run(self) -> None:
        if self._main.run_id is not None and self._copied_at:
            self.transactions.run_id = self._main.run_id
        elif self.transactions.run_id is None:
            self.transactions.begin()

    def _keep(self) -> None:
        if self._file is None:
            return
        in_use, changes = self._in_use, self.log.changes()
        if changes != self._kept_changes:
            self._file.write(self.log.packed())
            self._kept_changes = changes
        self._kept_at, self._kept_in_use = self.transactions.clock.now(), in_use

    def _tell_directly(self, trouble: Trouble) -> None:
        if self._direct is None or self._direct.done():
            now = self.transactions.clock.now()
            text = cannot_judge(self.transactions.post.speaker, trouble.why, now, now)
            self._direct = asyncio.create_task(
                self.delivery.tell_directly(text, Topic.JOB, until_s=_INSIST_S)
            )

    async def _quietly(
        self, threads: ThreadPoolExecutor, work: Callable[[], None], within_s: float
    ) -> None:
        """Do what the watch can go on without; one that still hangs is not begun again."""
        try:
            await _within(threads.submit(work), within_s)
        except Exception as error:
            name = getattr(work, "__name__", "work").strip("_")
            log.warning("the standby failed", at=name, why=repr(error))


async def _within(work: Future[T], within_s: float) -> T:
    """Wait for a thread's work. It is not stopped by a TimeoutError, unless it has not begun."""
    waiting = asyncio.wrap_future(work)
    async with asyncio.timeout(within_s):
        return await waiting


def _wanted(config: FarmFile) -> Wanted:
    stations = {name: entry for name, entry in config.sources.items() if observes(entry)}
    longest = max((entry.silent_after for entry in stations.values()), default=0.0)
    return Wanted(
        stations=list(stations),
        feeds=[name for name, entry in config.sources.items() if foretells(entry)],
        readings_s=int(max(2 * LOOKS_BACK_S, longest + MEAN_S)),
        jobs_s=int(max(plan.done_for for plan in config.fields.values())) + _LONGEST_JOB_S,
    )
