"""The farm between two seasons as pages: one is ended, and fields are copied."""

from collections.abc import Sequence

from fastapi import APIRouter, Depends, Request, Response

from watcher.farm.editing.season import Compass, FieldBegins, field_copied, season_ended
from watcher.farm.models import WeedPressure
from watcher.farm.problems import Problem
from watcher.i18n.message import Message, Name, Param, say
from watcher.messages.vocabulary import WEED_WORDS
from watcher.service.farm_editor import FarmEditor, FarmProposal
from watcher.units import Kind
from watcher.web.auth.authenticator import Visitor
from watcher.web.context import AppContext
from watcher.web.farm_in_use import in_use
from watcher.web.pages.farm_change import FarmChangeAsked, change, show_form
from watcher.web.pages.farm_form import Field, FormPage, Group, Typed

_SEASON, _FIELD, _NAME, _SIDE = "season", "field", "name", "side"
_ASKED = "asked"
"""These are asked for and stand at no place of the farm file."""
_SIDES: Sequence[tuple[Compass, Message]] = (
    ("north", say("north of it")),
    ("east", say("east of it")),
    ("south", say("south of it")),
    ("west", say("west of it")),
)
_MOST_NAME = 40


def router(context: AppContext) -> APIRouter:
    """Routes of the season and of copies."""
    routes = APIRouter(include_in_schema=False)
    owner = Depends(context.auth.administrator)

    @routes.get("/farm/season")
    def asks_season(request: Request, visitor: Visitor = owner) -> Response:
        # Nothing of the old season is offered but the crop that was noted to follow.
        new = {
            f"{name}:crop": plan.next_crop or plan.crop
            for name, plan in context.farm.config.fields.items()
        }
        return show_form(context, request, visitor, _of_season(context), Typed(new))

    @routes.post("/farm/season")
    async def ended(request: Request, visitor: Visitor = owner) -> Response:
        form = await context.auth.form(request, visitor, long=True)
        page = _of_season(context)

        def refused(problems: Sequence[Problem]) -> Response:
            return show_form(context, request, visitor, page, Typed(form, problems))

        name = form.get(_SEASON, "").strip()[:_MOST_NAME]
        if not name:
            wrong, mend = say("is not said"), say("give the season a name, such as its year")
            return refused([Problem(in_use(context).editor.file, _at(_SEASON), wrong, mend)])
        begins = {
            field: FieldBegins(*(form.get(f"{field}:{key}", "") for key in _KEYS))
            for field in context.watch.transactions.plan.farm.config.fields
        }

        def propose(editor: FarmEditor, based_on: str | None) -> FarmProposal:
            farm = context.watch.transactions.plan.farm
            edits = season_ended(farm, editor.texts(), begins)
            return editor.propose(farm, edits, based_on=based_on)

        asked = FarmChangeAsked(propose, form, "/farm", refused, season=name)
        return await change(context, request, visitor, asked)

    @routes.get("/farm/copy")
    def asks_copy(request: Request, visitor: Visitor = owner) -> Response:
        return show_form(context, request, visitor, _of_copy(context))

    @routes.post("/farm/copy")
    async def copied(request: Request, visitor: Visitor = owner) -> Response:
        form = await context.auth.form(request, visitor, long=True)
        page, file = _of_copy(context), in_use(context).editor.file
        field, name = form.get(_FIELD, ""), form.get(_NAME, "").strip()[:_MOST_NAME]
        side = next((key for key, _ in _SIDES if key == form.get(_SIDE)), None)

        def refused(problems: Sequence[Problem]) -> Response:
            return show_form(context, request, visitor, page, Typed(form, problems))

        missing = [
            Problem(file, _at(key), say("is not said"), say("choose or write it"))
            for key, given in ((_FIELD, field), (_NAME, name), (_SIDE, side))
            if not given or (key == _FIELD and field not in context.farm.config.fields)
        ]
        if missing or side is None:
            return refused(missing)

        def propose(editor: FarmEditor, based_on: str | None) -> FarmProposal:
            farm = context.watch.transactions.plan.farm
            edits = field_copied(farm, editor.texts(), field, name, side)
            return editor.propose(farm, edits, based_on=based_on)

        asked = FarmChangeAsked(propose, form, "/farm", refused)
        return await change(context, request, visitor, asked)

    return routes


_KEYS = ("weeds", "crop", "canopy")


def _at(key: str) -> str:
    return f"{_ASKED}.{key}"


def _of_season(context: AppContext) -> FormPage:
    weeds: list[tuple[str, Param]] = [("", say("not said yet"))]
    weeds += [(one.value, WEED_WORDS[one]) for one in WeedPressure]
    unit = Kind.SMALL_LENGTH.shown[context.speaker.system]
    name = Field(_SEASON, (_ASKED, _SEASON), say("What the season that ends is called"))
    about = say(
        "The farm is kept as it is under this name; records and jobs stay. Each field begins "
        "anew: its days and what was seen on it are taken out, products and windows stay."
    )
    groups: list[Group] = [(None, about, [name])]
    for field in context.farm.config.fields:
        at = ("fields", field)
        asked = [
            Field(f"{field}:crop", (*at, "crop"), say("Crop")),
            Field(f"{field}:weeds", (*at, "weeds"), say("Weeds"), "choice", weeds),
            Field(
                f"{field}:canopy",
                (*at, "canopy"),
                say("Height of the crop"),
                hint=say("with its unit: {unit}", unit=unit),
            ),
        ]
        groups.append((say("Field {field}", field=Name(field)), None, asked))
    return FormPage(say("End the season"), "/farm", groups)


def _of_copy(context: AppContext) -> FormPage:
    fields: list[tuple[str, Param]] = [(name, Name(name)) for name in context.farm.config.fields]
    asked = [
        Field(_FIELD, (_ASKED, _FIELD), say("Field to be copied"), "choice", fields),
        Field(_NAME, (_ASKED, _NAME), say("Name of the copy")),
        Field(_SIDE, (_ASKED, _SIDE), say("Where it is laid"), "choice", list(_SIDES)),
    ]
    about = say(
        "All but what is of its season comes along. The copy is laid beside the field in the same "
        "shape, to be drawn right afterwards."
    )
    return FormPage(say("Copy a field"), "/farm", [(None, about, asked)])
