"""The records of applications: how far each is, what it holds, and what is typed into it."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import Any

from fastapi import APIRouter, Depends, Request, Response
from fastapi.responses import RedirectResponse
from sqlalchemy.orm import Session

from watcher.records import book, journal
from watcher.records.chain import WHAT_IT_SHOWS
from watcher.records.errors import RecordError
from watcher.records.form import FormError
from watcher.records.page import page_of
from watcher.records.rules import due_next
from watcher.service.picture import compose
from watcher.store import jobs
from watcher.store.tables import Job
from watcher.web.door import NotAllowedError, Visitor
from watcher.web.house import House

_SHOWN_BACK_S = 3 * 366 * 86_400
_MOST_TYPED = 500
REFUSALS = (RecordError, FormError, jobs.JobConflictError)
"""What says that a record may not be written so, and what would do."""


@dataclass(frozen=True)
class RecordRow:
    """One job and how far its record is."""

    number: int
    field: str
    started: str
    state: str
    due: str


def router(house: House) -> APIRouter:
    """Routes of the records."""
    routes = APIRouter(include_in_schema=False)
    looker, runner = Depends(house.door.looker), Depends(house.door.runner)

    @routes.get("/records")
    def every(request: Request, visitor: Visitor = looker) -> Response:
        now = house.watch.clock.now()
        with house.watch.book.store.reading() as session:
            found = reversed(jobs.past_jobs(session, now - _SHOWN_BACK_S, now + 1))
            rows = [_row(house, session, job) for job in found]
            verdict = journal.verify(session)
        return house.show(
            request, visitor, "records.html", rows=rows, verdict=verdict, shows=WHAT_IT_SHOWS
        )

    @routes.get("/records/{number}")
    def one(request: Request, number: int, visitor: Visitor = looker) -> Response:
        try:
            told = _record(house, number)
        except RecordError as refusal:
            return _refused(house, request, visitor, refusal)
        return house.show(request, visitor, "record.html", number=number, **told)

    @routes.post("/records/{number}/{step}")
    async def write(
        request: Request, number: int, step: str, visitor: Visitor = runner
    ) -> Response:
        told = await house.door.form(request, visitor)
        by = visitor.user.name if visitor.user else ""
        work = _step(house, number, step, told, by)
        try:
            await house.watch.in_log(partial(_written, house, work))
        except REFUSALS as refusal:
            return _refused(house, request, visitor, refusal)
        return RedirectResponse(f"/records/{number}", 303)

    return routes


def _written(house: House, work: Callable[[Session], object]) -> None:
    with house.watch.book.store.writing() as session:
        work(session)


def _step(
    house: House, number: int, step: str, told: dict[str, str], by: str
) -> Callable[[Session], object]:
    """The work of a step, to be done in the log."""
    now, plan = house.watch.clock.now(), house.watch.book.plan
    values = {told.get("key", ""): told.get("value", "")[:_MOST_TYPED]}
    why = told.get("why", "")[:_MOST_TYPED]
    match step:
        case "set":
            return lambda s: book.tell(s, plan.farm, number, values, by=by, now=now)
        case "correct":
            return lambda s: book.correct(s, plan.farm, number, values, why=why, by=by, now=now)
        case "close":
            return lambda s: book.close(
                s, plan, partial(compose, s, plan), number, by=by, now=now, incomplete=why or None
            )
        case _:
            raise NotAllowedError("there is no such step")


def _refused(house: House, request: Request, visitor: Visitor, refusal: Exception) -> Response:
    return house.show(request, visitor, "problem.html", status=409, wrong=str(refusal), back=True)


def _row(house: House, session: Session, job: Job) -> RecordRow:
    record = book.record_of(session, job.id)
    due = ""
    if record.closed is not None:
        state = "closed" if record.closed.closing.incomplete is None else "closed incomplete"
    else:
        state = "open" if record.entries else "not begun"
        rules = house.farm.told.farm.record_rules
        due = due_next(rules, started=job.started_at, zone=house.farm.zone)
    return RecordRow(job.id, job.field, house.clock(job.started_at), state, due)


def _record(house: House, number: int) -> dict[str, Any]:
    """Everything the page of one record tells."""
    plan, now = house.watch.book.plan, house.watch.clock.now()
    with house.watch.book.store.reading() as session:
        ended = jobs.job(session, number).ended_at is not None
        record = book.look(session, plan, partial(compose, session, plan), number, now)
        head = journal.head(session)
    page = page_of(record, house.farm.told.farm.record_rules, head, blanks=True)
    keys = [
        (key, row[0])
        for table in page.tables
        for key, row in zip(table.keys, table.rows, strict=False)
    ]
    return {"page": page, "closed": record.closed is not None, "ended": ended, "keys": keys}
