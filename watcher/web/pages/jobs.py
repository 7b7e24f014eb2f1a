"""Spraying jobs: the one that runs, with what can be done about it, and those that are over."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from fastapi import APIRouter, Depends, Request, Response
from fastapi.responses import RedirectResponse
from sqlalchemy.orm import Session

from watcher.alerts.context import job_subject
from watcher.delivery.sent_messages import unseen
from watcher.i18n.language import Language
from watcher.i18n.message import Message, Name, Param, Sentence, joined, say
from watcher.i18n.message import Number as Digits
from watcher.jobs import queries
from watcher.jobs.by_hand import MEASURED
from watcher.jobs.changes import (
    CHANGED,
    CHANGED_WORDS,
    neighbours_in_reach,
    retardants,
)
from watcher.jobs.commands import StepTaken
from watcher.jobs.queries import JobStory, JobView
from watcher.jobs.state import JobState, look
from watcher.jobs.steps import StepName, StepOutcome, StepRequest
from watcher.jobs.wind_nowcast import recent_wind, wind_nowcast
from watcher.judge.start_check import Against
from watcher.limits.catalogue import Limit
from watcher.messages.chances import open_until
from watcher.messages.remedies import remedy_lines
from watcher.messages.start import LABEL_STANDS, obstacle_line
from watcher.messages.vocabulary import JOB_EVENT_WORDS, JOB_STATE_WORDS
from watcher.messages.wind_warning import likely_line
from watcher.messages.words import span
from watcher.weather.quantities import BY_NAME
from watcher.web.auth.authenticator import NotAllowedError, Visitor
from watcher.web.context import AppContext
from watcher.web.open_jobs import open_job, open_jobs
from watcher.web.pages.air_now import air_now, last_minutes
from watcher.web.pages.taps import tapped_at
from watcher.web.pages.view_models import LimitLine, line
from watcher.web.path_numbers import Number

_ANSWERS_BACK_S = 3 * 3600
_SHOWN_BACK_S = 60 * 86_400
_MOST_SHOWN = 50
_MOST_AT_ONCE = 20
_BETWEEN = ", "
_MOST_NOTE, _MOST_NAME = 500, 200


@dataclass(frozen=True)
class JobRow:
    """A job in a list."""

    number: int
    field: str
    setup: Message
    state: Message
    started: Message
    sprayed: Message


@dataclass(frozen=True)
class LiveViewModel:
    """How an open job stands now."""

    limits: list[LimitLine]
    left: Message
    over: bool
    """Whether it is over its planned time."""
    breaks: Message | None
    again: Message | None
    remedies: list[Message]
    """What would bring it within its limits, the best first."""
    ahead: Message | None
    """How likely the wind soon passes its bound; None far from it, and while nobody can tell."""


def router(context: AppContext) -> APIRouter:
    """Routes of the jobs."""
    routes = APIRouter(include_in_schema=False)
    looker, runner = Depends(context.auth.looker), Depends(context.auth.runner)

    @routes.get("/jobs")
    def every(request: Request, visitor: Visitor = looker) -> Response:
        now = context.watch.clock.now()
        with context.watch.transactions.store.reading() as session:
            found = queries.started(session, now - _SHOWN_BACK_S, now + 1, now)
            opened = open_jobs(context, session)
        return context.show(
            request,
            visitor,
            "jobs.html",
            opened=opened,
            past=[_row(context, view) for view in reversed(found) if view.job.ended_at is not None][
                :_MOST_SHOWN
            ],
            fields=list(context.snapshot.ranking.every),
        )

    @routes.post("/jobs")
    async def start(request: Request, visitor: Visitor = runner) -> Response:
        form = await context.auth.form(request, visitor)
        step = _step(context, StepName.START, form, visitor)
        return await _taken(context, request, visitor, step, form)

    @routes.get("/jobs/{number}")
    def one(request: Request, number: Number, visitor: Visitor = looker) -> Response:
        with context.watch.transactions.store.reading() as session:
            values = job_page(context, session, number, context.language(request))
        return context.show(request, visitor, "job.html", **values)

    @routes.post("/jobs/{number}/{name}")
    async def take(
        request: Request, number: Number, name: str, visitor: Visitor = runner
    ) -> Response:
        form = await context.auth.form(request, visitor)
        if name not in set(StepName) - {StepName.START}:
            raise NotAllowedError("there is no such step")
        step = _step(context, StepName(name), form, visitor, number)
        return await _taken(context, request, visitor, step, form)

    return routes


def _measured(context: AppContext, form: Mapping[str, str]) -> dict[str, str]:
    """What a form says was measured; a number alone is in the unit its label names."""
    found = {}
    for name in MEASURED:
        text = form.get(name, "").strip()[:_MOST_NAME]
        if text:
            unit = BY_NAME[name].kind.shown[context.speaker.system]
            found[name] = (
                text if not text.replace(",", ".").replace(".", "").isdigit() else f"{text} {unit}"
            )
    return found


def _step(
    context: AppContext,
    name: StepName,
    form: dict[str, str],
    visitor: Visitor,
    job: int | None = None,
) -> StepRequest:
    """The step a form asks for."""

    def text(key: str, longest: int = _MOST_NAME) -> str:
        return form.get(key, "").strip()[:longest]

    return StepRequest(
        name,
        visitor.user.name if visitor.user else "",
        job=job,
        field=text("field"),
        setup=text("setup"),
        confirm=tuple(filter(None, form.get("confirm", "").split(_BETWEEN))),
        note=text("note", _MOST_NOTE),
        done=text("done"),
        measured=_measured(context, form),
        changed={name: text(name) for name in CHANGED if text(name)},
        ref=text("ref"),
        key=text("key") or None,
    )


async def _taken(
    context: AppContext,
    request: Request,
    visitor: Visitor,
    step: StepRequest,
    form: Mapping[str, str],
) -> Response:
    """Take a step and show the job; or say what stands instead of what was asked for."""
    others = form.get("others", "").split()[:_MOST_AT_ONCE]
    step = replace(step, at=tapped_at(form, context.watch.clock.now()))
    taken = await context.watch.take_step(step)
    for ref in others:  # one tap says of all that stands on the page that it was seen
        await context.watch.take_step(replace(step, name=StepName.SEEN, ref=ref, key=None))
    if taken.outcome is StepOutcome.ASKS:
        return _asks(context, request, visitor, step, taken)
    if taken.outcome is StepOutcome.REFUSED:
        return context.show(
            request, visitor, "problem.html", status=409, wrong=taken.text, back=True
        )
    number = step.job if taken.job is None else taken.job.id
    return RedirectResponse(f"/jobs/{number}", 303)


def _asks(
    context: AppContext, request: Request, visitor: Visitor, step: StepRequest, taken: StepTaken
) -> Response:
    """Ask for a plain yes to what stands against a start; nothing has begun."""
    now, found = context.watch.clock.now(), taken.obstacles
    return context.show(
        request,
        visitor,
        "asks.html",
        status=409,
        field=step.field,
        setup=step.setup,
        against=[Sentence(obstacle_line(context.speaker, step.field, one, now)) for one in found],
        stands=LABEL_STANDS,
        strips=all(one.against is Against.STRIP for one in found),
        confirm=_BETWEEN.join(one.token for one in found),
        wrong=taken.text,
    )


def _row(context: AppContext, view: JobView) -> JobRow:
    job = view.job
    return JobRow(
        number=job.id,
        field=job.field,
        setup=Name(job.setup),
        state=JOB_STATE_WORDS[job.state],
        started=context.clock(job.started_at),
        sprayed=span(view.sprayed_s),
    )


def job_page(
    context: AppContext, session: Session, number: int, language: Language
) -> dict[str, Any]:
    """Everything the page of one job tells."""
    now = context.watch.clock.now()
    story = queries.story(session, number, now)
    job = story.view.job
    open_now = job.ended_at is None
    live = _live(context, session, story) if open_now else None
    return {
        "job": job,
        "row": _row(context, story.view),
        "planned": span(job.planned_s),
        "live": live,
        "meter": [
            (name, BY_NAME[name].words, BY_NAME[name].kind.shown[context.speaker.system])
            for name in MEASURED
        ],
        "left": None if story.left is None else f"{story.left:.0%}",
        "by_time": f"{min(1.0, story.view.sprayed_s / max(job.planned_s, 1.0)):.0%}",
        "do": open_job(context, session, number) if open_now else None,
        "air": air_now(context, job.field, job.setup) if live else None,
        "trace": live and last_minutes(context, session, job.field, job.setup, language),
        "setups": _other_setups(context, story.view),
        "retardants": retardants(context.watch.transactions.plan),
        "beside": neighbours_in_reach(context.watch.transactions.plan, job.field),
        "unseen": unseen(session, job_subject(number), now - _ANSWERS_BACK_S) if open_now else [],
        "events": _events(context, story),
        "ended": context.clock(job.ended_at) if job.ended_at is not None else None,
    }


def _live(context: AppContext, session: Session, story: JobStory) -> LiveViewModel | None:
    """None where the job's field or setup is no longer in the farm file."""
    job = story.view.job
    snapshot = context.snapshot
    timeline = snapshot.timeline.of(job.field)
    try:
        seen = look(snapshot.judgement, timeline.now_index, job)
    except LookupError:
        return None
    limits = [line(context, job.field, reason) for reason in seen.limits]
    return LiveViewModel(
        limits=limits,
        left=span(max(0.0, seen.left_s)),
        over=seen.left_s < 0,
        breaks=None
        if seen.breaks_at is None
        else open_until(seen.breaks_at, None, snapshot.timeline.now, context.farm.zone),
        again=context.clock(seen.holds_again_at) if seen.holds_again_at is not None else None,
        remedies=_remedies(context, session, seen),
        ahead=_likely(context, session, seen),
    )


def _remedies(context: AppContext, session: Session, seen: JobState) -> list[Message]:
    snapshot, plan = context.snapshot, context.snapshot.judgement.plan
    index = snapshot.timeline.of(seen.job.field).now_index
    at = plan.fields.index(seen.job.field), plan.setups.index(seen.job.setup), index
    busy = [view.job.field for view in queries.opened(session, context.watch.clock.now())]
    found = snapshot.remedies(at, left_s=seen.left_s, busy=busy)
    return remedy_lines(context.speaker, found, snapshot.timeline.now)


def _likely(context: AppContext, session: Session, seen: JobState) -> Message | None:
    job = seen.job
    timeline = context.snapshot.timeline.of(job.field)
    recent = recent_wind(session, timeline)
    wind = seen.by_limit.get(Limit.WIND)
    if recent is None or wind is None:
        return None
    strays = queries.wind_strays(session, job.id, recent.source)
    judgement = context.snapshot.judgement
    now = wind_nowcast(judgement, timeline.now_index, job, recent, spread_scale=strays)
    if now is None or not now.mean_ahead.lasts[-1] or now.crossing.wind_over[-1]:
        return None
    return likely_line(context.speaker, now, wind)


def _other_setups(context: AppContext, view: JobView) -> list[str]:
    """Setups of the job's sprayer that its field may use, but the one it has."""
    job = view.job
    plan, all_setups = context.watch.transactions.plan, context.farm.config.setups
    if job.field not in plan.fields:
        return []
    field = plan.fields.index(job.field)
    return [
        s
        for i, s in enumerate(plan.setups)
        if plan.allowed[field, i] and all_setups[s].sprayer == job.sprayer and s != job.setup
    ]


def _events(context: AppContext, story: JobStory) -> list[tuple[Message, Param, Message]]:
    """When, what, and what was said with it."""
    found: list[tuple[Message, Param, Message]] = []
    for event in story.steps:
        detail, share = event.detail, event.detail.get("done_share")
        what = detail.get("to") or detail.get("setup") or detail.get("why") or detail.get("note")
        parts: list[Param] = [
            "" if share is None else Digits(f"{share:.0%}"),
            str(what or ""),
            detail.get("by", ""),
        ]
        parts += [_said(n, text) for n, text in detail.get("said", {}).items()]
        parts += [
            say("against it, and answered with yes: {said}", said=one["said"])
            for one in detail.get("against", ())
        ]
        word = JOB_EVENT_WORDS.get(event.what, event.what)
        found.append((context.clock(event.at), word, joined(filter(None, parts))))
    return found


def _said(name: str, text: str) -> Param:
    """What a step said of a measured quantity or of a change, as it was written."""
    if name in CHANGED_WORDS:
        return joined([CHANGED_WORDS[name], text], " ")
    return f"{BY_NAME[name].name} {text}"
