"""What was last known of a log, in a small file beside it.

A log that was emptied, swapped or lost its newest part says nothing about that itself: it looks
like a new or an earlier one. The file beside it says what was in it, and which jobs were open.
"""

import hashlib
from collections.abc import Iterable
from pathlib import Path
from typing import Literal

from pydantic import BaseModel, ConfigDict, ValidationError

from watcher.store.database import Database
from watcher.store.tables import Job, WatchRun
from watcher.store.whole_files import write_whole

Trouble = Literal["damaged", "missing", "emptied", "another", "older"]
"""What became of a log; ``another`` is one that was never ours, ``older`` lacks its newest part."""


class _Kept(BaseModel):
    model_config = ConfigDict(frozen=True)


class KnownRun(_Kept):
    """A run of the watch by which a log is recognised."""

    id: int
    started_at: int

    @classmethod
    def of(cls, run: WatchRun) -> "KnownRun":
        """Return what is kept of a run."""
        return cls(id=run.id, started_at=run.started_at)


class OpenJob(_Kept):
    """A job that was running or paused."""

    id: int
    field: str
    setup: str
    started_at: int

    @classmethod
    def of(cls, job: Job) -> "OpenJob":
        """Return what is kept of a job."""
        return cls(id=job.id, field=job.field, setup=job.setup, started_at=job.started_at)


class Loss(_Kept):
    """What a log lost, as far as it can be known. Times are epoch seconds."""

    trouble: Trouble
    found_at: int
    known_until: int | None
    """Until when the log that is used from now on knows anything; None: nothing at all."""
    watched_until: int | None
    """When the watch is last known to have watched; None: not known."""
    jobs: tuple[OpenJob, ...] | None
    """Jobs that were open and are not in the log now; None where that is not known."""
    over: tuple[OpenJob, ...] = ()
    """Jobs that are open in the log now, though they had ended when it was last known."""
    aside: str | None = None
    """Name of the file the log was moved to; None where it was not moved."""
    free_bytes: int | None = None
    """Room left on the disk, where that is little."""

    def without(self, found: Iterable[Job]) -> "Loss":
        """Return it without the jobs that were found again after all."""
        again = {OpenJob.of(job).model_copy(update={"id": 0}) for job in found}
        if self.jobs is None or not again:
            return self
        lost = [job for job in self.jobs if job.model_copy(update={"id": 0}) not in again]
        return self.model_copy(update={"jobs": tuple(lost)})


class LastKnown(_Kept):
    """What was last known of a log."""

    first: KnownRun | None
    """The log's first run; None where the log is a new one that has none yet."""
    run: KnownRun | None
    """The run that wrote this."""
    seen_at: int | None
    """When that run last judged; the log knows it too."""
    jobs: tuple[OpenJob, ...] | None
    """The jobs that are open; None where that is not known."""
    damage_met: int = 0
    """How often the log was found to be damaged while it was in use."""
    loss: Loss | None = None
    """What was lost before and is not announced yet."""


class LastKnownFile:
    """The file beside a log, or in a folder where the log is on a server."""

    def __init__(self, log: Database, folder: Path) -> None:
        which = hashlib.sha256(log.name.encode()).hexdigest()[:12]
        self._path = log.beside("known.json") or folder / f"log-{which}.known.json"

    def read(self) -> LastKnown | None:
        """Return what was last known; None where there is nothing that can be read."""
        try:
            return LastKnown.model_validate_json(self._path.read_bytes())
        except (OSError, ValidationError):
            return None

    def write(self, known: LastKnown) -> None:
        """Keep it. Raises ``OSError``."""
        write_whole(self._path, known.model_dump_json())
