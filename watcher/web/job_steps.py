"""The steps of a spraying job as somebody outside asks for them: on a page, or by the API."""

from collections.abc import Callable
from typing import TypeVar

from sqlalchemy.orm import Session

from watcher.alerts.acknowledgement import acknowledge
from watcher.jobs import book
from watcher.service.watch import Watch
from watcher.store import jobs
from watcher.store.tables import Job

T = TypeVar("T")
REFUSALS = (jobs.JobConflictError, book.JobNotPlannedError)
"""What says that a step may not be taken, and why."""


class Steps:
    """Takes steps in the log, each in a transaction of its own, and has the watch judge after."""

    def __init__(self, watch: Watch) -> None:
        self.watch = watch

    async def start(self, field: str, setup: str) -> Job:
        """Start a job."""
        plan = self.watch.book.plan
        return await self._write(lambda session, now: book.start(session, plan, field, setup, now))

    async def pause(self, number: int, why: str = "") -> Job:
        """Pause a job."""
        return await self._write(lambda session, now: jobs.pause(session, number, now, why))

    async def resume(self, number: int) -> Job:
        """Go on with a paused job."""
        return await self._write(lambda session, now: jobs.resume(session, number, now))

    async def change_setup(self, number: int, setup: str) -> Job:
        """Go on with another setup."""
        plan = self.watch.book.plan
        return await self._write(
            lambda session, now: book.change_setup(session, plan, number, setup, now)
        )

    async def finish(self, number: int, note: str = "") -> Job:
        """End a job whose field is done."""
        return await self._write(lambda session, now: jobs.finish(session, number, now, note))

    async def abandon(self, number: int, note: str = "") -> Job:
        """End a job whose field is not done."""
        return await self._write(lambda session, now: jobs.abandon(session, number, now, note))

    async def acknowledge(self, ref: str, by: str) -> int:
        """Say that a message was seen; returns how many rows that was news for."""
        return await self._write(lambda session, now: acknowledge(session, ref, by, now))

    async def _write(self, work: Callable[[Session, int], T]) -> T:
        def in_log() -> T:
            with self.watch.book.store.writing() as session:
                return work(session, self.watch.clock.now())

        return await self.watch.in_log(in_log)
