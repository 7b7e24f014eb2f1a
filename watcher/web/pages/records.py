"""The records of applications: how far each is, what it holds, and what is typed into it."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import Any

from fastapi import APIRouter, Depends, Request, Response
from fastapi.responses import RedirectResponse
from sqlalchemy.orm import Session

from watcher.i18n.language import Language
from watcher.i18n.message import Message, say
from watcher.jobs import queries
from watcher.jobs.queries import JobView
from watcher.records import commands, journal
from watcher.records.chain import WHAT_IT_SHOWS
from watcher.records.errors import RecordError
from watcher.records.form import FormError
from watcher.records.page import page_of
from watcher.records.rules import due_next
from watcher.service.snapshot import compose
from watcher.web.auth.authenticator import NotAllowedError, Visitor
from watcher.web.context import AppContext
from watcher.web.numbers import Number

_SHOWN_BACK_S = 3 * 366 * 86_400
_MOST_TYPED = 500
REFUSALS = (RecordError, FormError)
"""What says that a record may not be written so, and what would do."""


@dataclass(frozen=True)
class RecordRow:
    """One job and how far its record is."""

    number: int
    field: str
    started: Message
    state: Message
    due: str


def router(house: AppContext) -> APIRouter:
    """Routes of the records."""
    routes = APIRouter(include_in_schema=False)
    looker, runner = Depends(house.door.looker), Depends(house.door.runner)

    @routes.get("/records")
    def every(request: Request, visitor: Visitor = looker) -> Response:
        now = house.watch.clock.now()
        with house.watch.book.store.reading() as session:
            found = queries.started(session, now - _SHOWN_BACK_S, now + 1, now)
            rows = [_row(house, session, view) for view in reversed(found)]
            verdict = journal.verify(session)
        return house.show(
            request, visitor, "records.html", rows=rows, verdict=verdict, shows=WHAT_IT_SHOWS
        )

    @routes.get("/records/{number}")
    def one(request: Request, number: Number, visitor: Visitor = looker) -> Response:
        try:
            values = _record(house, number, house.language(request))
        except RecordError as refusal:
            return _refused(house, request, visitor, refusal)
        return house.show(request, visitor, "record.html", number=number, **values)

    @routes.post("/records/{number}/{step}")
    async def write(
        request: Request, number: Number, step: str, visitor: Visitor = runner
    ) -> Response:
        form = await house.door.form(request, visitor)
        by = visitor.user.name if visitor.user else ""
        work = _step(house, number, step, form, by)
        try:
            await house.watch.run_and_rejudge(partial(_written, house, work))
        except REFUSALS as refusal:
            return _refused(house, request, visitor, refusal)
        return RedirectResponse(f"/records/{number}", 303)

    return routes


def _written(house: AppContext, work: Callable[[Session], object]) -> None:
    with house.watch.book.store.writing() as session:
        work(session)


def _step(
    house: AppContext, number: int, step: str, form: dict[str, str], by: str
) -> Callable[[Session], object]:
    """The work of a step, to be done in the log."""
    now, plan = house.watch.clock.now(), house.watch.book.plan
    values = {form.get("key", ""): form.get("value", "")[:_MOST_TYPED]}
    why = form.get("why", "")[:_MOST_TYPED]
    match step:
        case "set":
            return lambda s: commands.tell(s, plan.farm, number, values, by=by, now=now)
        case "correct":
            return lambda s: commands.correct(s, plan.farm, number, values, why=why, by=by, now=now)
        case "close":
            return lambda s: commands.close(
                s, plan, partial(compose, s, plan), number, by=by, now=now, incomplete=why or None
            )
        case _:
            raise NotAllowedError("there is no such step")


def _refused(
    house: AppContext, request: Request, visitor: Visitor, refusal: RecordError | FormError
) -> Response:
    return house.show(request, visitor, "problem.html", status=409, wrong=refusal.text, back=True)


def _row(house: AppContext, session: Session, view: JobView) -> RecordRow:
    job = view.job
    record = commands.record_of(session, job.id)
    due = ""
    if record.closed is not None:
        whole = record.closed.closing.incomplete is None
        state = say("closed") if whole else say("closed incomplete")
    else:
        state = say("open") if record.entries else say("not begun")
        rules = house.farm.config.farm.record_rules
        due = due_next(rules, started=job.started_at, zone=house.farm.zone)
    return RecordRow(job.id, job.field, house.clock(job.started_at), state, due)


def _record(house: AppContext, number: int, language: Language) -> dict[str, Any]:
    """Everything the page of one record tells."""
    plan, now = house.watch.book.plan, house.watch.clock.now()
    with house.watch.book.store.reading() as session:
        ended = queries.story(session, number, now).view.job.ended_at is not None
        record = commands.look(session, plan, partial(compose, session, plan), number, now)
        head = journal.head(session)
    page = page_of(
        record, house.farm.config.farm.record_rules, head, blanks=True, language=language
    )
    keys = [
        (key, row[0])
        for table in page.tables
        for key, row in zip(table.keys, table.rows, strict=False)
    ]
    return {"page": page, "closed": record.closed is not None, "ended": ended, "keys": keys}
