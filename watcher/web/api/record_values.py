"""Records of applications filled in by a program: the same as the form of their page."""

from functools import partial

from fastapi import APIRouter, Depends
from fastapi.responses import JSONResponse
from sqlalchemy.orm import Session

from watcher.records.errors import RecordError
from watcher.records.filling import Filled, fill
from watcher.records.form import WrongValuesError
from watcher.records.record import Record
from watcher.service.snapshot import compose
from watcher.web.api import models
from watcher.web.api.endpoints import Asked, Key, answers, bare, bearer
from watcher.web.auth.users import User
from watcher.web.context import AppContext
from watcher.web.numbers import Number

_PROBLEM = "application/problem+json"


def router(house: AppContext) -> APIRouter:
    """The route that writes values."""
    routes = APIRouter(prefix="/api/v1", tags=["records"], dependencies=[Depends(bearer)])
    runner = Depends(house.door.api_runner)

    @routes.post(
        "/records/{number}/values",
        response_model=models.RecordTold,
        responses=answers(401, 403, 404, 409, 413, 422),
    )
    async def write(
        number: Number,
        asked: models.ValuesAsked,
        language: Asked,
        key: Key = None,
        user: User = runner,
    ) -> models.RecordTold | JSONResponse:
        """Write values into the record of an ended job: all of them, or none.

        In a closed record they are corrections. A value that cannot be written is answered with
        422, each by its key under ``values``.
        """
        plan, now = house.watch.book.plan, house.watch.clock.now()
        filled = Filled(asked.values, asked.was, step=bare(key), why=asked.why)

        def work(session: Session) -> Record:
            weather = partial(compose, session, plan)
            return fill(session, plan, weather, number, filled, by=user.name, now=now)

        def written() -> Record:
            with house.watch.book.store.writing() as session:
                return work(session)

        try:
            record = await house.watch.run_and_rejudge(written)
        except WrongValuesError as refusal:
            wrong = {k: e.beside.render(language) for k, e in refusal.wrong.items()}
            problem = {"wrong": refusal.text.render(language), "values": wrong}
            return JSONResponse(problem, status_code=422, media_type=_PROBLEM)
        except RecordError as refusal:
            problem = {"wrong": refusal.text.render(language)}
            return JSONResponse(problem, status_code=409, media_type=_PROBLEM)
        return models.RecordTold.of(record)

    return routes
