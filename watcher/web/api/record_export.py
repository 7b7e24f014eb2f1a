"""Records of applications out: as a document that can be checked, a table, and pages to print."""

import io
from collections.abc import Sequence
from datetime import datetime
from functools import partial
from typing import Literal

from fastapi import APIRouter, Depends, HTTPException, Response
from sqlalchemy.orm import Session

from watcher.records import commands, journal
from watcher.records.document import write_document
from watcher.records.errors import RecordError
from watcher.records.page import page_of
from watcher.records.table import write_table
from watcher.service.snapshot import compose
from watcher.web.api.endpoints import API, Answers, answers
from watcher.web.auth.users import User
from watcher.web.context import AppContext
from watcher.web.path_numbers import Number


def _as(media_type: str) -> Answers:
    return {200: {"content": {media_type: {"schema": {"type": "string", "format": "binary"}}}}}


def router(context: AppContext) -> APIRouter:
    """Routes of the records."""
    routes = APIRouter(prefix="/api/v1", tags=["records"], **API)
    looker = Depends(context.auth.api_looker)
    reading = context.watch.transactions.store.reading

    @routes.get(
        "/records.json",
        response_class=Response,
        responses=answers(401) | {200: {"content": {"application/json": {"schema": {}}}}},
    )
    def document(_user: User = looker) -> Response:
        """Every record with the whole chain, as a document that checks by itself."""
        with reading() as session:
            data = write_document(journal.entries(session), commands.recorded(session))
        return _file(data, "application/json", "records.json")

    @routes.get("/records.csv", response_class=Response, responses=answers(401) | _as("text/csv"))
    def table(_user: User = looker) -> Response:
        """Every record as a row of a table."""
        with reading() as session:
            data = _table(session, commands.recorded(session))
        return _file(data, "text/csv", "records.csv")

    @routes.get(
        "/records/{number}/page.pdf",
        response_class=Response,
        responses=answers(401, 404, 409, 422, 501) | _as("application/pdf"),
    )
    def printed(number: Number, _user: User = looker) -> Response:
        """The record of one job, to print."""
        with reading() as session:
            return _file(_pdf(context, session, number), "application/pdf", f"record-{number}.pdf")

    return routes


def _file(data: bytes, media_type: str, name: str) -> Response:
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return Response(data, media_type=media_type, headers=headers)


def _table(session: Session, wanted: Sequence[int]) -> bytes:
    text = io.StringIO(newline="")
    write_table((commands.record_of(session, n) for n in wanted), journal.head(session), text)
    return text.getvalue().encode()


def _pdf(context: AppContext, session: Session, number: int) -> bytes:
    try:
        from watcher.records.pdf import write_pdf  # noqa: PLC0415  # an extra
    except ModuleNotFoundError as error:
        raise HTTPException(501, f"printing needs {error.name}: the extra [pdf]") from error
    plan, now = context.watch.transactions.plan, context.watch.clock.now()
    try:
        record = commands.look(session, plan, partial(compose, session, plan), number, now)
    except RecordError as error:
        raise HTTPException(409, str(error)) from error
    language = context.farm.language
    rules, head = context.farm.config.farm.record_rules, journal.head(session)
    page = page_of(record, rules, head, language=language)
    paper: Literal["letter", "a4"] = "letter" if context.speaker.system == "us" else "a4"
    return write_pdf([page], paper, datetime.fromtimestamp(now, context.farm.zone), language)
