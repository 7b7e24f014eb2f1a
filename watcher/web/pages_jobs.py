"""Spraying jobs: the one that runs, with what can be done about it, and those that are over."""

from dataclasses import dataclass
from typing import Any

from fastapi import APIRouter, Depends, Request, Response
from fastapi.responses import RedirectResponse
from sqlalchemy.orm import Session

from watcher.alerts.view import job_subject
from watcher.alerts.wording.weather import wind_line
from watcher.alerts.wording.words import name, span
from watcher.jobs.watch import JobSight, look, sprayed_s
from watcher.judge.status import Stand, Status
from watcher.store import jobs, outbox
from watcher.store.tables import Job, JobEvent, Message
from watcher.web.door import NotAllowedError, Visitor
from watcher.web.house import House
from watcher.web.job_steps import REFUSALS, Steps
from watcher.web.news import once
from watcher.web.sight import Line, Standing, line

_ANSWERS_BACK_S = 3 * 3600
_SHOWN_BACK_S = 60 * 86_400
_MOST_SHOWN = 50
_MOST_NOTE = 500


@dataclass(frozen=True)
class JobRow:
    """A job in a list."""

    number: int
    field: str
    setup: str
    state: str
    started: str
    sprayed: str


@dataclass(frozen=True)
class LiveSight:
    """How an open job stands now."""

    standing: Standing
    binding: Line
    limits: list[Line]
    left: str
    over: bool
    """Whether it is over its planned time."""
    breaks: str | None
    again: str | None
    other_setup: str | None


def router(house: House) -> APIRouter:
    """Routes of the jobs."""
    routes = APIRouter(include_in_schema=False)
    looker, runner = Depends(house.door.looker), Depends(house.door.runner)
    steps = Steps(house.watch)

    @routes.get("/jobs")
    def every(request: Request, visitor: Visitor = looker) -> Response:
        now = house.watch.clock.now()
        with house.watch.book.store.reading() as session:
            found = jobs.past_jobs(session, now - _SHOWN_BACK_S, now + 1)
            opened = jobs.open_jobs(session)
        return house.show(
            request,
            visitor,
            "jobs.html",
            opened=[_row(house, job) for job in opened],
            past=[_row(house, job) for job in reversed(found) if job.ended_at is not None][
                :_MOST_SHOWN
            ],
            fields=list(house.picture.ranking.every),
        )

    @routes.post("/jobs")
    async def start(request: Request, visitor: Visitor = runner) -> Response:
        told = await house.door.form(request, visitor)
        try:
            job = await steps.start(told.get("field", ""), told.get("setup", ""))
        except REFUSALS as refusal:
            return _refused(house, request, visitor, refusal)
        return RedirectResponse(f"/jobs/{job.id}", 303)

    @routes.get("/jobs/{number}")
    def one(request: Request, number: int, visitor: Visitor = looker) -> Response:
        with house.watch.book.store.reading() as session:
            told = _job(house, session, number)
        return house.show(request, visitor, "job.html", **told)

    @routes.post("/jobs/{number}/{step}")
    async def take(request: Request, number: int, step: str, visitor: Visitor = runner) -> Response:
        told = await house.door.form(request, visitor)
        try:
            await _take(steps, number, step, told, visitor)
        except REFUSALS as refusal:
            return _refused(house, request, visitor, refusal)
        return RedirectResponse(f"/jobs/{number}", 303)

    return routes


async def _take(
    steps: Steps, number: int, step: str, told: dict[str, str], visitor: Visitor
) -> None:
    note = told.get("note", "").strip()[:_MOST_NOTE]
    match step:
        case "pause":
            await steps.pause(number, note)
        case "resume":
            await steps.resume(number)
        case "setup":
            await steps.change_setup(number, told.get("setup", ""))
        case "finish":
            await steps.finish(number, note)
        case "abandon":
            await steps.abandon(number, note)
        case "seen":
            by = visitor.user.name if visitor.user else ""
            await steps.acknowledge(told.get("ref", ""), by)
        case _:
            raise NotAllowedError("there is no such step")


def _refused(house: House, request: Request, visitor: Visitor, refusal: Exception) -> Response:
    """Say why a step may not be taken: it did not happen."""
    return house.show(request, visitor, "problem.html", status=409, wrong=str(refusal), back=True)


def _row(house: House, job: Job) -> JobRow:
    now = house.watch.clock.now()
    return JobRow(
        number=job.id,
        field=job.field,
        setup=name(job.setup),
        state=job.state,
        started=house.clock(job.started_at),
        sprayed=span(sprayed_s(job, job.ended_at if job.ended_at is not None else now)),
    )


def _job(house: House, session: Session, number: int) -> dict[str, Any]:
    """Everything the page of one job tells."""
    job = jobs.job(session, number)
    since = house.watch.clock.now() - _ANSWERS_BACK_S
    open_now = job.ended_at is None
    unseen: list[Message] = []
    if open_now:
        unseen = outbox.unacknowledged(session, job_subject(number), since)
    return {
        "job": job,
        "row": _row(house, job),
        "planned": span(job.planned_s),
        "live": _live(house, job) if open_now else None,
        "weather": wind_line(house.picture.outlook.of(job.field)),
        "setups": _other_setups(house, job),
        "unseen": once(unseen),
        "events": [_event(house, e) for e in jobs.events(session, number) if e.what != "stood"],
        "ended": house.clock(job.ended_at) if job.ended_at is not None else None,
    }


def _live(house: House, job: Job) -> LiveSight | None:
    """None where the job's field or setup is no longer in the farm file."""
    picture = house.picture
    outlook = picture.outlook.of(job.field)
    try:
        seen = look(
            picture.judgement,
            outlook.now_index,
            job,
            wind_uncertainty_m_s=outlook.wind_uncertainty_m_s,
        )
    except LookupError:
        return None
    limits = [line(house, job.field, reason) for reason in seen.limits]
    return LiveSight(
        standing=Standing(_status(seen)),
        binding=limits[0],
        limits=limits,
        left=span(max(0.0, seen.left_s)),
        over=seen.left_s < 0,
        breaks=house.clock(seen.breaks_at) if seen.breaks_at is not None else None,
        again=house.clock(seen.holds_again_at) if seen.holds_again_at is not None else None,
        other_setup=name(seen.other_setup) if seen.other_setup else None,
    )


def _status(seen: JobSight) -> Status:
    """The worst of its limits, as the judgement combines them."""
    return Status(int(min((r.stand for r in seen.limits), default=Stand.UNKNOWN)))


def _other_setups(house: House, job: Job) -> list[str]:
    """Setups of the job's sprayer that its field may use, but the one it has."""
    plan, told = house.watch.book.plan, house.farm.told.setups
    if job.field not in plan.fields:
        return []
    field = plan.fields.index(job.field)
    return [
        s
        for i, s in enumerate(plan.setups)
        if plan.allowed[field, i] and told[s].sprayer == job.sprayer and s != job.setup
    ]


def _event(house: House, event: JobEvent) -> tuple[str, str, str]:
    detail = event.detail
    told = detail.get("to") or detail.get("setup") or detail.get("why") or detail.get("note") or ""
    return house.clock(event.at), event.what, str(told)
