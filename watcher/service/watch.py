"""The running watch: asks the sources, judges as soon as something is new, sends what is due.

All work on the log and the judgement runs on one worker thread, so a judgement never overlaps
itself or a write; the event loop stays free for stations, feeds and the phone.
"""

import asyncio
import contextlib
import time
from collections.abc import Callable, Mapping
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from typing import Any, TypeVar

import structlog
from apscheduler.events import EVENT_JOB_ERROR, EVENT_JOB_MAX_INSTANCES, EVENT_JOB_MISSED
from apscheduler.schedulers.asyncio import AsyncIOScheduler

from watcher.alerts.courier import Courier
from watcher.alerts.heartbeat import Heartbeat
from watcher.alerts.wording.watch import log_unusable, stopping_blind
from watcher.farm.models import Topic
from watcher.service import systemd
from watcher.service.cycle import Book
from watcher.service.health import JUDGED_WITHIN_S, Health
from watcher.service.picture import Picture
from watcher.sources.base import Observations, Polled, PolledSource, SourceError, StreamedSource
from watcher.store.errors import LogError

log = structlog.get_logger("watcher.service")
T = TypeVar("T")
Heard = asyncio.Queue[Observations | SourceError]

_CYCLE_EVERY_S = 30.0
"""A judgement at least this often, for what changes by itself: ages, the sun, the hour."""
_RECORDS_EVERY_S = 300.0
_TENDED_EVERY_S = 60.0
_SUPERVISE_EVERY_S = 10.0
_JUMP_S = 5.0
_LOG_WAIT_S = 1.0
_MOST_HEARD = 2000
"""Readings of a station that may wait for the log: more than a day of one a minute."""
_END_S = 5.0
_DRAIN_S = 10.0


class Watch:
    """The watch. ``run`` until told to stop; ``receive`` takes what a station posts."""

    def __init__(
        self,
        book: Book,
        sources: Mapping[str, PolledSource],
        courier: Courier,
        heartbeat: Heartbeat | None = None,
        streams: Mapping[str, StreamedSource] | None = None,
    ) -> None:
        self.book, self.sources, self.courier = book, sources, courier
        self.heartbeat = heartbeat
        self.streams = streams or {}
        self.clock = book.clock
        self.picture: Picture | None = None
        self.judged_at: int | None = None
        self.changed = asyncio.Condition()
        self._wake = asyncio.Event()
        self._worker = ThreadPoolExecutor(max_workers=1, thread_name_prefix="log")
        self.judged = 0
        self._blind_since: int | None = None

    async def run(self, stop: asyncio.Event) -> None:
        """Run until ``stop`` is set. A task of the watch that dies takes the watch down with it,

        so that the service manager starts it anew: half a watch is worse than none.
        """
        systemd.notify("READY=1")
        if not await self._begun(stop):
            return
        scheduler = self._scheduler()
        scheduler.start()
        self._wake.set()
        log.info("watching", fields=len(self.book.plan.fields), sources=len(self.sources))
        try:
            async with asyncio.TaskGroup() as tasks:
                running = [
                    tasks.create_task(self._judging(), name="judging"),
                    tasks.create_task(self.courier.run(), name="courier"),
                    tasks.create_task(self._supervising(scheduler), name="supervising"),
                ]
                running += [
                    tasks.create_task(self._listening(name, stream), name=name)
                    for name, stream in self.streams.items()
                ]
                if self.heartbeat is not None:
                    beating = self.heartbeat.run(self._well)
                    running.append(tasks.create_task(beating, name="heartbeat"))
                await stop.wait()
                systemd.notify("STOPPING=1")
                for task in running:
                    task.cancel()
        finally:
            scheduler.shutdown(wait=False)
            await self._stop()

    async def receive(self, observations: Observations) -> int:
        """Take a station's readings into the log; returns how many were new.

        Raises ``LogError`` where they cannot be kept: whoever sent them must send them again.
        """
        try:
            return self._noticed(await self._in_log(partial(self.book.take_in, observations)))
        except LogError as error:
            await self._tell_blind(error)
            raise

    async def ask(self, name: str) -> None:
        """Ask one source for what is new, and note its health either way."""
        source, now = self.sources[name], self.clock.now()
        try:
            polled = await source.poll(now)
        except SourceError as error:
            await self._note_failure(name, error)
        else:
            await self._keep(name, polled)
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
        async with contextlib.aclosing(stream.stream()) as said:
            async for one in said:
                if heard.full():
                    heard.get_nowait()
                    log.error("too much waits to be kept; the oldest is let go", source=name)
                heard.put_nowait(one)

    async def _keeping(self, name: str, heard: Heard) -> None:
        while True:
            one = await heard.get()
            if isinstance(one, SourceError):
                await self._note_failure(name, one)
            else:
                self._noticed(await self._until_kept(partial(self.book.take_in, one)))

    def _noticed(self, new: int) -> int:
        if new:
            self._wake.set()
        return new

    async def _note_failure(self, name: str, error: SourceError) -> None:
        log.warning("source failed", source=name, why=str(error))
        await self._until_kept(partial(self.book.source_failed, name, str(error)))
        self._wake.set()

    def wake(self) -> None:
        """Ask for a judgement soon: something has changed."""
        self._wake.set()

    async def in_log(self, work: Callable[[], T]) -> T:
        """Run work on the log's thread, in turn with everything else, and judge afterwards."""
        result = await self._in_log(work)
        self._wake.set()
        return result

    async def health(self) -> Health:
        """Look at how the watch is."""
        return await self._in_log(partial(self.book.health, self.judged_at))

    async def _keep(self, name: str, polled: Polled) -> None:
        new = await self._until_kept(partial(self.book.take_polled, name, polled))
        log.info("source answered", source=name, new=new)

    async def _in_log(self, work: Callable[[], T]) -> T:
        return await asyncio.get_running_loop().run_in_executor(self._worker, work)

    async def _begun(self, stop: asyncio.Event) -> bool:
        """Note the start as soon as the log can be used; returns False if stopped before."""
        beginning = asyncio.create_task(self._until_kept(self.book.begin), name="beginning")
        stopping = asyncio.create_task(stop.wait(), name="stopping")
        try:
            await asyncio.wait({beginning, stopping}, return_when=asyncio.FIRST_COMPLETED)
            if beginning.done():
                beginning.result()
            return beginning.done()
        finally:
            beginning.cancel()
            stopping.cancel()

    async def _until_kept(self, work: Callable[[], T]) -> T:
        """Do what the log must not miss: as long as it cannot be used, say so and try again."""
        while True:
            try:
                return await self._in_log(work)
            except LogError as error:
                await self._tell_blind(error)
                await asyncio.sleep(_LOG_WAIT_S)

    async def _judging(self) -> None:
        while True:
            # Not wait_for: before Python 3.12 it may swallow a cancellation that comes just then.
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(_CYCLE_EVERY_S / self.clock.speed):
                    await self._wake.wait()
            self._wake.clear()
            try:
                await self._judge()
                await self._see_again()
            except LogError as error:
                await self._tell_blind(error)

    async def _tell_blind(self, error: LogError) -> None:
        """Tell, past the log that cannot be used, that nothing is judged until it can be; once."""
        systemd.notify("WATCHDOG=1")  # a restart would not mend the log, only tell of it again
        if self._blind_since is None:
            self._blind_since = self.clock.now()
            log.error("the log cannot be used; nothing is judged", why=str(error))
            await self.courier.tell_directly(log_unusable(str(error)), Topic.JOB)

    async def _see_again(self) -> None:
        """Tell that the log can be used again, which is so once this could be written into it."""
        if self._blind_since is not None:
            await self._in_log(partial(self.book.sees_again, self._blind_since))
            self._blind_since = None
            self.courier.wake()

    def _well(self) -> bool:
        """Whether the watch judged lately."""
        at = self.judged_at
        return at is not None and self.clock.now() - at <= JUDGED_WITHIN_S

    async def _judge(self) -> None:
        started = time.perf_counter()
        self.picture = await self._in_log(self.book.judge)
        self.judged_at = self.clock.now()
        self.judged += 1
        self.courier.wake()
        async with self.changed:
            self.changed.notify_all()
        log.debug("judged", took_ms=round(1000 * (time.perf_counter() - started), 1))

    def _scheduler(self) -> AsyncIOScheduler:
        """One job a source, one for records and one for the log.

        Missed ones are made up once; none overlaps itself.
        """
        scheduler = AsyncIOScheduler(
            timezone="UTC",
            job_defaults={"misfire_grace_time": None, "coalesce": True, "max_instances": 1},
        )
        speed = self.clock.speed
        for name, source in self.sources.items():
            every = source.every_s / speed
            # Jitter: feeds ask that nobody calls on the hour, all at once.
            scheduler.add_job(
                self._ask_in_turn,
                "interval",
                args=[name],
                id=name,
                seconds=every,
                jitter=every / 20,
            )
            scheduler.add_job(self._ask_in_turn, args=[name], id=f"{name} first")
        scheduler.add_job(
            self._keep_records, "interval", id="records", seconds=_RECORDS_EVERY_S / speed
        )
        scheduler.add_job(self._tend_log, "interval", id="log", seconds=_TENDED_EVERY_S / speed)
        scheduler.add_listener(
            self._schedule_slipped, EVENT_JOB_ERROR | EVENT_JOB_MAX_INSTANCES | EVENT_JOB_MISSED
        )
        return scheduler

    async def _ask_in_turn(self, name: str) -> None:
        """Ask as scheduled. That the scheduler cuts it off when the watch stops is no fault."""
        with contextlib.suppress(asyncio.CancelledError):
            await self.ask(name)

    async def _keep_records(self) -> None:
        """Keep what is known of ended jobs; when the watch stops meanwhile, the next one does."""
        with contextlib.suppress(asyncio.CancelledError):
            await self._in_log(self.book.keep_records)

    async def _tend_log(self) -> None:
        """Make bins and let old readings go, part by part: a judgement never waits for the rest."""
        with contextlib.suppress(asyncio.CancelledError):
            while await self._in_log(self.book.tend):
                pass

    def _schedule_slipped(self, event: Any) -> None:
        error = getattr(event, "exception", None)
        log.error("what was scheduled went wrong", task=event.job_id, why=repr(error))

    async def _supervising(self, scheduler: AsyncIOScheduler) -> None:
        """Signs of life for systemd, tied to judgements made; mends the schedule after clock jumps.

        A wall clock set back would leave the scheduler waiting for a time that has already been.
        """
        every = min(_SUPERVISE_EVERY_S, systemd.watchdog_interval_s() or _SUPERVISE_EVERY_S)
        told, offset = -1, time.time() - time.monotonic()
        while True:
            await asyncio.sleep(every)
            if self.judged != told:
                told = self.judged
                systemd.notify("WATCHDOG=1")
            drift = time.time() - time.monotonic() - offset
            if abs(drift) > _JUMP_S:
                log.warning("the clock jumped", by_s=round(drift))
                with contextlib.suppress(LogError):  # told by the judging already
                    await self._in_log(partial(self.book.clock_jumped, drift))
                offset += drift
                for job in scheduler.get_jobs():
                    job.modify(next_run_time=None)
                    job.resume()
                self._wake.set()

    async def _stop(self) -> None:
        """Tell what must be told before going, send what is due, leave the log in order."""
        if await self._end():
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(_DRAIN_S):
                    await self.courier.drain()
        self._worker.shutdown(wait=True)
        log.info("stopped")

    async def _end(self) -> bool:
        """Note the stop and tell those who are spraying; past the log where it cannot be used.

        Returns whether the log can be used.
        """
        try:
            async with asyncio.timeout(_END_S):
                await self._in_log(self.book.end)
        except (LogError, TimeoutError) as error:
            why = str(error) or f"it took longer than {_END_S:g} s"
            log.error("the log cannot be used; the stop is not noted in it", why=why)
            await self.courier.tell_directly(stopping_blind(why), Topic.JOB)
            return False
        return True
