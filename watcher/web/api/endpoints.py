"""The HTTP API: everything the pages show, and what they do, for programs.

Programs show a token (``Authorization: Bearer …``); whoever is logged in may read it in a browser.
"""

from collections.abc import Iterable, Iterator, Sequence
from itertools import dropwhile, islice
from typing import Annotated, Any

import numpy as np
from fastapi import APIRouter, Depends, Header, HTTPException, Path, Query, Response
from fastapi.responses import JSONResponse, StreamingResponse
from fastapi.security import HTTPBearer

from watcher.i18n.language import ENGLISH, Language, accepted
from watcher.jobs import queries
from watcher.jobs.commands import StepTaken
from watcher.jobs.steps import StepName, StepOutcome, StepRequest
from watcher.judge.best_starts import best_starts
from watcher.judge.ranking import FieldNow
from watcher.judge.reasons import reasons
from watcher.limits.status import Status
from watcher.messages.words import CAUTION
from watcher.service.log_view import csv_by_day
from watcher.web.api import models
from watcher.web.api.conditional import ConditionalRoute
from watcher.web.api.paging import LINKED, Page, Paged
from watcher.web.auth.users import User
from watcher.web.context import AppContext
from watcher.web.open_jobs import by_field, open_jobs
from watcher.web.path_numbers import Number
from watcher.web.problem import PROBLEM

Answers = dict[int | str, dict[str, Any]]

_MOST_DAYS = 3660
_DAY_S = 86_400
_LAST_SECOND = 253_402_300_799  # the year 9999


def answers(*codes: int) -> Answers:
    """Describe answers of these codes."""
    words = {
        401: "No token, or none that is known",
        403: "The token's role may not do this",
        404: "There is nothing of this name or number",
        409: "The step does not fit the state of jobs, or the farm file",
        413: "The body is too large",
        422: "The request is not understood",
        429: "Too many at once",
        501: "This installation cannot do that",
        503: "The watch has only just started and has not judged yet",
    }
    return {code: {"model": models.Wrong, "description": words[code]} for code in codes}


_ASKS: Answers = {
    409: {
        "description": "The start needs a plain yes first, or does not fit the state of jobs",
        "model": models.AsksFirst | models.Wrong,
    }
}

FieldName = Annotated[str, Path(max_length=60, description="A field's name in the farm file")]
Moment = Annotated[int, Query(ge=0, le=_LAST_SECOND, description="Epoch seconds")]
Key = Annotated[
    str | None,
    Header(
        alias="Idempotency-Key",
        min_length=1,
        max_length=200,
        description="The same key is the same step: sent twice, it is taken once",
    ),
]
bearer = HTTPBearer(auto_error=False, description="A program's or a station's token")
API: dict[str, Any] = {"dependencies": [Depends(bearer)], "route_class": ConditionalRoute}
"""What every router of the API is made with."""


def asked_language(response: Response, accept_language: Annotated[str, Header()] = "") -> Language:
    """Return the language of sentences: the one asked for, English where there is no such."""
    language = accepted(accept_language) or ENGLISH
    response.headers["Content-Language"] = language.code
    response.headers["Vary"] = "Accept-Language"
    return language


Asked = Annotated[Language, Depends(asked_language)]


def router(context: AppContext) -> APIRouter:
    """Routes that read."""
    routes = APIRouter(prefix="/api/v1", tags=["farm"], **API)
    looker = Depends(context.auth.api_looker)

    @routes.get("/ranking", responses=answers(401, 503))
    def ranking(language: Asked, _user: User = looker) -> models.RankingSchema:
        """What to spray now in which order, and when the rest opens."""
        found = context.snapshot.ranking
        with context.watch.transactions.store.reading() as session:
            jobs = open_jobs(context, session)
        on = by_field(jobs)

        def shown(fields: Iterable[FieldNow]) -> list[models.FieldSchema]:
            return [
                models.FieldSchema.of(context.speaker, seen, found.at, language, on.get(seen.field))
                for seen in fields
            ]

        return models.RankingSchema(
            at=found.at,
            judged_at=context.watch.judged_at,
            old=context.old,
            caution=CAUTION.render(language),
            jobs=[models.JobStateSchema.of(job, language) for job in jobs],
            spray=shown(found.spray),
            rest=shown(found.rest),
        )

    @routes.get("/fields/{field}/reasons", responses=answers(401, 404, 422, 503))
    def why(
        field: FieldName,
        language: Asked,
        setup: Annotated[str | None, Query(max_length=60)] = None,
        _user: User = looker,
    ) -> models.ReasonsSchema:
        """Every limit of one field now, with the recommended setup or another one."""
        snapshot = context.snapshot
        plan = snapshot.judgement.plan
        case = (*_case(context, field, setup), snapshot.timeline.now_index)
        return models.ReasonsSchema(
            at=snapshot.timeline.now,
            field=field,
            setup=plan.setups[case[1]],
            status=models.status_word(Status(int(snapshot.judgement.status[case]))),
            limits=[
                models.LimitSchema.of(context.speaker, field, reason, language)
                for reason in reasons(snapshot.judgement, *case)
            ],
            remedies=[
                models.RemedySchema.of(context.speaker, remedy, snapshot.timeline.now, language)
                for remedy in snapshot.remedies(case, **_under_way(context, field))
            ],
        )

    @routes.get("/fields/{field}/forecast", responses=answers(401, 404, 422, 503))
    def forecast(
        field: FieldName,
        setup: Annotated[str | None, Query(max_length=60)] = None,
        *,
        language: Asked,
        _user: User = looker,
    ) -> models.ForecastSchema:
        """What one field is now and in the hours ahead."""
        snapshot = context.snapshot
        case = _case(context, field, setup)
        name = snapshot.judgement.plan.setups[case[1]]
        now, zone = snapshot.timeline.now, context.farm.zone
        days = best_starts(snapshot.judgement, snapshot.timeline.now_index, context.chances, field)
        return models.ForecastSchema(
            field=field,
            setup=name,
            hours=list(_hours(context, case)),
            best_starts=[models.DayStartsSchema.of(day, now, zone, language) for day in days],
        )

    @routes.get("/fields/{field}/hours", responses=answers(401, 404, 422, 503) | LINKED)
    def hours(
        field: FieldName,
        page: Paged,
        setup: Annotated[str | None, Query(max_length=60)] = None,
        *,
        language: Asked,
        _user: User = looker,
    ) -> list[models.HourReasons]:
        """Every limit of one field from now on, time by time: why it is open then, or is not."""
        case = _case(context, field, setup)
        judgement = context.snapshot.judgement.of_field(case[0])
        times = judgement.series.times.tolist()
        span = [n for n in _ahead(context) if page.after is None or times[n] > page.after]
        part = page.of(span[: page.limit + 1], [times[n] for n in span])
        return [
            models.HourReasons(
                at=times[n],
                status=models.status_word(Status(int(judgement.status[(*case, n)]))),
                limits=[
                    models.LimitSchema.of(context.speaker, field, reason, language)
                    for reason in reasons(judgement, *case, n)
                ],
            )
            for n in part
        ]

    @routes.get(
        "/log.csv",
        response_class=StreamingResponse,
        responses=answers(401, 404, 422)
        | {200: {"content": {"text/csv": {"schema": {"type": "string"}}}}},
    )
    def log(
        source: Annotated[str, Query(max_length=60)],
        start: Moment,
        end: Moment,
        _user: User = looker,
    ) -> StreamingResponse:
        """A source's readings with ``start <= time < end`` as CSV, streamed."""
        if source not in context.farm.config.sources:
            raise HTTPException(404, "no source of the farm has this name")
        if not start < end <= start + _MOST_DAYS * _DAY_S:
            raise HTTPException(422, f"end must be after start, by at most {_MOST_DAYS} days")
        return StreamingResponse(
            csv_by_day(context.watch.transactions.store, source, start, end),
            media_type="text/csv",
            headers={"Content-Disposition": f'attachment; filename="{source}.csv"'},
        )

    @routes.get("/health", responses=answers(401))
    def health(_user: User = looker) -> models.HealthSchema:
        """How the watch and its sources are. (``/health`` tells it to monitors by its status.)"""
        return models.HealthSchema.of(context.watch.health_now(), context.farm.zone)

    return routes


def jobs_router(context: AppContext) -> APIRouter:
    """Routes of the jobs."""
    routes = APIRouter(prefix="/api/v1/jobs", tags=["jobs"], **API)
    looker, runner = Depends(context.auth.api_looker), Depends(context.auth.api_runner)

    @routes.get("", responses=answers(401, 422) | LINKED)
    def every(
        page: Paged, start: Moment = 0, end: Moment = _LAST_SECOND, _user: User = looker
    ) -> list[models.JobSchema]:
        """Jobs that started in ``start <= time < end``, the oldest first."""
        with context.watch.transactions.store.reading() as session:
            every = queries.started(session, start, end, context.watch.clock.now())
            found = list(islice(_after(every, page), page.limit + 1))
            part = page.of(found, [view.job.id for view in found])
            return [models.JobSchema.of(view) for view in part]

    @routes.get("/{number}", responses=answers(401, 404, 422))
    def one(number: Number, _user: User = looker) -> models.JobWithEvents:
        """One job and what was done to it."""
        with context.watch.transactions.store.reading() as session:
            story = queries.story(session, number, context.watch.clock.now())
        return models.JobWithEvents.of_story(story)

    def say_step(taken: StepTaken, language: Language) -> models.StepSchema:
        said = taken.text.render(language)
        if taken.outcome is StepOutcome.REFUSED or taken.job is None:
            raise HTTPException(409, said)
        job = models.JobSchema.of(queries.view(taken.job, context.watch.clock.now()))
        return models.StepSchema(**job.model_dump(), outcome=taken.outcome.value, said=said)

    @routes.post(
        "",
        status_code=201,
        response_model=models.StepSchema,
        responses=answers(401, 403, 413, 422) | _ASKS,
    )
    async def start_job(
        asked: models.StartAsked, language: Asked, key: Key = None, user: User = runner
    ) -> models.StepSchema | JSONResponse:
        """Start a job. From now on the watch guards it.

        Where a label, a law or another limit stands against it, or cannot be judged, it is answered
        with 409 and what that is; the same with ``confirm`` naming all of it says yes.
        """
        step = StepRequest(
            StepName.START,
            user.name,
            field=asked.field,
            setup=asked.setup,
            confirm=tuple(asked.confirm),
            key=bare(key),
            at=asked.at,
        )
        taken = await context.watch.take_step(step)
        if taken.outcome is not StepOutcome.ASKS:
            return say_step(taken, language)
        now = context.watch.clock.now()
        question = models.AsksFirst.of(context.speaker, step.field, taken, now, language)
        return JSONResponse(question.model_dump(), status_code=409, media_type=PROBLEM)

    @routes.post("/{number}/{step}", responses=answers(401, 403, 404, 409, 413, 422))
    async def take_step(
        *,
        number: Number,
        step: models.StepOfJob,
        language: Asked,
        asked: models.StepAsked | None = None,
        key: Key = None,
        user: User = runner,
    ) -> models.StepSchema:
        """Take a step of a job: pause, resume, setup, finish, abandon, reading, change, or seen.

        A step that no longer applies is answered with 409 and what stands instead.
        """
        given = asked.model_dump() if asked else {}
        taken = StepRequest(StepName(step), user.name, job=number, key=bare(key), **given)
        return say_step(await context.watch.take_step(taken), language)

    return routes


def _after(every: Sequence[queries.JobView], page: Page) -> Iterator[queries.JobView]:
    """The jobs that come after the last one given, which may have begun before one of a lower

    number: a start is noted at the time it was tapped.
    """
    if page.after is None:
        return iter(every)
    rest = dropwhile(lambda view: view.job.id != page.after, every)
    next(rest, None)
    return rest


def bare(key: str | None) -> str | None:
    """A key without the quotes of a structured field (RFC 9651)."""
    return key and (key[1:-1] if key[0] == key[-1] == '"' and len(key) > 1 else key)


def _case(context: AppContext, field: str, setup: str | None) -> tuple[int, int]:
    """Indices of a field and of a setup it may use; the recommended one where none is named."""
    snapshot = context.snapshot
    plan = snapshot.judgement.plan
    if field not in plan.fields:
        raise HTTPException(404, "no field of the farm has this name")
    chosen = setup or str(snapshot.ranking.every[field].setup)
    index = plan.fields.index(field)
    if chosen not in plan.setups or not plan.allowed[index, plan.setups.index(chosen)]:
        raise HTTPException(404, "the field may use no setup of this name")
    return index, plan.setups.index(chosen)


def _under_way(context: AppContext, field: str) -> dict[str, Any]:
    """What is left of a job under way on a field, and which fields are being sprayed."""
    with context.watch.transactions.store.reading() as session:
        opened = list(queries.opened(session, context.watch.clock.now()))
    left = [view.job.planned_s - view.sprayed_s for view in opened if view.job.field == field]
    return {"left_s": next(iter(left), None), "busy": [view.job.field for view in opened]}


def _ahead(context: AppContext) -> range:
    """The times from now to the farm's horizon."""
    snapshot = context.snapshot
    horizon = snapshot.timeline.now + context.farm.config.judging.horizon
    last = int(np.searchsorted(snapshot.judgement.series.times, horizon))
    return range(snapshot.timeline.now_index, last)


def _hours(context: AppContext, case: tuple[int, int]) -> Iterator[models.HourSchema]:
    snapshot = context.snapshot
    judgement = snapshot.judgement
    of = judgement.plan.fields[case[0]], judgement.plan.setups[case[1]]
    for time in _ahead(context):
        at = int(judgement.series.times[time])
        status = Status(int(judgement.status[(*case, time)]))
        chance = (
            context.chances.now(*of, at, status)
            if time == snapshot.timeline.now_index
            else context.chances.at_hour(*of, at, status)
        )
        yield models.HourSchema(
            at=at,
            status=models.status_word(status),
            odds=chance and chance.chance,
            wind_m_s=models.finite(float(judgement.boom.wind_m_s[(*case, time)])),
            gust_m_s=models.finite(float(judgement.boom.gust_m_s[(*case, time)])),
        )
