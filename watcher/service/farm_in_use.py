"""Brings a changed farm into the running watch, without a restart.

While a job runs, what it goes by stays as it was when it began; the rest of the change holds at
once. A file with mistakes is refused aloud, and the farm before it stays in use.
"""

import asyncio
import contextlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING

import structlog

from watcher.alerts import watch_runs
from watcher.farm import Farm
from watcher.farm.editing.loosening import loosened
from watcher.farm.editing.running_jobs import holding
from watcher.farm.editing.texts import FarmTexts
from watcher.farm.problems import Problem
from watcher.i18n.language import ENGLISH, Language
from watcher.i18n.message import Message
from watcher.limits.farm_arrays import FarmArrays
from watcher.service.farm_editor import FarmEditor, FarmProposal, Noticed
from watcher.service.farm_versions import FarmVersion
from watcher.service.kept_farm import KeptFarm
from watcher.sources.base import PolledSource, StreamedSource
from watcher.store import jobs
from watcher.store.errors import LogError

if TYPE_CHECKING:
    from watcher.service.watch import Watch

log = structlog.get_logger("watcher.service")


@dataclass(frozen=True)
class Sources:
    """What is asked and what is listened to, by name."""

    polled: Mapping[str, PolledSource]
    streams: Mapping[str, StreamedSource]


class FarmInUse:
    """The farm of a running watch as it changes. On the watch's event loop."""

    def __init__(
        self,
        watch: "Watch",
        editor: FarmEditor,
        *,
        sources: Callable[[Farm], Sources] | None = None,
        keep: Callable[[Farm, FarmTexts, int], None] = lambda _farm, _texts, _at: None,
    ) -> None:
        """``sources`` makes what is asked and listened to; ``keep`` keeps a good farm for a start

        with a bad one.
        """
        self.editor = editor
        self._watch, self._sources, self._keep = watch, sources, keep
        self._wanted = watch.transactions.plan.farm
        self._turn = asyncio.Lock()
        self._since = watch.clock.now()

    @property
    def waits(self) -> bool:
        """Whether a part of the newest change waits for jobs to end, or for the log."""
        return self._watch.transactions.plan.farm is not self._wanted

    async def save(
        self, proposal: FarmProposal, *, by: str, label_changed: bool, season: str = ""
    ) -> FarmVersion:
        """Make a change and use it. Raises as ``FarmEditor.save``."""
        async with self._turn:
            version = await asyncio.to_thread(
                self.editor.save, proposal, by=by, label_changed=label_changed, season=season
            )
            log.info("the farm was changed", by=by, version=version.number)
            await self._adopt(proposal.after, proposal.farm)
        return version

    async def begin_anew(self, source: str) -> None:
        """Ask or hear a source by its secret as it is now."""
        async with self._turn:
            if self._sources is not None:
                made = self._sources(self._watch.transactions.plan.farm)
                self._watch.use_sources(made.polled, made.streams, {source})

    async def look(self) -> None:
        """See whether a hand changed the files, or what waited can be used now."""
        with contextlib.suppress(asyncio.CancelledError):
            async with self._turn:
                noticed = await asyncio.to_thread(self.editor.noticed)
                if noticed is not None:
                    await self._take(noticed)
                elif self.waits:
                    await self._use()

    async def _take(self, noticed: Noticed) -> None:
        if noticed.farm is None or noticed.texts is None:
            await self._refuse(noticed)
            return
        loosens = loosened(self._wanted.config, noticed.farm.config)
        await asyncio.to_thread(self.editor.keep_by_hand, noticed.texts, loosens)
        log.info("the farm's files were changed by hand")
        await self._adopt(noticed.texts, noticed.farm)

    async def _refuse(self, noticed: Noticed) -> None:
        """Say aloud what is wrong; the last good farm stays in use."""
        transactions = self._watch.transactions
        spoken = self._wanted.language
        mistakes = tuple(_rendered(one, spoken) for one in noticed.mistakes)
        log.error("the farm's files have mistakes; the farm before stays", mistakes=mistakes)
        transactions.instead = KeptFarm(self._wanted, self._since, mistakes)

        def tell() -> None:
            now = self._watch.clock.now()
            with transactions.store.writing() as session:
                watch_runs.tell_mistakes(session, transactions.post, mistakes, self._since, now)

        try:
            await self._watch.run_on_db_thread(tell)
        except LogError as error:
            log.error("the mistakes cannot be sent", why=str(error))
        self._watch.delivery.wake()

    async def _adopt(self, texts: FarmTexts, farm: Farm) -> None:
        self._wanted, self._since = farm, self._watch.clock.now()
        self._watch.transactions.instead = None
        await asyncio.to_thread(self._keep, farm, texts, self._since)
        await self._use()

    async def _use(self) -> None:
        """Use the newest farm, as far as running jobs let it; the rest waits for the next look."""
        watch = self._watch
        if watch.outage is not None:
            return
        before = watch.transactions.plan.farm
        try:
            plan = await watch.run_on_db_thread(partial(self._swapped, before))
        except LogError as error:
            log.warning("a changed farm waits for the log", why=str(error))
            return
        if plan is None:
            return
        if self._sources is not None and _other_sources(before, plan.farm):
            made = self._sources(plan.farm)
            watch.use_sources(made.polled, made.streams, _changed(before, plan.farm))
        await watch.rejudge()
        for delivery in (watch.delivery, watch.standby.delivery):
            delivery.wake()  # somebody may be new

    def _swapped(self, before: Farm) -> FarmArrays | None:
        """Use what can be used. On the log's thread: between two judgements, never within one."""
        transactions = self._watch.transactions
        with transactions.store.reading() as session:
            busy = {job.field for job in jobs.open_jobs(session)}
        farm = holding(before, self._wanted, busy)
        if farm == before and farm is not self._wanted:
            return None
        plan = FarmArrays.of(farm)
        transactions.keep_records()  # of jobs that ended: by the rules they had
        self._watch.use(plan)
        return plan


def _rendered(one: Problem | Message, spoken: Language) -> str:
    return one.render(spoken or ENGLISH)


def _other_sources(before: Farm, after: Farm) -> bool:
    return before.config.sources != after.config.sources or before.ground != after.ground


def _changed(before: Farm, after: Farm) -> set[str]:
    """The sources that are others now; all of them where the farm's middle is another."""
    old, new = before.config.sources, after.config.sources
    if before.ground != after.ground and before.ground.middle != after.ground.middle:
        return {*old, *new}
    return {name for name in {*old, *new} if old.get(name) != new.get(name)}
