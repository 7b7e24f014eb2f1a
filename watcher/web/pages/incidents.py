"""Accounts of incidents: those there are, the form for another one, and each as it was sealed."""

from functools import partial
from typing import cast

from fastapi import APIRouter, Depends, Request, Response
from fastapi.responses import RedirectResponse

from watcher.i18n.message import Message
from watcher.incidents import commands
from watcher.incidents.commands import DriftSuspicion
from watcher.incidents.facts import Suspected
from watcher.incidents.page import SUSPECTED, page_of
from watcher.incidents.place import moment_of
from watcher.records.errors import RecordError
from watcher.web.auth.authenticator import Visitor
from watcher.web.context import AppContext
from watcher.web.incident_accounts import seal_account
from watcher.web.path_numbers import Number
from watcher.web.svg.incident_map import incident_map

_MOST_TYPED, _MOST_PLACE, _MOST_KEY = 2000, 80, 64


def router(context: AppContext) -> APIRouter:
    """Routes of the accounts."""
    routes = APIRouter(include_in_schema=False)
    looker, runner = Depends(context.auth.looker), Depends(context.auth.runner)

    def listed(
        request: Request, visitor: Visitor, wrong: Message | None = None, **typed: str
    ) -> Response:
        with context.watch.transactions.store.reading() as session:
            found = commands.accounts(session)
        rows = [(one.account, context.clock(one.account.start)) for one in reversed(found)]
        return context.show(
            request,
            visitor,
            "incidents.html",
            status=200 if wrong is None else 422,
            rows=rows,
            ways=SUSPECTED,
            places=[*context.farm.config.fields, *context.farm.config.neighbours],
            wrong=wrong,
            typed=dict.fromkeys(_TYPED, "") | typed,
        )

    @routes.get("/incidents")
    def every(request: Request, visitor: Visitor = looker) -> Response:
        return listed(request, visitor)

    @routes.get("/incidents/{number}")
    def one(request: Request, number: Number, visitor: Visitor = looker) -> Response:
        try:
            with context.watch.transactions.store.reading() as session:
                sealed = commands.account(session, number)
        except RecordError as refusal:
            return context.show(
                request, visitor, "problem.html", status=404, wrong=refusal.text, back=True
            )
        page = page_of(sealed, context.language(request))
        return context.show(
            request, visitor, "incident.html", number=number, page=page, map=incident_map(page.map)
        )

    @routes.post("/incidents")
    async def write(request: Request, visitor: Visitor = runner) -> Response:
        form = await context.auth.form(request, visitor)
        typed = {name: form.get(name, "")[:_MOST_TYPED] for name in _TYPED}
        by = visitor.user.name if visitor.user else ""
        try:
            said = _suspicion(context, typed, form.get("key", "")[:_MOST_KEY] or None)
            sealed = await context.watch.run_and_rejudge(partial(seal_account, context, said, by))
        except RecordError as refusal:
            return listed(request, visitor, refusal.text, **typed)
        return RedirectResponse(f"/incidents/{sealed.account.number}", 303)

    return routes


_TYPED = ("suspected", "place", "from", "to", "seen")


def _suspicion(context: AppContext, typed: dict[str, str], key: str | None) -> DriftSuspicion:
    zone, until = context.farm.zone, typed["to"].strip()
    way = typed["suspected"] if typed["suspected"] in SUSPECTED else "onto us"
    return DriftSuspicion(
        suspected=cast("Suspected", way),
        place=typed["place"][:_MOST_PLACE],
        start=moment_of(typed["from"], zone),
        end=moment_of(until, zone) if until else None,
        seen=typed["seen"],
        step=key,
    )
