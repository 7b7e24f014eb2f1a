"""The HTTP API: everything the pages show, and what they do, for programs.

Programs show a token (``Authorization: Bearer …``); whoever is logged in may read it in a browser.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from itertools import pairwise
from typing import Annotated, Any

import numpy as np
from fastapi import APIRouter, Depends, HTTPException, Path, Query
from fastapi.responses import StreamingResponse
from fastapi.security import HTTPBearer

from watcher.alerts.wording.words import CAUTION
from watcher.judge.reasons import reasons
from watcher.judge.status import Status
from watcher.store import jobs
from watcher.store.export import write_observations
from watcher.store.tables import Job
from watcher.web import api_models as told
from watcher.web.access import User
from watcher.web.house import OLD_AFTER_S, House
from watcher.web.job_steps import REFUSALS, Steps

Answers = dict[int | str, dict[str, Any]]

_MOST_DAYS = 3660
_DAY_S = 86_400
_LAST_SECOND = 253_402_300_799  # the year 9999
_BIGGEST_NUMBER = 2**31 - 1


def answers(*codes: int) -> Answers:
    """Describe answers of these codes."""
    words = {
        401: "No token, or none that is known",
        403: "The token's role may not do this",
        404: "There is nothing of this name or number",
        409: "The step does not fit the state of jobs, or the farm file",
        413: "The body is too large",
        422: "The request is not understood",
        501: "This installation cannot do that",
        503: "The watch has only just started and has not judged yet",
    }
    return {code: {"model": told.Wrong, "description": words[code]} for code in codes}


FieldName = Annotated[str, Path(max_length=60, description="A field's name in the farm file")]
JobNumber = Annotated[int, Path(ge=1, le=_BIGGEST_NUMBER)]
Moment = Annotated[int, Query(ge=0, le=_LAST_SECOND, description="Epoch seconds")]
bearer = HTTPBearer(auto_error=False, description="A program's or a station's token")


def router(house: House) -> APIRouter:
    """Routes that read."""
    routes = APIRouter(prefix="/api", tags=["farm"], dependencies=[Depends(bearer)])
    looker = Depends(house.door.api_looker)

    @routes.get("/ranking", responses=answers(401, 503))
    def ranking(_user: User = looker) -> told.RankingTold:
        """What to spray now in which order, and when the rest opens."""
        found, judged_at = house.picture.ranking, house.watch.judged_at
        now = house.watch.clock.now()
        return told.RankingTold(
            at=found.at,
            judged_at=judged_at,
            old=judged_at is None or now - judged_at > OLD_AFTER_S,
            caution=CAUTION,
            spray=[told.FieldTold.of(house.speaker, seen) for seen in found.spray],
            rest=[told.FieldTold.of(house.speaker, seen) for seen in found.rest],
        )

    @routes.get("/fields/{field}/reasons", responses=answers(401, 404, 422, 503))
    def why(
        field: FieldName,
        setup: Annotated[str | None, Query(max_length=60)] = None,
        _user: User = looker,
    ) -> told.ReasonsTold:
        """Every limit of one field now, with the recommended setup or another one."""
        picture = house.picture
        plan = picture.judgement.plan
        case = (*_case(house, field, setup), picture.outlook.now_index)
        return told.ReasonsTold(
            at=picture.outlook.now,
            field=field,
            setup=plan.setups[case[1]],
            status=told.status_word(Status(int(picture.judgement.status[case]))),
            limits=[
                told.LimitTold.of(house.speaker, field, reason)
                for reason in reasons(picture.judgement, *case)
            ],
        )

    @routes.get("/fields/{field}/forecast", responses=answers(401, 404, 422, 503))
    def forecast(
        field: FieldName,
        setup: Annotated[str | None, Query(max_length=60)] = None,
        _user: User = looker,
    ) -> told.ForecastTold:
        """What one field is now and in the hours ahead."""
        picture = house.picture
        case = _case(house, field, setup)
        name = picture.judgement.plan.setups[case[1]]
        return told.ForecastTold(field=field, setup=name, hours=list(_hours(house, case)))

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
        if source not in house.farm.told.sources:
            raise HTTPException(404, "no source of the farm has this name")
        if not start < end <= start + _MOST_DAYS * _DAY_S:
            raise HTTPException(422, f"end must be after start, by at most {_MOST_DAYS} days")
        return StreamingResponse(
            _lines(house, source, start, end),
            media_type="text/csv",
            headers={"Content-Disposition": f'attachment; filename="{source}.csv"'},
        )

    @routes.get("/health", responses=answers(401))
    def health(_user: User = looker) -> told.HealthTold:
        """How the watch and its sources are. (``/health`` tells it to monitors by its status.)"""
        found = house.watch.book.health(house.watch.judged_at)
        return told.HealthTold.model_validate(found.as_json())

    return routes


def jobs_router(house: House) -> APIRouter:
    """Routes of the jobs."""
    routes = APIRouter(prefix="/api/jobs", tags=["jobs"], dependencies=[Depends(bearer)])
    looker, runner = Depends(house.door.api_looker), Depends(house.door.api_runner)
    steps = Steps(house.watch)
    step_answers = answers(401, 403, 404, 409, 413, 422)

    def say(job: Job) -> told.JobTold:
        return told.JobTold.of(job, house.watch.clock.now())

    @routes.get("", responses=answers(401, 422))
    def every(
        start: Moment = 0, end: Moment = _LAST_SECOND, _user: User = looker
    ) -> list[told.JobTold]:
        """Jobs that started in ``start <= time < end``, the oldest first."""
        with house.watch.book.store.reading() as session:
            return [say(job) for job in jobs.past_jobs(session, start, end)]

    @routes.get("/{number}", responses=answers(401, 404, 422))
    def one(number: JobNumber, _user: User = looker) -> told.JobWithEvents:
        """One job and what was done to it."""
        with house.watch.book.store.reading() as session:
            job = jobs.job(session, number)
            events = [told.EventTold.of(event) for event in jobs.events(session, number)]
        return told.JobWithEvents(**say(job).model_dump(), events=events)

    @routes.post("", status_code=201, responses=answers(401, 403, 409, 413, 422))
    async def start_job(asked: told.StartAsked, _user: User = runner) -> told.JobTold:
        """Start a job. From now on the watch guards it."""
        with _refusals():
            return say(await steps.start(asked.field, asked.setup))

    @routes.post("/{number}/pause", responses=step_answers)
    async def pause(number: JobNumber, asked: told.NoteAsked, _user: User = runner) -> told.JobTold:
        """Pause a running job."""
        with _refusals():
            return say(await steps.pause(number, asked.note))

    @routes.post("/{number}/resume", responses=answers(401, 403, 404, 409, 422))
    async def resume(number: JobNumber, _user: User = runner) -> told.JobTold:
        """Go on with a paused job."""
        with _refusals():
            return say(await steps.resume(number))

    @routes.post("/{number}/setup", responses=step_answers)
    async def change_setup(
        number: JobNumber, asked: told.SetupAsked, _user: User = runner
    ) -> told.JobTold:
        """Go on with another setup of the same sprayer."""
        with _refusals():
            return say(await steps.change_setup(number, asked.setup))

    @routes.post("/{number}/finish", responses=step_answers)
    async def finish(
        number: JobNumber, asked: told.NoteAsked, _user: User = runner
    ) -> told.JobTold:
        """End a job whose field is done."""
        with _refusals():
            return say(await steps.finish(number, asked.note))

    @routes.post("/{number}/abandon", responses=step_answers)
    async def abandon(
        number: JobNumber, asked: told.NoteAsked, _user: User = runner
    ) -> told.JobTold:
        """End a job whose field is not done."""
        with _refusals():
            return say(await steps.abandon(number, asked.note))

    return routes


@contextmanager
def _refusals() -> Iterator[None]:
    """Turn a step that may not be taken into the answer 409."""
    try:
        yield
    except REFUSALS as refusal:
        raise HTTPException(409, str(refusal)) from refusal


def _case(house: House, field: str, setup: str | None) -> tuple[int, int]:
    """Indices of a field and of a setup it may use; the recommended one where none is named."""
    picture = house.picture
    plan = picture.judgement.plan
    if field not in plan.fields:
        raise HTTPException(404, "no field of the farm has this name")
    chosen = setup or str(picture.ranking.every[field].setup)
    index = plan.fields.index(field)
    if chosen not in plan.setups or not plan.allowed[index, plan.setups.index(chosen)]:
        raise HTTPException(404, "the field may use no setup of this name")
    return index, plan.setups.index(chosen)


def _hours(house: House, case: tuple[int, int]) -> Iterator[told.HourTold]:
    picture = house.picture
    judgement = picture.judgement
    first = picture.outlook.now_index
    horizon = picture.outlook.now + house.farm.told.judging.horizon
    last = int(np.searchsorted(judgement.series.times, horizon))
    for time in range(first, last):
        yield told.HourTold(
            at=int(judgement.series.times[time]),
            status=told.status_word(Status(int(judgement.status[(*case, time)]))),
            wind_m_s=told.finite(float(judgement.boom.wind_m_s[(*case, time)])),
            gust_m_s=told.finite(float(judgement.boom.gust_m_s[(*case, time)])),
        )


class _Piece:
    """A text file that is handed on in pieces instead of being kept."""

    def __init__(self) -> None:
        self.written: list[str] = []

    def write(self, text: str) -> int:
        self.written.append(text)
        return len(text)

    def take(self) -> str:
        taken, self.written = "".join(self.written), []
        return taken


def _lines(house: House, source: str, start: int, end: int) -> Iterator[str]:
    """The CSV a day at a time, in one look at the log; the heading once."""
    piece = _Piece()
    days = [*range(start, end, _DAY_S), end]
    with house.watch.book.store.reading() as session:
        for first, last in pairwise(days):
            write_observations(session, [source], first, last, piece)  # type: ignore[arg-type]
            text = piece.take()
            yield text if first == start else text.partition("\r\n")[2]
