"""Steps of jobs as the tests of other rooms need them: taken by the one command, or it is said."""

from typing import Any

from sqlalchemy.orm import Session

from tests.support.farms import build, tables
from watcher.jobs.commands import take
from watcher.jobs.steps import StepName, StepOutcome, StepRequest
from watcher.limits.farm_arrays import FarmArrays
from watcher.store import jobs
from watcher.store.tables import Job, JobStep

_ANY_PLAN = FarmArrays.of(build(tables()))
"""Its time zone words the answers, which are not looked at."""


def nothing_against(_field: str, _setup: str) -> tuple[()]:
    """What stands against a start where the weather does not count."""
    return ()


def start(session: Session, plan: FarmArrays, field: str, setup: str, at: int) -> Job:
    """Start a job by the farm file."""
    return _taken(session, plan, StepRequest(StepName.START, "tests", field=field, setup=setup), at)


def started(session: Session, *, at: int, planned_s: float, **of: Any) -> Job:
    """Start a job of a field and setup that no farm file needs to have."""
    job = jobs.start(session, at=at, planned_s=planned_s, **of)
    detail = {"setup": job.setup, "sprayer": job.sprayer, "planned_s": planned_s}
    first = JobStep(job_id=job.id, name="start", by="", key=f"job {job.id}", at=at, received_at=at)
    first.asked, first.detail = {}, detail
    session.add(first)
    session.flush()
    return job


def pause(session: Session, job: int, at: int, why: str = "") -> Job:
    """Pause a running job."""
    return _taken(session, _ANY_PLAN, StepRequest(StepName.PAUSE, "", job=job, note=why), at)


def resume(session: Session, job: int, at: int) -> Job:
    """Go on with a paused job."""
    return _taken(session, _ANY_PLAN, StepRequest(StepName.RESUME, "", job=job), at)


def change_setup(session: Session, plan: FarmArrays, job: int, setup: str, at: int) -> Job:
    """Go on with another setup."""
    return _taken(session, plan, StepRequest(StepName.SETUP, "", job=job, setup=setup), at)


def finish(session: Session, job: int, at: int, note: str = "", done: str = "") -> Job:
    """End a job whose field is done, or a part of it."""
    step = StepRequest(StepName.FINISH, "", job=job, note=note, done=done)
    return _taken(session, _ANY_PLAN, step, at)


def abandon(session: Session, job: int, at: int, note: str = "") -> Job:
    """End a job whose field is not done."""
    return _taken(session, _ANY_PLAN, StepRequest(StepName.ABANDON, "", job=job, note=note), at)


def _taken(session: Session, plan: FarmArrays, step: StepRequest, now: int) -> Job:
    taken = take(session, plan, step, now, nothing_against)
    assert taken.outcome is StepOutcome.DONE, taken.text
    assert taken.job is not None
    return taken.job
