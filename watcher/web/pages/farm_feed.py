"""Whose forecast: the open feeds that cover a place, each with its terms."""

from collections.abc import Sequence

from fastapi import APIRouter, Depends, Request, Response

from watcher.farm.feeds import foretells
from watcher.farm.validation.places import in_us
from watcher.i18n.message import Param, say
from watcher.web.auth.authenticator import Visitor
from watcher.web.context import AppContext
from watcher.web.pages.farm_change import show_form, take_form
from watcher.web.pages.farm_form import Field, FormPage

FORECAST = "forecast"
"""What a forecast is called where its owner has not named it."""
_FEEDS: Sequence[tuple[str, Param]] = (
    ("nws", say("The US weather service: fields in the United States; free, public domain")),
    ("met_norway", say("MET Norway: everywhere, mostly without gusts; free, CC BY 4.0, named")),
    (
        "open_meteo",
        say("Open-Meteo: everywhere; free only where it is not commercial; CC BY 4.0, named"),
    ),
)


def feed_field(name: str, place: tuple[float, float] | None) -> Field:
    """Ask whose forecast, of those that cover a place (latitude, longitude; degrees)."""
    covers = [one for one in _FEEDS if one[0] != "nws" or place is None or in_us(*place)]
    return Field("feed", ("sources", name, "kind"), say("Forecast"), "choice", covers)


def router(context: AppContext) -> APIRouter:
    """Routes of the form in a running watch."""
    routes = APIRouter(include_in_schema=False)
    owner = Depends(context.auth.administrator)

    def form_of() -> FormPage:
        farm = context.farm
        feeds = [name for name, entry in farm.config.sources.items() if foretells(entry)]
        field = feed_field(feeds[0] if feeds else FORECAST, farm.ground.middle)
        return FormPage(say("Whose forecast?"), "/farm", [(None, None, [field])])

    @routes.get("/farm/feed")
    def asks(request: Request, visitor: Visitor = owner) -> Response:
        return show_form(context, request, visitor, form_of())

    @routes.post("/farm/feed")
    async def changed(request: Request, visitor: Visitor = owner) -> Response:
        return await take_form(context, request, visitor, form_of())

    return routes
