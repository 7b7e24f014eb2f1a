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
from watcher.web.api.endpoints import API, Asked, Key, answers, bare
from watcher.web.auth.users import User
from watcher.web.context import AppContext
from watcher.web.numbers import Number
from watcher.web.problem import problem


def router(house: AppContext) -> APIRouter:
    """The route that writes values."""
    routes = APIRouter(prefix="/api/v1", tags=["records"], **API)
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
            return problem(422, refusal.text.render(language), values=wrong)
        except RecordError as refusal:
            return problem(409, refusal.text.render(language))
        return models.RecordTold.of(record)

    return routes
