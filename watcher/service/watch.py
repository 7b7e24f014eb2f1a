"""The running watch: asks the sources, judges as soon as something is new, sends what is due.

All work on the log and the judgement runs on one worker thread, so a judgement never overlaps
itself or a write; the event loop stays free for stations, feeds and the phone.

Where the log cannot be used, or does not come back in time, the watch goes on with one in memory
(``standby.py``) until it can: an outage. Whatever else a judgement raises is alerted too.
"""

import asyncio
import contextlib
import os
import threading
import time
from collections.abc import Callable, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import partial
from typing import Any, TypeVar

import structlog
from apscheduler.events import EVENT_JOB_ERROR, EVENT_JOB_MAX_INSTANCES, EVENT_JOB_MISSED
from apscheduler.schedulers.asyncio import AsyncIOScheduler

from watcher.alerts.watch_trouble import Trouble
from watcher.delivery.heartbeat import Heartbeat
from watcher.delivery.worker import DeliveryWorker
from watcher.jobs.commands import StepTaken
from watcher.jobs.steps import StepName, StepRequest
from watcher.limits.farm_arrays import FarmArrays
from watcher.service import systemd
from watcher.service.chances import ChanceKeeper
from watcher.service.day_plan import PlanKeeper
from watcher.service.farm_in_use import FarmInUse
from watcher.service.health import Health
from watcher.service.left_out import LeftOut
from watcher.service.logs import trace
from watcher.service.looking import Looking
from watcher.service.snapshot import Snapshot
from watcher.service.standby import NotInUseError, Standby
from watcher.service.transactions import Posted, Transactions
from watcher.source_view import SourceView
from watcher.sources.base import Observations, Polled, PolledSource, SourceError, StreamedSource
from watcher.sources.body_reader import BodyReader, BrokenReadError, InPlace, shortened
from watcher.sources.stations.bad_reading import BadReadingError
from watcher.store.errors import LogBusyError, LogDamagedError, LogError, LogSettingsError
from watcher.store.kept_file import KeptFile
from watcher.store.tables import RefusedFor

log = structlog.get_logger("watcher.service")
T = TypeVar("T")
Heard = asyncio.Queue[Observations | SourceError]

_CYCLE_EVERY_S = 30.0
"""A judgement at least this often, for what changes by itself: ages, the sun, the hour."""
_RECORDS_EVERY_S = 300.0
_TENDED_EVERY_S = 60.0
_SUPERVISE_EVERY_S = 10.0
_JUMP_S = 5.0
_FARM_EVERY_S = 5.0
"""How often the farm's files are looked at: whether a hand has changed them."""
_CHANCES_EVERY_S = 60.0
"""How often it is asked whether chances are due."""
_PLAN_EVERY_S = 10.0
"""How often it is asked whether a plan is due."""
_LOG_WAIT_S = 1.0
_ANSWERED_WITHIN_S = 3.0
"""So long a station's answer waits for the judgement of what it posted. [machine s]"""
_LOG_WITHIN_S = 15.0
"""What takes longer in the log counts as a log that cannot be used. [machine s]"""
_COPY_AFTER_S = 1.0
_COPY_EVERY_S = 5.0
_FAULTS_TOLD = 2
"""Judgements in a row that fail: one alone may be a hiccup."""
_FAULT_WAIT_S = 1.0
_LONGEST_FAULT_WAIT_S = 30.0
_MOST_HEARD = 2000
"""Readings of a station that may wait for the log: more than a day of one a minute."""
_HEARD_AGAIN_S = 5.0
_TRIED_WITHIN_S = 3.0
_END_S = 5.0
_DRAIN_S = 10.0


@dataclass
class JudgingTimes:
    """How long judgements took. [s]"""

    count: int = 0
    total_s: float = 0.0
    last_s: float = 0.0

    def note(self, took_s: float) -> None:
        """Count one more."""
        self.count, self.total_s, self.last_s = self.count + 1, self.total_s + took_s, took_s


class Watch:
    """The watch. ``run`` until asked to stop; ``receive`` takes what a station posts."""

    def __init__(
        self,
        transactions: Transactions,
        sources: Mapping[str, PolledSource],
        delivery: DeliveryWorker,
        heartbeat: Heartbeat | None = None,
        streams: Mapping[str, StreamedSource] | None = None,
        *,
        reader: BodyReader | None = None,
        standby_file: KeptFile | None = None,
        chances: ChanceKeeper | None = None,
        keeps_plan: bool = True,
    ) -> None:
        """``standby_file`` keeps what the watch knows while its log cannot be used.

        ``chances`` works out how likely jobs hold, of which the plan of the day is made; nobody
        does where it is left out. ``keeps_plan``: not where hours pass faster than one is made.
        """
        self.transactions, self.sources, self.delivery = transactions, sources, delivery
        self.heartbeat = heartbeat
        self.chances = chances
        self._keeps_plan = keeps_plan
        self._plan_asked, self._one_plan = asyncio.Event(), asyncio.Lock()
        self._beside = ThreadPoolExecutor(1, "chances", initializer=_behind_all_else)
        self.streams = streams or {}
        self.reader = reader or InPlace()
        self._left_out = LeftOut()
        self.clock = transactions.clock
        self.snapshot: Snapshot | None = None
        self.judged_at: int | None = None
        self.changed = asyncio.Condition()
        self._wake = asyncio.Event()
        self._worker = ThreadPoolExecutor(max_workers=1, thread_name_prefix="log")
        self.judged = 0
        self.judging = JudgingTimes()
        self.standby = Standby(transactions, delivery, standby_file)
        self.outage: str | None = None
        """Why the log cannot be used; None while it can."""
        self.fault: str | None = None
        """Why nothing is judged; None while it is."""
        self._log_used = asyncio.Event()
        self._log_used.set()
        self._no_log = asyncio.Event()
        self._asked_for, self._tried = asyncio.Event(), asyncio.Event()
        self._faults = 0
        self._copied_at = float("-inf")
        self._copying: asyncio.Task[None] | None = None
        self._looking = Looking(self)
        self._damage: LogDamagedError | None = None
        self._damaged = asyncio.Event()
        self.farm_in_use: FarmInUse | None = None
        """Brings a changed farm in; None where the farm never changes."""
        self._scheduled: AsyncIOScheduler | None = None
        self._tasks: asyncio.TaskGroup | None = None
        self._ears: dict[str, asyncio.Task[None]] = {}

    async def run(self, stop: asyncio.Event) -> None:
        """Run until ``stop`` is set. A task of the watch that dies takes the watch down with it,

        so that the service manager starts it anew: half a watch is worse than none. A log that is
        damaged ends it, too: ``LogDamagedError``, alone or in a group.
        """
        systemd.notify("READY=1")
        await self.standby.begin()
        await self._begin()
        scheduler = self._scheduled = self._scheduler()
        scheduler.start()
        self._wake.set()
        log.info("watching", fields=len(self.transactions.plan.fields), sources=len(self.sources))
        try:
            async with asyncio.TaskGroup() as tasks:
                running = [
                    tasks.create_task(self._judging(), name="judging"),
                    tasks.create_task(self.delivery.run(), name="delivery"),
                    tasks.create_task(self.standby.delivery.run(), name="standby delivery"),
                    tasks.create_task(self._mending(), name="mending"),
                    tasks.create_task(self._keeping_memory(), name="keeping"),
                    tasks.create_task(self._planning(), name="planning"),
                    tasks.create_task(self._supervising(scheduler), name="supervising"),
                    tasks.create_task(self._until_damaged(), name="damage"),
                ]
                self._tasks = tasks
                for name in self.streams:
                    self._listen(name)
                if self.heartbeat is not None:
                    beating = self.heartbeat.run(self._well)
                    running.append(tasks.create_task(beating, name="heartbeat"))
                await stop.wait()
                systemd.notify("STOPPING=1")
                self._tasks = None
                for task in [*running, *self._ears.values()]:
                    task.cancel()
        finally:
            scheduler.shutdown(wait=False)
            await self._stop()

    def use(self, plan: FarmArrays) -> None:
        """Go by another farm from the next judgement on. On the log's thread."""
        self.transactions.use(plan)
        self.standby.use_farm(plan)
        for delivery in (self.delivery, self.standby.delivery):
            delivery.use(plan.farm)
        if self.chances is not None:
            self.chances.use(plan)

    def use_sources(
        self,
        sources: Mapping[str, PolledSource],
        streams: Mapping[str, StreamedSource],
        changed: set[str],
    ) -> None:
        """Ask and listen to other sources from now on; only those ``changed`` are begun anew."""
        polled = {n: self.sources[n] for n in self.sources if n not in changed}
        heard = {n: self.streams[n] for n in self.streams if n not in changed}
        self.sources = {n: polled.get(n, source) for n, source in sources.items()}
        self.streams = {n: heard.get(n, stream) for n, stream in streams.items()}
        for name in changed:
            if (ear := self._ears.pop(name, None)) is not None:
                ear.cancel()
            if name in self.streams:
                self._listen(name)
            if self._scheduled is not None:
                for task in (name, f"{name} first"):
                    if self._scheduled.get_job(task) is not None:
                        self._scheduled.remove_job(task)
                if name in self.sources:
                    self._schedule_source(self._scheduled, name)

    def _listen(self, name: str) -> None:
        if self._tasks is not None:
            listening = self._listening(name, self.streams[name])
            self._ears[name] = self._tasks.create_task(listening, name=name)

    async def rejudge(self) -> None:
        """Judge, and return when what was so when this was asked for is judged."""
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(_LOG_WITHIN_S), self.changed:
                for _ in range(2):  # the first to end may have begun before
                    before = self.judged
                    self._wake.set()
                    while self.judged <= before:
                        await self.changed.wait()

    async def receive(
        self, name: str, read: Callable[[], Observations], *, size: int, dated: bool = False
    ) -> tuple[Posted, SourceView]:
        """Take what ``read`` makes of ``size`` bytes that a station posted into the log.

        Returns what became of the readings, and how the station is then. Raises
        ``BadReadingError`` for readings that are not understood, ``SourceError`` for what cannot
        be read or kept, and ``LogError`` where the log cannot be used: whoever sent them must send
        them again. ``dated``: the station tells the time of its readings itself.
        """
        try:
            observations = await self.reader.read(read, size=size)
        except BadReadingError:
            raise
        except Exception as error:
            failure = error if isinstance(error, SourceError) else BrokenReadError.by(error)
            await self._note_failure(name, failure)
            raise failure from error
        if dated and len(observations.series):
            self.transactions.time.hear(name, int(observations.series.times[-1]))
        if await self._has_log():
            try:
                return await self._posted(name, observations)
            except LogError as error:
                self._lose_log(error)
        await self._take_in_memory(lambda transactions: transactions.take_in(observations))
        self._wake.set()
        raise LogBusyError(f"the log cannot be used: {self.outage}")

    async def _posted(self, name: str, observations: Observations) -> tuple[Posted, SourceView]:
        try:
            taking = partial(self.transactions.take_posted, observations)
            posted = await self.run_on_db_thread(taking, _LOG_WITHIN_S)
        except LogError:
            raise
        except Exception as error:
            failure = BrokenReadError.by(error)
            await self._note_failure(name, failure)
            raise failure from error
        self._left_out.answered(name)
        found = await self._found_by_judging(name) if self._noticed(posted.new) else None
        if found is None:
            looking = partial(self.transactions.look_at_station, name)
            found = await self.run_on_db_thread(looking, _LOG_WITHIN_S)
        return posted, found

    async def _found_by_judging(self, name: str) -> SourceView | None:
        """Return how the next judgement finds a source; None where it does not look at it.

        What is due is alerted first, and the answer to who posted says what the alerts go by.
        """
        before = self.judged
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(_ANSWERED_WITHIN_S), self.changed:
                await self.changed.wait_for(lambda: self.judged > before)
        found = () if self.snapshot is None else self.snapshot.sources
        return next((source for source in found if source.name == name), None)

    def refuse(self, station: str, what: RefusedFor, why: str, address: str) -> None:
        """Count a post that was refused. It wakes nobody, and the first of many is logged."""
        if self.transactions.refusals.note(station, what, self.clock.now(), why, address):
            log.warning("posts refused", station=station[:60], what=what, last=address)

    async def ask(self, name: str) -> None:
        """Ask one source for what is new, and note its health either way.

        Whatever goes wrong with what it sends costs this source only; what breaks its reader twice
        in a row leaves it out for a while.
        """
        source, now = self.sources[name], self.clock.now()
        if self._left_out.wait_s(name, now):
            return
        try:
            polled = await source.poll(now)
            polled.check_length()
            await self._keep(name, polled)
        except SourceError as error:
            await self._note_failure(name, error)
        except Exception as error:  # one source's fault must not silence the others, or itself
            await self._note_failure(name, BrokenReadError.by(error))
        else:
            self._left_out.answered(name)
            self._wake.set()

    async def _listening(self, name: str, stream: StreamedSource) -> None:
        """Take in what a station says by itself; it mends its own line and tells of the trouble.

        It is heard while the log keeps others waiting, too: what tells no time of its own is of
        the moment in which it is heard.
        """
        heard: Heard = asyncio.Queue(_MOST_HEARD)
        async with asyncio.TaskGroup() as tasks:
            tasks.create_task(self._hearing(name, stream, heard), name=f"{name} heard")
            tasks.create_task(self._keeping(name, heard), name=f"{name} kept")

    async def _hearing(self, name: str, stream: StreamedSource, heard: Heard) -> None:
        """Hear it out, and anew whenever it breaks: later and later, and never for good."""
        lost = 0
        while True:
            try:
                async with contextlib.aclosing(stream.stream()) as said:
                    async for one in said:
                        if heard.full():
                            heard.get_nowait()
                            lost += 1
                            if lost.bit_count() == 1:  # ever more seldom: the log is not flooded
                                log.error("too much waits; the oldest goes", source=name, lost=lost)
                        heard.put_nowait(one)
            except Exception as error:
                await self._note_failure(name, BrokenReadError.by(error))
            await asyncio.sleep(max(_HEARD_AGAIN_S, self._left_out.wait_s(name, self.clock.now())))

    async def _keeping(self, name: str, heard: Heard) -> None:
        while True:
            one = await heard.get()
            try:
                if isinstance(one, SourceError):
                    raise one
                self._noticed(await self._take(partial(Transactions.take_in, observations=one)))
            except SourceError as error:
                await self._note_failure(name, error)
            except Exception as error:
                await self._note_failure(name, BrokenReadError.by(error))
            else:
                self._left_out.answered(name)

    def _noticed(self, new: int) -> int:
        if new:
            self._wake.set()
        return new

    async def _note_failure(self, name: str, error: SourceError) -> None:
        """Note that a source gave nothing usable; one that breaks its reader may be left out."""
        why = shortened(str(error))
        if isinstance(error, BrokenReadError):
            until = self._left_out.broke(name, self.clock.now())
            if until is not None and name in self.sources:
                why = f"{why}; it is left out until {_utc(until)}, then asked again"
            log.error("what a source sent broke its reader", source=name, why=why)
        else:
            log.warning("source failed", source=name, why=why)
        await self._take(lambda transactions: transactions.source_failed(name, why))
        self._wake.set()

    def wake(self) -> None:
        """Ask for a judgement soon: something has changed."""
        self._wake.set()

    @property
    def plans(self) -> PlanKeeper | None:
        """What makes the plan of the day of the chances; None where none is kept."""
        if self.chances is None or not self._keeps_plan:
            return None
        return PlanKeeper(self.chances)

    def plan_soon(self) -> None:
        """Make the plan of the day as soon as what it is made of is judged, if it is due."""
        self._plan_asked.set()

    async def run_and_rejudge(self, work: Callable[[], T]) -> T:
        """Run work on the log's thread, in turn with everything else, and judge afterwards.

        Raises LogError, with nothing done, while the log cannot be used.
        """
        if not await self._has_log():
            raise LogBusyError(f"the log cannot be used: {self.outage}")
        result = await self.run_on_db_thread(work)
        self._wake.set()
        return result

    async def acknowledge(self, work: Callable[[Transactions], T]) -> T:
        """Note that something was seen, in whichever log is used just now."""
        if self.outage is not None:
            return await self.standby.do(work)
        return await self.run_and_rejudge(partial(work, self.transactions))

    async def take_step(self, step: StepRequest) -> StepTaken:
        """Take a step of a job, and judge afterwards; what was seen is noted in an outage, too.

        Raises LogError, with nothing done, while the log cannot be used, and as ``Book.take_step``.
        """
        if step.name is StepName.SEEN:
            return await self.acknowledge(lambda transactions: transactions.take_step(step))
        return await self.run_and_rejudge(partial(self.transactions.take_step, step))

    async def health(self) -> Health:
        """Look at how the watch is. Answers within seconds, whatever is wrong."""
        return await asyncio.get_running_loop().run_in_executor(None, self.health_now)

    def health_now(self) -> Health:
        """Look at how the watch is, from any thread. Answers within seconds, whatever is wrong."""
        return self._looking.look()

    async def _keep(self, name: str, polled: Polled) -> None:
        new = await self._take(lambda transactions: transactions.take_polled(name, polled))
        if new and polled.forecast is not None and self.chances is not None:
            self.chances.ask()
        log.info("source answered", source=name, new=new)

    async def run_on_db_thread(self, work: Callable[[], T], within_s: float | None = None) -> T:
        """Run work on the log's thread. Raises LogError also where it does not come back in time;

        what has begun may then still be done.
        """
        running = asyncio.get_running_loop().run_in_executor(self._worker, work)
        try:
            async with asyncio.timeout(within_s):
                return await running
        except TimeoutError:
            raise LogBusyError(f"the log has not answered for {within_s:g} s") from None
        except LogDamagedError as error:
            self._damage = error
            self._damaged.set()
            raise

    async def _until_damaged(self) -> None:
        """End the watch as soon as its log is found to be damaged, by whatever uses it."""
        await self._damaged.wait()
        assert self._damage is not None  # noqa: S101  # set before the event
        raise self._damage

    async def _begin(self) -> None:
        """Note the start, where the log can be used.

        Raises ``LogSettingsError`` where waiting does not help, ``LogDamagedError``.
        """
        try:
            await self.run_on_db_thread(self._note_begin, _LOG_WITHIN_S)
        except (LogSettingsError, LogDamagedError):
            self._worker.shutdown(wait=False)
            self._close()
            raise
        except LogError as error:
            self._lose_log(error)

    def _note_begin(self) -> None:
        self.transactions.open()
        self.standby.give_back_unfinished()
        self.transactions.begin()

    async def _take(self, work: Callable[[Transactions], T]) -> T:
        """Do what must not be missed: in the log, or else in memory, which gives it back."""
        while True:
            if self.outage is None:
                try:
                    return await self.run_on_db_thread(
                        partial(work, self.transactions), _LOG_WITHIN_S
                    )
                except LogError as error:
                    self._lose_log(error)
            try:
                return await self.standby.do(work)
            except NotInUseError:
                continue
            except Exception as error:
                log.error("not even taken into memory; waiting for the log", trace=trace(error))
                await self._log_used.wait()

    async def _take_in_memory(self, work: Callable[[Transactions], object]) -> None:
        try:
            await self.standby.do(work)
        except Exception as error:
            log.error("not taken into memory", trace=trace(error))

    def _lose_log(self, error: Exception) -> None:
        """Go on without the log from now on. A damaged one ends the watch, which takes another."""
        if self._damage is not None:
            return
        why = str(error) if isinstance(error, LogError) else _fault(error)
        if self.outage is None:
            log.error("the log cannot be used", why=why)
            self._log_used.clear()
            self._no_log.set()
            self.delivery.pause()
            self.standby.use()
        self.outage = why
        self._wake.set()

    async def _judging(self) -> None:
        while True:
            wait_s = _CYCLE_EVERY_S / self.clock.speed
            if self._faults:
                wait_s = min(_FAULT_WAIT_S * 2.0 ** (self._faults - 1), _LONGEST_FAULT_WAIT_S)
            # Not wait_for: before Python 3.12 it may swallow a cancellation that comes just then.
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(wait_s):
                    await self._wake.wait()
            self._wake.clear()
            if self.outage is None:
                await self._judge_log()
            if self.outage is not None:
                await self.standby.take_over()
                await self._judge_memory()

    async def _judge_log(self) -> None:
        try:
            await self._judge()
            await self.run_on_db_thread(self.transactions.note_known, _LOG_WITHIN_S)
        except LogError as error:
            self._lose_log(error)
        except Exception as error:
            await self._tell_fault(error)

    async def _tell_fault(self, error: Exception) -> None:
        """Tell that nothing is judged, in the log itself, which is not what is wrong."""
        log.error("the judgement failed", trace=trace(error))
        systemd.notify("WATCHDOG=1")  # a restart would most likely lead here again
        self._faults += 1
        if self._faults < _FAULTS_TOLD:
            return
        self.fault = _fault(error)
        trouble = Trouble(self.fault, judges=False)
        try:
            await self.run_on_db_thread(
                partial(self.transactions.tell_trouble, trouble), _LOG_WITHIN_S
            )
        except Exception as other:
            self._lose_log(other)
        else:
            self.delivery.wake()

    async def _judge_memory(self) -> None:
        """Judge without the log, and tell what is wrong: with the log, or with judging too."""
        why = self.outage or ""
        try:
            snapshot = await self.standby.judge()
        except Exception as error:
            log.error("nothing can be judged from memory", trace=trace(error))
            why, judges = f"{why}; {_fault(error)}", False
            self.fault = _fault(error)
            self._faults += 1  # again soon
        else:
            self._faults = 0
            judges = self.standby.knows_jobs
            self.fault = None if judges else "it is not known who is spraying"
            systemd.notify("WATCHDOG=1")
            await self._show(snapshot)
        if self.outage is not None:
            knows = self.standby.knows_jobs
            await self.standby.tell(Trouble(why, judges=judges, writes=False, knows_jobs=knows))

    async def _mending(self) -> None:
        """Try again and again whether the log can be used; give back to it what came about."""
        while True:
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(_LOG_WAIT_S):
                    await self._asked_for.wait()
            self._asked_for.clear()
            if self.outage is not None and self.standby.taken_over:
                await self._mend()
                self._tried.set()

    async def _keeping_memory(self) -> None:
        """Keep what is known in an outage as it changes, for the process may end at any moment."""
        while True:
            await self._no_log.wait()
            await self.standby.keep()
            await asyncio.sleep(_LOG_WAIT_S)

    async def _mend(self) -> None:
        try:
            await self.run_on_db_thread(self.transactions.probe)
            await self.run_on_db_thread(self.standby.give_readings_back)
            await self.standby.rest()
            async with self.standby.turn:
                await self.run_on_db_thread(self._give_back, _LOG_WITHIN_S)
                self._regain_log()
        except LogError as error:
            if isinstance(error, LogSettingsError) and self.transactions.run_id is None:
                raise  # it never began, and waiting does not help
            self.outage = str(error)
            self.standby.delivery.resume()
        except Exception as error:
            log.error("nothing can be given back to the log", trace=trace(error))
            self.outage = _fault(error)
            self.standby.delivery.resume()

    async def _has_log(self) -> bool:
        """Whether the log can be used; one that just came back must not turn anybody away."""
        if self.outage is not None:
            self._tried.clear()
            self._asked_for.set()
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(_TRIED_WITHIN_S):
                    await self._tried.wait()
        return self.outage is None

    def _give_back(self) -> None:
        self.standby.give_back()
        if self.transactions.run_id is None:
            self.transactions.begin()

    def _regain_log(self) -> None:
        log.info("the log can be used again")
        self.outage = None
        self.standby.given_back()
        self._log_used.set()
        self._no_log.clear()
        self.delivery.resume()
        self._wake.set()

    def _well(self) -> bool:
        """Whether the watch works: judges, writes and delivers. Asked from a thread."""
        try:
            return self.health_now().works
        except Exception as error:
            log.error("the watch cannot look at itself", trace=trace(error))
            return False

    async def _judge(self) -> None:
        started = time.perf_counter()
        wanted = _Wanted()
        try:
            snapshot = await self.run_on_db_thread(
                partial(self.transactions.judge, wanted), _LOG_WITHIN_S
            )
        finally:
            wanted.over = True  # one that comes back too late must not say what was said meanwhile
        self._faults, self.fault = 0, None
        self.delivery.wake()
        await self._show(snapshot)
        self.judging.note(time.perf_counter() - started)
        log.debug("judged", took_ms=round(1000 * self.judging.last_s, 1))
        self._copy_soon()

    async def _show(self, snapshot: Snapshot) -> None:
        self.snapshot = snapshot
        self.judged_at = self.clock.now()
        self.judged += 1
        async with self.changed:
            self.changed.notify_all()

    def _copy_soon(self) -> None:
        """Fill the standby behind the judgement, out of the way of what it tells."""
        due = self._copied_at + _COPY_EVERY_S
        if (self._copying is None or self._copying.done()) and time.monotonic() >= due:
            self._copying = asyncio.create_task(self._copy(), name="copying")

    async def _copy(self) -> None:
        await asyncio.sleep(_COPY_AFTER_S)
        self._copied_at = time.monotonic()
        await self.standby.copy()
        await self.standby.keep_sometimes()

    def _scheduler(self) -> AsyncIOScheduler:
        """One job a source, one for records and one for the log.

        Missed ones are made up once; none overlaps itself.
        """
        scheduler = AsyncIOScheduler(
            timezone="UTC",
            job_defaults={"misfire_grace_time": None, "coalesce": True, "max_instances": 1},
        )
        speed = self.clock.speed
        for name in self.sources:
            self._schedule_source(scheduler, name)
        if self.farm_in_use is not None:
            look = self.farm_in_use.look
            scheduler.add_job(look, "interval", id="farm", seconds=_FARM_EVERY_S / speed)
        scheduler.add_job(
            self._keep_records, "interval", id="records", seconds=_RECORDS_EVERY_S / speed
        )
        scheduler.add_job(self._tend_log, "interval", id="log", seconds=_TENDED_EVERY_S / speed)
        scheduler.add_job(
            self._work_out_chances, "interval", id="chances", seconds=_CHANCES_EVERY_S / speed
        )
        scheduler.add_listener(
            self._schedule_slipped, EVENT_JOB_ERROR | EVENT_JOB_MAX_INSTANCES | EVENT_JOB_MISSED
        )
        return scheduler

    def _schedule_source(self, scheduler: AsyncIOScheduler, name: str) -> None:
        every = self.sources[name].every_s / self.clock.speed
        # Jitter: feeds ask that nobody calls on the hour, all at once.
        scheduler.add_job(
            self._ask_in_turn, "interval", args=[name], id=name, seconds=every, jitter=every / 20
        )
        scheduler.add_job(self._ask_in_turn, args=[name], id=f"{name} first")

    async def _ask_in_turn(self, name: str) -> None:
        """Ask as scheduled, if it is still a source.

        That the scheduler cuts it off when the watch stops is no fault.
        """
        with contextlib.suppress(asyncio.CancelledError):
            if name in self.sources:
                await self.ask(name)

    async def _keep_records(self) -> None:
        """Keep what is known of ended jobs; when the watch stops meanwhile, the next one does."""
        with contextlib.suppress(asyncio.CancelledError):
            if self.outage is None:
                await self.run_on_db_thread(self.transactions.keep_records)

    async def _tend_log(self) -> None:
        """Make bins and let old readings go, part by part: a judgement never waits for the rest."""
        with contextlib.suppress(asyncio.CancelledError):
            while self.outage is None and await self.run_on_db_thread(self.transactions.tend):
                pass

    async def _work_out_chances(self) -> None:
        """Work out how likely jobs hold where that is due, on a thread behind all others."""
        keeper, snapshot = self.chances, self.snapshot
        if (
            keeper is None
            or snapshot is None
            or self.outage is not None
            or self.transactions.time.lost
        ):
            return
        if (
            not keeper.due(self.clock.now(), snapshot.rigs)
            or keeper.plan.farm is not snapshot.judgement.plan.farm
        ):
            return
        with contextlib.suppress(asyncio.CancelledError):
            loop = asyncio.get_running_loop()
            worked = await loop.run_in_executor(
                self._beside, keeper.look, snapshot.timeline, snapshot.rigs
            )
            await self.run_on_db_thread(partial(keeper.keep, worked))
            self.transactions.chances = keeper.latest
            self.plan_soon()

    async def _planning(self) -> None:
        """Make the plan of the day whenever it is due; its faults cost nothing else."""
        while True:
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(_PLAN_EVERY_S / self.clock.speed):
                    await self._plan_asked.wait()
            self._plan_asked.clear()
            try:
                await self._plan()
            except LogError as error:
                log.warning("no plan can be kept", why=str(error))
            except Exception as error:
                log.error("no plan can be made", trace=trace(error))

    async def _plan(self) -> None:
        """Make the plan where it is due, on the thread of the chances."""
        keeper, snapshot = self.plans, self.snapshot
        if (
            keeper is None
            or snapshot is None
            or self.outage is not None
            or self.transactions.time.lost
        ):
            return
        async with self._one_plan:
            loop = asyncio.get_running_loop()
            plans = keeper.look(snapshot)
            while made := await loop.run_in_executor(self._beside, next, plans, None):
                await self.run_and_rejudge(partial(keeper.keep, made))

    def _schedule_slipped(self, event: Any) -> None:
        if event.code == EVENT_JOB_MAX_INSTANCES:
            log.info("still at it since the last time", task=event.job_id)
            return
        error = getattr(event, "exception", None)
        log.error("what was scheduled went wrong", task=event.job_id, why=repr(error))

    async def _supervising(self, scheduler: AsyncIOScheduler) -> None:
        """Signs of life for systemd, tied to judgements made; mends the schedule after clock jumps.

        A wall clock set back would leave the scheduler waiting for a time that has already been,
        and a machine that slept does not count the time asleep. What the jump means for all else
        is the judging's to see (``Book.time``), which is woken.
        """
        every = min(_SUPERVISE_EVERY_S, systemd.watchdog_interval_s() or _SUPERVISE_EVERY_S)
        judged, offset = -1, time.time() - time.monotonic()
        while True:
            await asyncio.sleep(every)
            if self.judged != judged:
                judged = self.judged
                systemd.notify("WATCHDOG=1")
            drift = time.time() - time.monotonic() - offset
            if abs(drift) > _JUMP_S:
                log.warning("the clock jumped, or the machine slept", by_s=round(drift))
                offset += drift
                for job in scheduler.get_jobs():
                    job.modify(next_run_time=None)
                    job.resume()
                self._wake.set()

    async def _stop(self) -> None:
        """Say what must be said before going, send what is due, leave the log in order."""
        if self._copying is not None:
            self._copying.cancel()
        if self._damage is None:
            delivery = self.delivery if await self._end() else self.standby.delivery
            with contextlib.suppress(TimeoutError, LogDamagedError):
                async with asyncio.timeout(_DRAIN_S):
                    await delivery.drain()
        if self.outage is not None:
            await self.standby.keep()
        self._worker.shutdown(wait=self.outage is None)
        self._beside.shutdown(wait=True, cancel_futures=True)
        self._close()
        log.info("stopped")

    def _close(self) -> None:
        self.standby.close()
        self._looking.close()

    async def _end(self) -> bool:
        """Note the stop and tell those who are spraying; past the log where it cannot be used.

        Returns whether the log can be used.
        """
        if self.outage is not None and self.standby.taken_over:
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(_END_S):
                    await self._mend()
        if self.outage is None:
            try:
                await self.run_on_db_thread(self.transactions.end, _END_S)
            except LogError as error:
                self._lose_log(error)
            else:
                return True
        await self.standby.take_over()
        why = self.outage or ""
        log.error("the log cannot be used; the stop is not noted in it", why=why)
        self.standby.delivery.resume()
        await self._take_in_memory(lambda transactions: transactions.end_blind(why))
        return False


def _behind_all_else() -> None:
    """Give this thread the processor only where nobody else wants it (Linux has one a thread)."""
    with contextlib.suppress(OSError, AttributeError):
        os.setpriority(os.PRIO_PROCESS, threading.get_native_id(), 15)


class _Wanted:
    """Whether what is being done is still wanted by whoever asked for it."""

    over = False

    def __call__(self) -> bool:
        return not self.over


def _fault(error: Exception) -> str:
    """Name a fault of the program; its text is for the process log, it may hold anything."""
    return f"a fault in the watch, {type(error).__name__}"


def _utc(at: int) -> str:
    return f"{datetime.fromtimestamp(at, UTC):%H:%M} UTC"
