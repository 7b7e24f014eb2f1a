"""``watcher job …``: start, pause, go on with, change, finish and abandon a spraying job."""

import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Annotated

import typer
from rich.table import Table
from sqlalchemy.orm import Session

from watcher.alerts.wording.words import CAUTION, clock, span
from watcher.cli.opening import open_farm, open_log, open_settings, out, stop
from watcher.farm import Farm
from watcher.jobs import book
from watcher.jobs.watch import sprayed_s
from watcher.judge.plan import Plan
from watcher.store import jobs
from watcher.store.tables import Job

app = typer.Typer(no_args_is_help=True, help="A spraying job; while one runs, the watch guards it.")

Number = Annotated[int, typer.Argument(help="The job's number, see 'watcher job list'.")]
Note = Annotated[str, typer.Option(help="A remark for the record.")]


def add_to(root: typer.Typer) -> None:
    """Add this module's commands, as a group of their own."""
    root.add_typer(app, name="job")


@contextmanager
def _writing() -> Iterator[tuple[Session, Farm]]:
    """Open farm and log for one change; a change that may not be made is said, not made."""
    settings = open_settings()
    farm = open_farm(settings.farm)
    try:
        with open_log(settings) as log, log.writing() as session:
            yield session, farm
    except (book.JobNotPlannedError, jobs.JobConflictError, jobs.UnknownJobError) as error:
        stop(str(error))


def _say(job: Job, done: str) -> None:
    out.print(f"Job {job.id} on {job.field} with {job.setup}: {done}.", markup=False)


@app.command("start")
def start(
    field: Annotated[str, typer.Argument(help="The field's name.")],
    setup: Annotated[str, typer.Option(help="The setup the sprayer is rigged with.")],
) -> None:
    """Start a job on a field. From now on the watch tells you when the weather turns."""
    with _writing() as (session, farm):
        job = book.start(session, Plan.of(farm), field, setup, int(time.time()))
    _say(job, f"started, planned for {span(job.planned_s)}")
    out.print(CAUTION, markup=False)


@app.command("pause")
def pause(number: Number, note: Note = "") -> None:
    """Pause a job."""
    with _writing() as (session, _):
        job = jobs.pause(session, number, int(time.time()), note)
    _say(job, "paused")


@app.command("resume")
def resume(number: Number) -> None:
    """Go on with a paused job."""
    with _writing() as (session, _):
        job = jobs.resume(session, number, int(time.time()))
    _say(job, "going on")


@app.command("setup")
def change_setup(
    number: Number, setup: Annotated[str, typer.Argument(help="The setup from now on.")]
) -> None:
    """Go on with another setup of the same sprayer."""
    with _writing() as (session, farm):
        job = book.change_setup(session, Plan.of(farm), number, setup, int(time.time()))
    _say(job, "setup changed")


@app.command("finish")
def finish(number: Number, note: Note = "") -> None:
    """Finish a job that is done."""
    with _writing() as (session, _):
        job = jobs.finish(session, number, int(time.time()), note)
    _say(job, "finished")


@app.command("abandon")
def abandon(number: Number, note: Note = "") -> None:
    """Give up a job before it is done."""
    with _writing() as (session, _):
        job = jobs.abandon(session, number, int(time.time()), note)
    _say(job, "abandoned")


@app.command("list")
def list_jobs() -> None:
    """List the jobs that are not ended."""
    settings = open_settings()
    farm = open_farm(settings.farm)
    now = int(time.time())
    with open_log(settings) as log, log.reading() as session:
        found = jobs.open_jobs(session)
    if not found:
        out.print("No job is open.")
        return
    table = Table("Job", "Field", "Setup", "State", "Started", "Sprayed", "Planned")
    for job in found:
        table.add_row(
            str(job.id),
            job.field,
            job.setup,
            job.state,
            clock(job.started_at, now, farm.zone),
            span(sprayed_s(job, now)),
            span(job.planned_s),
        )
    out.print(table)
