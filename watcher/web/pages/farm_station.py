"""A station added to a watch that runs: what it sends is pasted, looked at, and made an entry."""

from collections.abc import Mapping, Sequence

from fastapi import APIRouter, Depends, Request, Response

from watcher.farm.editing.first_farm import name_for
from watcher.farm.problems import Problem
from watcher.web.auth.authenticator import Visitor
from watcher.web.context import AppContext
from watcher.web.farm_in_use import in_use
from watcher.web.pages.farm_change import FarmChangeAsked, by_edits, change
from watcher.web.pages.farm_form import AtFaultError
from watcher.web.pages.station_form import MOST_BYTES, StationForm, Understood, digest, pasted

_STATION = "station"


def router(context: AppContext) -> APIRouter:
    """Routes of the form."""
    routes = APIRouter(include_in_schema=False)
    owner = Depends(context.auth.administrator)

    def form_of() -> StationForm:
        name = name_for("", context.watch.transactions.plan.farm.config.sources, _STATION)
        return StationForm(name, in_use(context).editor.texts(), context.watch.clock.now())

    def show(
        request: Request,
        visitor: Visitor,
        form: Mapping[str, str],
        found: Understood | None = None,
        problems: Sequence[Problem] = (),
    ) -> Response:
        return context.show(
            request,
            visitor,
            "farm_station.html",
            status=422 if problems else 200,
            **form_of().shown(pasted(form), form, found, problems),
        )

    @routes.get("/farm/add/station")
    def asks(request: Request, visitor: Visitor = owner) -> Response:
        return show(request, visitor, {})

    @routes.post("/farm/add/station")
    async def enter(request: Request, visitor: Visitor = owner) -> Response:
        form = await context.auth.form(request, visitor, long=True, most_bytes=MOST_BYTES)
        asked, body = form_of(), pasted(form)
        found: Understood | None = None
        try:
            found = asked.understood(body, form)
            if found.problems:
                return show(request, visitor, form, found, found.problems)
            if form.get("look") or form.get("looked") != digest(body):
                return show(request, visitor, form, found)
            edits = asked.edits(found, form)
        except AtFaultError as error:
            return show(request, visitor, form, found, error.problems)

        def refused(problems: Sequence[Problem]) -> Response:
            return show(request, visitor, form, found, problems)

        taken = FarmChangeAsked(by_edits(context, edits), form, "/farm", refused)
        return await change(context, request, visitor, taken)

    return routes
