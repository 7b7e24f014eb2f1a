"""The signed link of an alert: whoever was asked says that they have seen it, once."""

from dataclasses import dataclass

from fastapi import APIRouter, Request, Response
from fastapi.concurrency import run_in_threadpool
from sqlalchemy.orm import Session

from watcher.delivery.acknowledgement import BadLinkError, Links, Seen, linked
from watcher.delivery.sent_messages import field_of
from watcher.i18n.message import Message
from watcher.jobs import commands
from watcher.service.transactions import Transactions
from watcher.store.errors import LogError
from watcher.web.context import AppContext


@dataclass(frozen=True)
class AlertViewModel:
    """The alert a link is about, as its recipient had it."""

    title: str
    body: str
    language: str
    """The code of the language it was written in."""
    written_at: Message
    """On the farm's clock."""
    field: str | None
    """None where it is about no single field."""


def router(context: AppContext, links: Links) -> APIRouter:
    """Routes of the links. Nobody needs to be logged in: the link itself is the permission."""
    routes = APIRouter(include_in_schema=False)

    @routes.get("/seen/{token}")
    def ask(request: Request, token: str) -> Response:
        # Mail scanners and previews open links: a second touch acknowledges, not this.
        try:
            seen = links.read(token)
        except BadLinkError:
            return _page(context, request, token, "bad")
        try:
            with context.watch.transactions.store.reading() as session:
                alert = _alert(context, session, seen)
        except LogError:
            alert = None
        return _page(context, request, token, "ask", alert)

    @routes.post("/seen/{token}")
    async def confirm(request: Request, token: str) -> Response:
        await context.auth.form(request, await run_in_threadpool(context.auth.visitor, request))
        try:
            seen = links.read(token)
        except BadLinkError:
            return await run_in_threadpool(_page, context, request, token, "bad")
        first, alert = await context.watch.acknowledge(
            lambda transactions: _acknowledge(context, transactions, seen)
        )
        state = "old" if first is None else "done" if first.by == seen.recipient else "before"
        return await run_in_threadpool(_page, context, request, token, state, alert, first=first)

    return routes


def _acknowledge(
    context: AppContext, transactions: Transactions, link: Seen
) -> tuple[commands.FirstSeen | None, AlertViewModel | None]:
    with transactions.store.writing() as session:
        try:
            first = commands.see(session, link.ref, link.recipient, transactions.clock.now())
        except commands.BadStepError:
            first = None
        return first, _alert(context, session, link)


def _alert(context: AppContext, session: Session, seen: Seen) -> AlertViewModel | None:
    message = linked(session, seen, context.watch.clock.now())
    if message is None:
        return None
    return AlertViewModel(
        title=message.title,
        body=message.body,
        language=context.watch.transactions.post.people.language_of(message.recipient).code,
        written_at=context.clock(message.created_at),
        field=field_of(session, message),
    )


_STATUS = {"ask": 200, "done": 200, "before": 200, "old": 409, "bad": 404}


def _page(
    context: AppContext,
    request: Request,
    token: str,
    state: str,
    alert: AlertViewModel | None = None,
    *,
    first: commands.FirstSeen | None = None,
) -> Response:
    status = _STATUS[state]
    visitor = context.auth.visitor(request)
    answer = context.show(
        request,
        visitor,
        "acknowledge.html",
        status=status,
        token=token,
        state=state,
        alert=alert,
        seen_by=first and first.by,
        seen_at=first and context.clock(first.at),
    )
    if visitor.user is None:
        context.auth.enter(request, answer, visitor.token)
    return answer
