"""The farm's files as a page: every version with its undoing, and the way to the rest."""

import asyncio
from collections.abc import Sequence
from typing import Any

from fastapi import APIRouter, Depends, HTTPException, Request, Response

from watcher.farm.editing.difference import difference
from watcher.farm.problems import Problem
from watcher.i18n.message import Name, say
from watcher.messages.farm_edit import change_line
from watcher.messages.recipients import unheard
from watcher.service.farm_versions import FarmVersion
from watcher.web.api.farm_whole import archive_of
from watcher.web.auth.authenticator import Visitor
from watcher.web.context import AppContext
from watcher.web.farm_in_use import farm_says, in_use, secrets_written
from watcher.web.pages.farm_change import FarmChangeAsked, by_version, change
from watcher.web.pages.farm_form import of_mistakes
from watcher.web.pages.farm_tables import tables_of
from watcher.web.path_numbers import Number

_MOST_SHOWN = 30


def router(context: AppContext) -> APIRouter:
    """Routes of the farm as a whole."""
    routes = APIRouter(include_in_schema=False)
    looker, owner = Depends(context.auth.looker), Depends(context.auth.administrator)

    @routes.get("/farm")
    def farm(request: Request, visitor: Visitor = looker) -> Response:
        editor = in_use(context).editor
        numbers = editor.versions.numbers()
        versions = filter(None, map(editor.versions.one, numbers[:_MOST_SHOWN]))
        return context.show(
            request,
            visitor,
            "farm.html",
            says=[*farm_says(context), *secrets_written(context)],
            mistakes=()
            if context.watch.transactions.instead is None
            else context.watch.transactions.instead.mistakes,
            versions=[_row(context, version) for version in versions],
            more=max(0, len(numbers) - _MOST_SHOWN),
            tables=tables_of(context),
            unheard=unheard(context.farm, context.reached),
        )

    @routes.get("/farm/export.zip")
    def export(_visitor: Visitor = owner) -> Response:
        return archive_of(context)

    @routes.get("/farm/versions/{number}")
    def version(request: Request, number: Number, visitor: Visitor = looker) -> Response:
        found = _version(context, number)
        before = in_use(context).editor.versions.before(number)
        changes = () if before is None else difference(before.texts, found.texts)
        return context.show(
            request,
            visitor,
            "farm_version.html",
            row=_row(context, found),
            changes=[change_line(one) for one in changes],
            has_before=before is not None,
            is_now=found.texts.etag == in_use(context).editor.texts().etag,
        )

    @routes.post("/farm/versions/{number}/undo")
    async def undo(request: Request, number: Number, visitor: Visitor = owner) -> Response:
        found = _version(context, number)
        before = in_use(context).editor.versions.before(number)
        if before is None:
            raise HTTPException(409, "nothing is kept of the farm before this version")
        return await _back_to(context, request, visitor, before, after=found)

    @routes.post("/farm/versions/{number}/restore")
    async def restore(request: Request, number: Number, visitor: Visitor = owner) -> Response:
        return await _back_to(context, request, visitor, _version(context, number))

    return routes


def _row(context: AppContext, version: FarmVersion) -> dict[str, Any]:
    return {
        "number": version.number,
        "when": context.clock(version.at),
        "who": Name(version.by) if version.by else say("by hand, in the file"),
        "loosened": ", ".join(version.loosened),
    }


def _version(context: AppContext, number: int) -> FarmVersion:
    found = in_use(context).editor.versions.one(number)
    if found is None:
        raise HTTPException(404, "no version of the farm has this number")
    return found


async def _back_to(
    context: AppContext,
    request: Request,
    visitor: Visitor,
    version: FarmVersion,
    after: FarmVersion | None = None,
) -> Response:
    """Go back to a version: in one tap from the one ``after`` it, else looked at first."""
    form = await context.auth.form(request, visitor)
    texts = await asyncio.to_thread(in_use(context).editor.texts)

    def refused(problems: Sequence[Problem]) -> Response:
        return context.show(
            request, visitor, "farm_refused.html", status=422, wrong=of_mistakes(problems)
        )

    # Where nothing came after it, what is undone was looked at when it was made.
    one_tap = after is not None and after.texts.etag == texts.etag
    asked = FarmChangeAsked(by_version(context, version), form, "/farm", refused, at_once=one_tap)
    return await change(context, request, visitor, asked)
