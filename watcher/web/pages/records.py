"""The records of applications: how far each is, what it holds, and what is typed into it."""

from collections.abc import Callable, Mapping
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
from watcher.records.checklist import checklist
from watcher.records.errors import RecordError
from watcher.records.filling import Filled, fill
from watcher.records.form import FormError, WrongValuesError
from watcher.records.layout import Writer
from watcher.records.page import page_of
from watcher.records.rules import READ_ON, due_next
from watcher.records.weather_tables import weather_lines
from watcher.service.snapshot import compose
from watcher.web.auth.authenticator import Visitor
from watcher.web.context import AppContext
from watcher.web.path_numbers import Number

_SHOWN_BACK_S = 3 * 366 * 86_400
_MOST_TYPED = 500
_MOST_KEY = 64


@dataclass(frozen=True)
class RecordRow:
    """One job and how far its record is."""

    number: int
    field: str
    started: Message
    state: Message
    due: str


def router(context: AppContext) -> APIRouter:
    """Routes of the records."""
    routes = APIRouter(include_in_schema=False)
    looker, runner = Depends(context.auth.looker), Depends(context.auth.runner)

    @routes.get("/records")
    def every(request: Request, visitor: Visitor = looker) -> Response:
        now = context.watch.clock.now()
        with context.watch.transactions.store.reading() as session:
            found = queries.started(session, now - _SHOWN_BACK_S, now + 1, now)
            rows = [_row(context, session, view) for view in reversed(found)]
            verdict = journal.verify(session)
        return context.show(
            request, visitor, "records.html", rows=rows, verdict=verdict, shows=WHAT_IT_SHOWS
        )

    @routes.get("/records/{number}")
    def one(request: Request, number: Number, visitor: Visitor = looker) -> Response:
        try:
            values = _record(context, number, context.language(request))
        except RecordError as refusal:
            return _refused(context, request, visitor, refusal)
        return context.show(request, visitor, "record.html", number=number, **values)

    @routes.post("/records/{number}/save")
    async def save(request: Request, number: Number, visitor: Visitor = runner) -> Response:
        filled = _filled(await context.auth.form(request, visitor, long=True))
        by = visitor.user.name if visitor.user else ""
        plan, now = context.watch.transactions.plan, context.watch.clock.now()

        def work(session: Session) -> object:
            weather = partial(compose, session, plan)
            return fill(session, plan, weather, number, filled, by=by, now=now)

        try:
            await context.watch.run_and_rejudge(partial(_written, context, work))
        except WrongValuesError as refusal:
            values = _record(context, number, context.language(request), filled, refusal.wrong)
            return context.show(
                request, visitor, "record.html", status=422, number=number, **values
            )
        except RecordError as refusal:
            return _refused(context, request, visitor, refusal)
        return RedirectResponse(f"/records/{number}", 303)

    @routes.post("/records/{number}/close")
    async def close(request: Request, number: Number, visitor: Visitor = runner) -> Response:
        form = await context.auth.form(request, visitor)
        by = visitor.user.name if visitor.user else ""
        why = form.get("why", "")[:_MOST_TYPED] or None
        plan, now = context.watch.transactions.plan, context.watch.clock.now()

        def work(session: Session) -> object:
            weather = partial(compose, session, plan)
            return commands.close(session, plan, weather, number, by=by, now=now, incomplete=why)

        try:
            await context.watch.run_and_rejudge(partial(_written, context, work))
        except RecordError as refusal:
            return _refused(context, request, visitor, refusal)
        return RedirectResponse(f"/records/{number}", 303)

    return routes


def _written(context: AppContext, work: Callable[[Session], object]) -> None:
    with context.watch.transactions.store.writing() as session:
        work(session)


def _filled(form: Mapping[str, str]) -> Filled:
    """The checklist as it was sent: a value and what it was, under its key."""
    named: dict[str, dict[str, str]] = {"value": {}, "was": {}}
    for name, text in form.items():
        part, colon, key = name.partition(":")
        if colon and part in named:
            named[part][key] = text[:_MOST_TYPED]
    return Filled(
        named["value"],
        named["was"],
        step=form.get("step", "")[:_MOST_KEY] or None,
        why=form.get("why", "")[:_MOST_TYPED],
    )


def _refused(
    context: AppContext, request: Request, visitor: Visitor, refusal: RecordError
) -> Response:
    return context.show(request, visitor, "problem.html", status=409, wrong=refusal.text, back=True)


def _row(context: AppContext, session: Session, view: JobView) -> RecordRow:
    job = view.job
    record = commands.record_of(session, job.id)
    due = ""
    if record.closed is not None:
        whole = record.closed.closing.incomplete is None
        state = say("closed") if whole else say("closed incomplete")
    else:
        state = say("open") if record.entries else say("not begun")
        rules = context.farm.config.farm.record_rules
        due = due_next(rules, started=job.started_at, zone=context.farm.zone)
    return RecordRow(job.id, job.field, context.clock(job.started_at), state, due)


def _record(
    context: AppContext,
    number: int,
    language: Language,
    filled: Filled | None = None,
    wrong: Mapping[str, FormError] | None = None,
) -> dict[str, Any]:
    """Everything the page of one record tells; with a form that was not taken, as it was sent."""
    plan, now = context.watch.transactions.plan, context.watch.clock.now()
    with context.watch.transactions.store.reading() as session:
        ended = queries.story(session, number, now).view.job.ended_at is not None
        trouble, head = None, journal.head(session)
        try:
            record = commands.look(session, plan, partial(compose, session, plan), number, now)
        except RecordError as refusal:
            if not ended:
                raise
            record, trouble = commands.record_of(session, number), refusal.text
    rules = context.farm.config.farm.record_rules
    kept, closed = record.kept, record.closed
    writer = Writer(context.farm.zone, kept.units if kept else context.speaker.system, language)
    asked = rules if closed is None else closed.closing.rules
    written = {} if filled is None else filled.values
    return {
        "page": page_of(record, rules, head, blanks=False, language=language) if kept else None,
        "lists": checklist(record, asked, writer, written=written, wrong=wrong),
        "weather": list(weather_lines(kept, writer)) if kept else [],
        "rules": asked,
        "read_on": READ_ON.isoformat(),
        "closed": closed is not None,
        "ended": ended,
        "wrong": wrong or {},
        "trouble": trouble,
        "why": "" if filled is None else filled.why,
    }
