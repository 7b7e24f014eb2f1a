"""Records of applications for programs: looked at, filled in and closed, as on their page."""

from collections.abc import Callable
from functools import partial
from typing import Any

from fastapi import APIRouter, Depends
from fastapi.responses import JSONResponse
from sqlalchemy.orm import Session

from watcher.i18n.language import Language
from watcher.records import commands
from watcher.records.errors import RecordError
from watcher.records.filling import Filled, fill
from watcher.records.form import WrongValuesError
from watcher.records.record import Record
from watcher.service.snapshot import compose
from watcher.web.api import models
from watcher.web.api.endpoints import API, Asked, Key, answers, bare
from watcher.web.api.paging import LINKED, Paged
from watcher.web.auth.users import User
from watcher.web.context import AppContext
from watcher.web.path_numbers import Number
from watcher.web.problem import problem


def router(context: AppContext) -> APIRouter:
    """Routes of the records as they stand."""
    routes = APIRouter(prefix="/api/v1/records", tags=["records"], **API)
    looker, runner = Depends(context.auth.api_looker), Depends(context.auth.api_runner)
    changes: dict[str, Any] = {
        "response_model": models.RecordSchema,
        "responses": answers(401, 403, 404, 409, 413, 422),
    }

    @routes.get("", responses=answers(401, 422) | LINKED)
    def every(page: Paged, _user: User = looker) -> list[models.RecordSchema]:
        """The record of every job that has one, as written so far, by the job's number."""
        with context.watch.transactions.store.reading() as session:
            found = [n for n in commands.recorded(session) if n > (page.after or 0)]
            numbers = page.of(found, found)
            return [models.RecordSchema.of(commands.record_of(session, n)) for n in numbers]

    @routes.get(
        "/{number}", response_model=models.RecordSchema, responses=answers(401, 404, 409, 422)
    )
    def one(
        number: Number, language: Asked, _user: User = looker
    ) -> models.RecordSchema | JSONResponse:
        """The record of one job; what is not kept of it yet is gathered as it would be now."""
        plan, now = context.watch.transactions.plan, context.watch.clock.now()
        with context.watch.transactions.store.reading() as session:
            try:
                weather = partial(compose, session, plan)
                return models.RecordSchema.of(commands.look(session, plan, weather, number, now))
            except RecordError as refusal:
                return problem(409, refusal.text.render(language))

    @routes.post("/{number}/values", **changes)
    async def write(
        number: Number,
        asked: models.ValuesAsked,
        language: Asked,
        key: Key = None,
        user: User = runner,
    ) -> models.RecordSchema | JSONResponse:
        """Write values into the record of an ended job: all of them, or none.

        In a closed record they are corrections. A value that cannot be written is answered with
        422, each by its key under ``values``.
        """
        plan, now = context.watch.transactions.plan, context.watch.clock.now()
        filled = Filled(asked.values, asked.was, step=bare(key), why=asked.why)

        def work(session: Session) -> Record:
            weather = partial(compose, session, plan)
            return fill(session, plan, weather, number, filled, by=user.name, now=now)

        return await _written(context, work, language)

    @routes.post("/{number}/close", **changes)
    async def close(
        number: Number,
        language: Asked,
        asked: models.CloseAsked | None = None,
        user: User = runner,
    ) -> models.RecordSchema | JSONResponse:
        """Close a record: from then on only corrections are added.

        Where a rule asks for what it does not have it is refused, unless ``incomplete`` says why.
        """
        plan, now = context.watch.transactions.plan, context.watch.clock.now()
        why = None if asked is None else asked.incomplete

        def work(session: Session) -> Record:
            weather = partial(compose, session, plan)
            return commands.close(
                session, plan, weather, number, by=user.name, now=now, incomplete=why
            )

        return await _written(context, work, language)

    return routes


async def _written(
    context: AppContext, work: Callable[[Session], Record], language: Language
) -> models.RecordSchema | JSONResponse:
    def written() -> Record:
        with context.watch.transactions.store.writing() as session:
            return work(session)

    try:
        record = await context.watch.run_and_rejudge(written)
    except WrongValuesError as refusal:
        wrong = {k: e.beside.render(language) for k, e in refusal.wrong.items()}
        return problem(422, refusal.text.render(language), values=wrong)
    except RecordError as refusal:
        return problem(409, refusal.text.render(language))
    return models.RecordSchema.of(record)
