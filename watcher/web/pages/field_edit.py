"""What changes on a field every week: weeds, height, days, product, and the bounds of a limit."""

from collections.abc import Mapping
from typing import Any

from fastapi import APIRouter, Depends, HTTPException, Request, Response

from watcher.farm.models import FarmFile, WeedPressure, Weeds
from watcher.i18n.message import Message, Name, Param, say
from watcher.limits.catalogue import IN_WINDOWS
from watcher.messages.vocabulary import LIMIT_WORDS, TARGET_WORDS, WEED_WORDS
from watcher.units import Kind
from watcher.web.auth.authenticator import Visitor
from watcher.web.context import AppContext
from watcher.web.pages.entry_forms import WHOSE, bounds, unit
from watcher.web.pages.farm_change import show_form, take_form
from watcher.web.pages.farm_form import Field, FormPage, Group


def router(context: AppContext) -> APIRouter:
    """Routes of the changes on a field."""
    routes = APIRouter(include_in_schema=False)
    owner = Depends(context.auth.administrator)

    @routes.get("/fields/{field}/change")
    def asks(request: Request, field: str, visitor: Visitor = owner) -> Response:
        return show_form(context, request, visitor, _of_field(context, field))

    @routes.post("/fields/{field}/change")
    async def changed(request: Request, field: str, visitor: Visitor = owner) -> Response:
        return await take_form(context, request, visitor, _of_field(context, field))

    @routes.get("/fields/{field}/bound/{key}")
    def asks_bound(request: Request, field: str, key: str, visitor: Visitor = owner) -> Response:
        return show_form(context, request, visitor, _of_bound(context, field, key))

    @routes.post("/fields/{field}/bound/{key}")
    async def bound(request: Request, field: str, key: str, visitor: Visitor = owner) -> Response:
        return await take_form(context, request, visitor, _of_bound(context, field, key))

    return routes


def _config(context: AppContext, field: str) -> FarmFile:
    config = context.farm.config
    if field not in config.fields:
        raise HTTPException(404, "no field of the farm has this name")
    return config


def _of_field(context: AppContext, field: str) -> FormPage:
    config = _config(context, field)
    at = ("fields", field)
    weekly = [
        Field("weeds", (*at, "weeds"), say("Weeds"), "choice", _words(WeedPressure, WEED_WORDS)),
        Field(
            "canopy",
            (*at, "canopy"),
            say("Height of the crop"),
            hint=unit(Kind.SMALL_LENGTH, context.speaker.system),
        ),
        Field("latest", (*at, "latest"), say("Last day it should be sprayed"), "date"),
        Field("done_on", (*at, "done_on"), say("Sprayed without a job here, on"), "date"),
        Field("left_out", (*at, "left_out"), say("Leave it out of ranking and plan"), "flag"),
    ]
    with_what = [
        Field("window", (*at, "window"), say("Spray window"), "choice", _named(config.windows)),
        Field("products", (*at, "products"), say("Products"), "several", _products(config)),
        Field(
            "setups",
            (*at, "setups"),
            say("Setups that may be used here; all of them where none is chosen"),
            "several",
            _named(config.setups),
        ),
    ]
    throttled = [
        Field("crop", (*at, "crop"), say("Crop")),
        Field("next_crop", (*at, "next_crop"), say("Crop of the next season")),
        Field(
            "target", (*at, "target"), say("Weeds to kill"), "choice", _words(Weeds, TARGET_WORDS)
        ),
    ]
    groups: list[Group] = [
        (say("As it is today"), None, weekly),
        (say("What it is sprayed with"), None, [f for f in with_what if f.choices]),
        (say("Crop and target"), None, throttled),
    ]
    return FormPage(say("Change {field}", field=Name(field)), f"/fields/{field}", groups)


def _of_bound(context: AppContext, field: str, key: str) -> FormPage:
    config = _config(context, field)
    entry = IN_WINDOWS.get(key)
    if entry is None or entry.written is None:
        raise HTTPException(404, "no bound of the farm file has this name")
    window = config.fields[field].window
    system = context.speaker.system
    own, shared = ("fields", field, "limits", key), ("windows", window, key)
    others = [name for name, plan in config.fields.items() if plan.window == window]
    whose = Field(
        "window:origin",
        (*shared, "origin"),
        say("Whose word it is"),
        "choice",
        WHOSE,
    )
    groups: list[Group] = [
        (
            say("For this field alone"),
            say("May only ask for more than its window does."),
            bounds("field", own, key, system),
        ),
        (
            say("For every field of window {window}", window=Name(window)),
            say("These are: {names}.", names=", ".join(others)),
            [*bounds("window", shared, key, system), whose],
        ),
    ]
    title = say("{limit}, {field}", limit=LIMIT_WORDS[entry.limit], field=Name(field))
    return FormPage(title, f"/fields/{field}", groups)


def _words(enum: Any, words: Mapping[Any, Message]) -> list[tuple[str, Param]]:
    return [(one.value, words[one]) for one in enum]


def _named(entries: Mapping[str, Any]) -> list[tuple[str, Param]]:
    return [(name, Name(name)) for name in entries]


def _products(config: FarmFile) -> list[tuple[str, Param]]:
    return [(name, Name(product.name)) for name, product in config.products.items()]
