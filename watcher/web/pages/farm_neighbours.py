"""What a neighbour is to labels and laws, on a page; its boundary is changed on the map."""

from dataclasses import replace

from fastapi import APIRouter, Depends, HTTPException, Request, Response

from watcher.farm.models import Neighbour
from watcher.i18n.message import Name, joined, say
from watcher.web.auth.authenticator import Visitor
from watcher.web.context import AppContext
from watcher.web.pages.farm_change import show_form, take_form
from watcher.web.pages.farm_form import FormPage
from watcher.web.pages.rule_forms import field_of


def router(context: AppContext) -> APIRouter:
    """Routes of the page."""
    routes = APIRouter(include_in_schema=False)
    owner = Depends(context.auth.administrator)

    @routes.get("/farm/neighbours/{name}")
    def asks(request: Request, name: str, visitor: Visitor = owner) -> Response:
        return show_form(context, request, visitor, _page(context, name))

    @routes.post("/farm/neighbours/{name}")
    async def changed(request: Request, name: str, visitor: Visitor = owner) -> Response:
        return await take_form(context, request, visitor, _page(context, name))

    return routes


def _page(context: AppContext, name: str) -> FormPage:
    config = context.farm.config
    if name not in config.neighbours:
        raise HTTPException(404, "nothing of the farm has this name")
    at, system = ("neighbours", name), config.farm.units
    asked = [field_of(Neighbour, key, at, system) for key in Neighbour.model_fields]
    minds = say("What spray does to it")
    asked = [replace(one, label=minds) if one.name == "susceptibility" else one for one in asked]
    return FormPage(
        joined([say("Neighbour"), Name(name)], ": "), "/farm/map", [(None, None, asked)]
    )
