"""``watcher job …``: start, pause, go on with, change, finish and abandon a spraying job."""

import getpass
import sys
import time
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Annotated

import typer

from watcher.cli.context import (
    answer,
    open_farm,
    open_log,
    open_settings,
    out,
    remark,
    stop,
    table_of,
)
from watcher.cli.language import in_words
from watcher.cli.time_range import moment_before
from watcher.farm import Farm
from watcher.i18n.message import Message, Name, Sentence, WallTime, joined, say
from watcher.jobs import queries
from watcher.jobs.by_hand import MEASURED
from watcher.jobs.changes import CHANGED
from watcher.jobs.commands import BadStepError, StepTaken, take
from watcher.jobs.steps import StepName, StepOutcome, StepRequest
from watcher.judge.job_action import JobAction
from watcher.judge.start_check import Obstacle
from watcher.limits.farm_arrays import FarmArrays
from watcher.messages.job_state import ACTION_SHAPES, ACTION_WORDS, NOBODY_WATCHES, NOT_WATCHED
from watcher.messages.reasons import Speaker
from watcher.messages.start import LABEL_STANDS, obstacle_line
from watcher.messages.vocabulary import JOB_STATE_WORDS
from watcher.messages.words import CAUTION, span
from watcher.service.health import is_watched
from watcher.service.job_actions import job_actions
from watcher.service.snapshot import take as take_snapshot
from watcher.settings import Settings
from watcher.store.errors import UnknownJobError

app = typer.Typer(no_args_is_help=True, help="A spraying job; while one runs, the watch guards it.")

Confirm = Annotated[
    list[str] | None,
    typer.Option(
        help='A plain yes to what stands against the start, as it was asked: "gust broken". '
        "Give it once for each."
    ),
]
Number = Annotated[int, typer.Argument(help="The job's number, see 'watcher job list'.")]
Note = Annotated[str, typer.Option(help="A remark for the record.")]
Done = Annotated[
    str, typer.Option(help='How much of the field, if not all: "40 %", or an area such as "5 ha".')
]
At = Annotated[
    str | None, typer.Option(help='When, if not now: "06:30", or with its date "2026-06-10 06:30".')
]
Key = Annotated[
    str | None, typer.Option(help="The same key is the same step: given twice, it is taken once.")
]


def add_to(root: typer.Typer) -> None:
    """Add this module's commands, as a group of their own."""
    root.add_typer(app, name="job")


def _take(
    name: StepName,
    *,
    at: str | None,
    key: str | None,
    job: int | None = None,
    confirm: Sequence[str] = (),
    measured: Mapping[str, str] | None = None,
    changed: Mapping[str, str] | None = None,
    **asked: str,
) -> StepTaken:
    """Take a step and say what became of it; one that was not taken is said, and exit 2."""
    settings = open_settings()
    farm = open_farm(settings.farm)
    now = int(time.time())
    try:
        tapped_at = None if at is None else moment_before(at, now, farm)
        step = StepRequest(
            name,
            getpass.getuser(),
            job=job,
            key=key,
            at=tapped_at,
            confirm=tuple(confirm),
            measured=measured or {},
            changed=changed or {},
            **asked,
        )
        taken = _taken(settings, farm, step, now)
        if taken.outcome is StepOutcome.ASKS and _says_yes(farm, step, taken, now):
            agreed = tuple(one.token for one in taken.obstacles)
            taken = _taken(settings, farm, replace(step, confirm=agreed), now)
    except UnknownJobError as error:
        stop(error.text)
    except BadStepError as error:
        stop(str(error))
    if taken.outcome is StepOutcome.ASKS:
        stop(say("Not started."))
    if taken.outcome is StepOutcome.REFUSED:
        stop(taken.text)
    answer(Sentence(taken.text))
    return taken


def _taken(settings: Settings, farm: Farm, step: StepRequest, now: int) -> StepTaken:
    plan = FarmArrays.of(farm)
    with open_log(settings) as log, log.writing() as session:

        def look(field: str, setup: str) -> tuple[Obstacle, ...]:
            return take_snapshot(session, plan, now).against_start(field, setup)

        return take(session, plan, step, now, look)


def _says_yes(farm: Farm, step: StepRequest, taken: StepTaken, now: int) -> bool:
    """Ask for a plain yes where somebody sits in front of it; say how to give it elsewhere."""
    speaker = Speaker(farm)
    remark(say("This stands against a start on {field}:", field=Name(step.field)))
    for one in taken.obstacles:
        remark(joined(["- ", Sentence(obstacle_line(speaker, step.field, one, now))], ""))
    remark(LABEL_STANDS)
    if sys.stdin.isatty():
        return typer.confirm(in_words(say("Start all the same?")), default=False, err=True)
    options = " ".join(f'--confirm "{one.token}"' for one in taken.obstacles)
    remark(say("To say yes, add {options}", options=options))
    return False


@app.command("start")
def start(
    field: Annotated[str, typer.Argument(help="The field's name.")],
    setup: Annotated[str, typer.Option(help="The setup the sprayer is rigged with.")],
    confirm: Confirm = None,
    at: At = None,
    key: Key = None,
) -> None:
    """Start a job on a field. From now on the watch tells you when the weather turns."""
    agreed = confirm or ()
    job = _take(StepName.START, at=at, key=key, field=field, setup=setup, confirm=agreed).job
    if job is not None:
        answer(say("{setup}, planned for {span}.", setup=job.setup, span=span(job.planned_s)))
    answer(CAUTION)


@app.command("pause")
def pause(number: Number, note: Note = "", at: At = None, key: Key = None) -> None:
    """Pause a job."""
    _take(StepName.PAUSE, at=at, key=key, job=number, note=note)


@app.command("resume")
def resume(number: Number, at: At = None, key: Key = None) -> None:
    """Go on with a paused job."""
    _take(StepName.RESUME, at=at, key=key, job=number)


@app.command("setup")
def change_setup(
    number: Number,
    setup: Annotated[str, typer.Argument(help="The setup from now on.")],
    at: At = None,
    key: Key = None,
) -> None:
    """Go on with another setup of the same sprayer."""
    _take(StepName.SETUP, at=at, key=key, job=number, setup=setup)


@app.command("reading")
def reading(
    *,
    number: Number,
    wind: Annotated[str, typer.Option(help='Wind at boom height: "12 mph".')] = "",
    gust: Annotated[str, typer.Option(help='Gust at boom height: "15 mph".')] = "",
    wind_from: Annotated[str, typer.Option(help='Where the wind is from: "300 deg".')] = "",
    temperature: Annotated[str, typer.Option(help='Air temperature: "75 degF".')] = "",
    humidity: Annotated[str, typer.Option(help='Relative humidity: "40 %".')] = "",
    at: At = None,
    key: Key = None,
) -> None:
    """Tell what was measured by hand at boom height: it counts for 20 minutes in this job."""
    read = (wind, gust, wind_from, temperature, humidity)
    measured = dict(zip(MEASURED, read, strict=True))
    _take(StepName.READING, at=at, key=key, job=number, measured=measured)


@app.command("change")
def change(
    *,
    number: Number,
    retardant: Annotated[
        str, typer.Option(help="Drift retardant added: a product of the farm file, or its kind.")
    ] = "",
    rate: Annotated[str, typer.Option(help="The rate it was added at, as on its label.")] = "",
    boom: Annotated[str, typer.Option(help='Height the boom is at now: "15 in".')] = "",
    speed: Annotated[str, typer.Option(help='Speed from now on: "5 mph".')] = "",
    strip: Annotated[
        str, typer.Option(help='Strip left unsprayed: "60 ft", or "2 passes" of the boom.')
    ] = "",
    beside: Annotated[str, typer.Option(help="The neighbour the strip is left beside.")] = "",
    at: At = None,
    key: Key = None,
) -> None:
    """Tell what was changed on the sprayer or left of the field: the job is judged so from then."""
    said = (retardant, rate, boom, speed, strip, beside)
    changed = dict(zip(CHANGED, said, strict=True))
    _take(StepName.CHANGE, at=at, key=key, job=number, changed=changed)


@app.command("finish")
def finish(
    number: Number, note: Note = "", done: Done = "", at: At = None, key: Key = None
) -> None:
    """Finish a job: the field, or the part of it that was to be sprayed, is done."""
    if not done and sys.stdin.isatty():
        asked = in_words(say("How much of the field was sprayed? Empty for all that was left"))
        done = typer.prompt(asked, default="", show_default=False)
    _take(StepName.FINISH, at=at, key=key, job=number, note=note, done=done)


@app.command("abandon")
def abandon(
    number: Number, note: Note = "", done: Done = "", at: At = None, key: Key = None
) -> None:
    """Give up a job before it is done."""
    _take(StepName.ABANDON, at=at, key=key, job=number, note=note, done=done)


@app.command("list")
def list_jobs() -> None:
    """List the jobs that are not ended."""
    settings = open_settings()
    farm = open_farm(settings.farm)
    now = int(time.time())
    with open_log(settings) as log, log.reading() as session:
        found = queries.opened(session, now)
        snapshot = take_snapshot(session, FarmArrays.of(farm), now)
        watched = is_watched(session, now)
        states = job_actions(session, Speaker(farm), snapshot) if found and watched else {}
    if not found:
        answer(say("No job is open."))
        return
    table = table_of(
        say("Job"),
        say("Field"),
        say("Setup"),
        say("State"),
        say("Do"),
        say("Started"),
        say("Sprayed"),
        say("Planned"),
    )
    for view in found:
        job = view.job
        table.add_row(
            str(job.id),
            job.field,
            job.setup,
            in_words(JOB_STATE_WORDS[job.state]),
            in_words(_to_do(states.get(job.id))),
            in_words(WallTime(job.started_at, now, farm.zone)),
            in_words(span(view.sprayed_s)),
            in_words(span(job.planned_s)),
        )
    out.print(table)
    if not watched:
        answer(NOBODY_WATCHES[1])


def _to_do(state: JobAction | None) -> Message:
    if state is None:
        return NOT_WATCHED[0]
    return joined([ACTION_SHAPES[state.action], ACTION_WORDS[state.action]], " ")
