"""Sprayers, setups, spray windows and products: added, changed, copied and taken out on pages."""

import copy
from collections.abc import Mapping, Sequence
from typing import Any, get_args

from fastapi import APIRouter, Depends, HTTPException, Request, Response

from watcher.farm.editing.edits import Edit, Remove, SetValue
from watcher.farm.editing.first_farm import name_for
from watcher.farm.editing.uses import Table, uses_of
from watcher.farm.problems import Problem
from watcher.farm.validation_messages import dotted
from watcher.i18n.message import Message, Name, joined, say
from watcher.web.auth.authenticator import Visitor
from watcher.web.context import AppContext
from watcher.web.farm_in_use import in_use
from watcher.web.pages.entry_forms import form_of
from watcher.web.pages.farm_change import (
    FarmChangeAsked,
    by_edits,
    change,
    show_form,
    take_form,
)
from watcher.web.pages.farm_form import Field, FormPage, Typed, edits
from watcher.web.pages.rule_forms import about

TABLES: tuple[Table, ...] = get_args(Table)
_CALLED = Field("called", ("called",), say("What you call it"))
_OF: Mapping[Table, Message] = {
    "sprayers": say("Sprayers"),
    "setups": say("Setups"),
    "windows": say("Spray windows"),
    "products": say("Products"),
}
_ONE: Mapping[Table, Message] = {
    "sprayers": say("Sprayer"),
    "setups": say("Setup"),
    "windows": say("Spray window"),
    "products": say("Product"),
}
_NEW: Mapping[Table, Message] = {
    "sprayers": say("Another sprayer"),
    "setups": say("Another setup"),
    "windows": say("Another spray window"),
    "products": say("Another product"),
}
_USED_BY: Mapping[str, Message] = {
    "fields": say("field"),
    "setups": say("setup"),
    "sprayers": say("sprayer"),
    "drivers": say("driver"),
}
_UNNAMED = "entry"


def tables_of(context: AppContext) -> list[tuple[Table, Message, Message, list[str]]]:
    """Return each table with its words and the names of its entries."""
    config = context.farm.config
    return [(table, _OF[table], _NEW[table], list(getattr(config, table))) for table in TABLES]


def router(context: AppContext) -> APIRouter:
    """Routes of the four tables."""
    routes = APIRouter(include_in_schema=False)
    for table in TABLES:
        _table_routes(routes, context, table)
    return routes


def _table_routes(routes: APIRouter, context: AppContext, table: Table) -> None:
    owner = Depends(context.auth.administrator)

    @routes.get(f"/farm/add/{table}")
    def asks_new(request: Request, visitor: Visitor = owner) -> Response:
        return show_form(context, request, visitor, _new(context, table, _UNNAMED))

    @routes.post(f"/farm/add/{table}")
    async def new(request: Request, visitor: Visitor = owner) -> Response:
        form = await context.auth.form(request, visitor, long=True)
        name = _named(context, table, form)
        page = _new(context, table, name)
        asked = [one for one in page.fields if one is not _CALLED]
        # A table of its own first: an entry of which nothing is said is there as well.
        found: list[Edit] = [SetValue((table, name), {}), *edits(asked, form)]
        return await _take(context, request, visitor, page, form=form, found=found)

    @routes.get(f"/farm/copy/{table}/{{name}}")
    def asks_copy(request: Request, name: str, visitor: Visitor = owner) -> Response:
        return show_form(context, request, visitor, _copied(context, table, name))

    @routes.post(f"/farm/copy/{table}/{{name}}")
    async def copied(request: Request, name: str, visitor: Visitor = owner) -> Response:
        """Copy as it is: what a label says in it is then loosened on its page, and asked about."""
        page = _copied(context, table, name)
        form = await context.auth.form(request, visitor, long=True)
        entry = copy.deepcopy(_raw(context).get(table, {}).get(name, {}))
        found: list[Edit] = [SetValue((table, _named(context, table, form)), entry)]
        return await _take(context, request, visitor, page, form=form, found=found)

    @routes.get(f"/farm/{table}/{{name}}")
    def asks(request: Request, name: str, visitor: Visitor = owner) -> Response:
        return show_form(context, request, visitor, _entry(context, table, name))

    @routes.post(f"/farm/{table}/{{name}}")
    async def changed(request: Request, name: str, visitor: Visitor = owner) -> Response:
        return await take_form(context, request, visitor, _entry(context, table, name))

    @routes.post(f"/farm/remove/{table}/{{name}}")
    async def removed(request: Request, name: str, visitor: Visitor = owner) -> Response:
        page = _entry(context, table, name)
        form = await context.auth.form(request, visitor)

        def refused(problems: Sequence[Problem]) -> Response:
            return show_form(context, request, visitor, page, problems=problems)

        used = uses_of(context.watch.transactions.plan.farm.config, table, name)
        if used:
            words = [joined([_USED_BY[str(of)], Name(str(by))], " ") for of, by in used]
            wrong = say("is used by {names}", names=joined(words))
            mend = say("choose another there first")
            return refused(
                [Problem(in_use(context).editor.file, dotted((table, name)), wrong, mend)]
            )
        taken = by_edits(context, [Remove((table, name))])
        asked = FarmChangeAsked(taken, form, "/farm", refused)
        return await change(context, request, visitor, asked)


async def _take(
    context: AppContext,
    request: Request,
    visitor: Visitor,
    page: FormPage,
    *,
    form: Mapping[str, str],
    found: list[Edit],
) -> Response:
    def refused(problems: Sequence[Problem]) -> Response:
        return show_form(context, request, visitor, page, Typed(form, problems))

    if not form.get("called", "").strip():
        mend = say("say what you call it")
        return refused([Problem(in_use(context).editor.file, "called", say("is missing"), mend)])
    asked = FarmChangeAsked(by_edits(context, found), form, page.back, refused)
    return await change(context, request, visitor, asked)


def _raw(context: AppContext) -> Mapping[str, dict[str, dict[str, object]]]:
    return in_use(context).editor.texts().raw


def _named(context: AppContext, table: Table, form: Mapping[str, str]) -> str:
    """The name of an entry that is new: as the farm file takes it."""
    taken = getattr(context.watch.transactions.plan.farm.config, table)
    return name_for(form.get("called", ""), taken, _UNNAMED)


def _config_names(context: AppContext, table: Table, name: str) -> None:
    if name not in getattr(context.farm.config, table):
        raise HTTPException(404, "the farm file has no entry of this name")


def _entry(context: AppContext, table: Table, name: str) -> FormPage:
    _config_names(context, table, name)
    groups = form_of(table, name, context.farm.config, _raw(context))
    return FormPage(
        joined([_ONE[table], Name(name)], ": "),
        "/farm",
        groups,
        to=f"/farm/{table}/{name}",
        of=f"{table}/{name}",
        lists=_lists(context, table, name),
    )


def _lists(
    context: AppContext, table: Table, name: str
) -> Sequence[tuple[Message, Sequence[tuple[str, Message]]]]:
    """The rules and buffers of an entry, and the ways to more of them."""
    if table not in {"windows", "products"}:
        return ()
    entry: Mapping[str, Any] = (
        in_use(context).editor.texts().masked.raw.get(table, {}).get(name, {})
    )
    found = []
    for key, heading, another in (
        ("rules", say("Rules"), say("another rule")),
        ("buffers", say("Buffers"), say("another buffer")),
    ):
        there = [
            (f"/farm/{table}/{name}/{key}/{number}", about(rule, key))
            for number, rule in enumerate(entry.get(key, ()), 1)
        ]
        more = (f"/farm/add/{table}/{name}/{key}", joined(["+ ", another], ""))
        found.append((heading, [*there, more]))
    return found


def _new(context: AppContext, table: Table, name: str) -> FormPage:
    groups = form_of(table, name, context.farm.config, {})
    return FormPage(_NEW[table], "/farm", [(None, None, [_CALLED]), *groups])


def _copied(context: AppContext, table: Table, name: str) -> FormPage:
    _config_names(context, table, name)
    title = say("Copy of {name}", name=Name(name))
    says = say("It is copied as it is. What differs is changed on its own page afterwards.")
    return FormPage(title, "/farm", [(None, says, [_CALLED])])
