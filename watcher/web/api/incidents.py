"""Accounts of incidents for programs: written, read, and out as pages and documents."""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from functools import partial
from typing import Annotated, Literal, Self

from fastapi import APIRouter, Depends, HTTPException, Response
from pydantic import Field

from watcher.incidents import commands
from watcher.incidents.commands import DriftSuspicion, Sealed
from watcher.incidents.facts import Account, Suspected
from watcher.incidents.page import page_of
from watcher.records import journal
from watcher.records.document import write_document
from watcher.records.errors import RecordError
from watcher.web.api.endpoints import API, Asked, Key, answers, bare
from watcher.web.api.models import ApiModel
from watcher.web.api.models import Asked as AskedModel
from watcher.web.api.paging import LINKED, Paged
from watcher.web.auth.users import User
from watcher.web.context import AppContext
from watcher.web.incident_accounts import seal_account
from watcher.web.path_numbers import Number

_LAST_SECOND = 253_402_300_799
_At = Annotated[int, Field(ge=0, le=_LAST_SECOND)]


class SuspicionAsked(AskedModel):
    """What is suspected, where and when."""

    suspected: Suspected
    """Onto the farm's crop, or from one of its jobs."""
    place: Annotated[str, Field(min_length=1, max_length=80)]
    """A field, a neighbour, or "latitude, longitude" in degrees."""
    start: _At
    """When, or from when: epoch seconds."""
    end: _At | None = None
    """Until when, where it may have been a span."""
    seen: Annotated[str, Field(max_length=2000)] = ""
    """What was seen, in your words."""


class AccountSchema(ApiModel):
    """An account as it was sealed."""

    number: int
    entry: int
    """Its entry in the chain of the records."""
    at: int
    """When it was sealed."""
    by: str
    hash: str
    account: Account
    """SI, epoch seconds; null where a thing is not known."""

    @classmethod
    def of(cls, sealed: Sealed) -> Self:
        """Tell an account."""
        link = sealed.link
        number = sealed.account.number
        return cls(
            number=number,
            entry=link.number,
            at=link.at,
            by=link.by,
            hash=link.hash,
            account=sealed.account,
        )


def router(context: AppContext) -> APIRouter:
    """Routes of the accounts."""
    routes = APIRouter(prefix="/api/v1", tags=["incidents"], **API)
    looker, runner = Depends(context.auth.api_looker), Depends(context.auth.api_runner)
    reading = context.watch.transactions.store.reading

    @routes.get("/incidents", responses=answers(401, 422) | LINKED)
    def every(page: Paged, _user: User = looker) -> list[AccountSchema]:
        """Every account, the oldest first."""
        with reading() as session:
            every = [AccountSchema.of(sealed) for sealed in commands.accounts(session)]
        found = [one for one in every if page.after is None or one.number > page.after]
        return list(page.of(found, [one.number for one in found]))

    @routes.get("/incidents/{number}", responses=answers(401, 404, 422))
    def one(number: Number, _user: User = looker) -> AccountSchema:
        """One account."""
        with reading() as session, _known():
            return AccountSchema.of(commands.account(session, number))

    @routes.post(
        "/incidents",
        responses=answers(401, 403, 409, 413, 422),
    )
    async def write(
        asked: SuspicionAsked, language: Asked, key: Key = None, user: User = runner
    ) -> AccountSchema:
        """Gather what the log holds of a place and a time, and seal it. It is never changed."""
        said = DriftSuspicion(
            suspected=asked.suspected,
            place=asked.place,
            start=asked.start,
            end=asked.end,
            seen=asked.seen,
            step=bare(key),
        )
        try:
            sealed = await context.watch.run_and_rejudge(
                partial(seal_account, context, said, user.name)
            )
        except RecordError as refusal:
            raise HTTPException(409, refusal.text.render(language)) from refusal
        return AccountSchema.of(sealed)

    @routes.get(
        "/incidents/{number}/page.pdf",
        response_class=Response,
        responses=answers(401, 404, 422, 501)
        | {200: {"content": {"application/pdf": {"schema": {"type": "string"}}}}},
    )
    def printed(number: Number, _user: User = looker) -> Response:
        """An account, to print."""
        try:
            from watcher.records.pdf import write_pdf  # noqa: PLC0415  # an extra
        except ModuleNotFoundError as error:
            raise HTTPException(501, f"printing needs {error.name}: the extra [pdf]") from error
        with reading() as session, _known():
            sealed = commands.account(session, number)
        language = context.farm.language
        paper: Literal["letter", "a4"] = "letter" if context.speaker.system == "us" else "a4"
        at = datetime.fromtimestamp(context.watch.clock.now(), context.farm.zone)
        data = write_pdf([page_of(sealed, language)], paper, at, language)
        return _file(data, "application/pdf", f"incident-{number}.pdf")

    @routes.get(
        "/incidents/{number}/document.json",
        response_class=Response,
        responses=answers(401, 404, 422) | {200: {"content": {"application/json": {"schema": {}}}}},
    )
    def document(number: Number, _user: User = looker) -> Response:
        """An account with the whole chain, as a document that checks by itself."""
        with reading() as session, _known():
            sealed = commands.account(session, number)
            data = write_document(journal.entries(session), [], [sealed.link.number])
        return _file(data, "application/json", f"incident-{number}.json")

    return routes


@contextmanager
def _known() -> Iterator[None]:
    try:
        yield
    except RecordError as error:
        raise HTTPException(404, str(error.text)) from error


def _file(data: bytes, media_type: str, name: str) -> Response:
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return Response(data, media_type=media_type, headers=headers)
