"""A farm that was taken out elsewhere becomes the farm here: looked at first, undone like edits."""

import asyncio
import json
from collections.abc import Mapping, Sequence
from io import BytesIO

from fastapi import APIRouter, Depends, Request, Response

from watcher.farm.problems import Problem
from watcher.i18n.message import Message, say
from watcher.service.farm_bundle import BundleError, read_bundle
from watcher.service.farm_editor import FarmEditor, FarmProposal
from watcher.web.auth.authenticator import Visitor
from watcher.web.auth.multipart import parts_of
from watcher.web.context import AppContext
from watcher.web.lanes import MOST_ARCHIVE_BYTES, is_too_long
from watcher.web.pages.farm_change import FarmChangeAsked, change
from watcher.web.pages.farm_form import of_mistakes
from watcher.web.pages.held_entries import HeldEntries

PAGE = "/farm/read-in"
_MOST_HELD = 4
_TICKET = "archive_held"
_NO_FILE = say("No file was chosen: choose the archive first.")


def router(context: AppContext) -> APIRouter:
    """Routes of the page."""
    routes = APIRouter(include_in_schema=False)
    owner = Depends(context.auth.administrator)
    held = HeldEntries(context.watch.clock.now, most=_MOST_HELD)

    @routes.get(PAGE)
    def asks(request: Request, visitor: Visitor = owner) -> Response:
        return _show(context, request, visitor)

    @routes.post(PAGE)
    async def read_in(request: Request, visitor: Visitor = owner) -> Response:
        """Take an archive; or, once what it would change was looked at, make it the farm."""
        if is_too_long(request.scope):
            return _show(context, request, visitor, [_too_long()])
        kind = request.headers.get("content-type", "")
        if not kind.startswith("multipart/"):
            form = await context.auth.form(request, visitor)
            return await _change(context, request, visitor, held, form)
        parts = parts_of(await request.body(), kind)
        context.auth.check_form(visitor, parts.get("form_token", b"").decode("latin-1"))
        archive = parts.get("archive", b"")
        if not archive:
            return _show(context, request, visitor, [_NO_FILE])
        try:
            bundle = await asyncio.to_thread(read_bundle, BytesIO(archive))
        except BundleError as error:
            return _show(context, request, visitor, [error.text])
        ticket = held.hold(visitor, json.dumps([bundle.farm, bundle.fields]))
        return await _change(context, request, visitor, held, {_TICKET: ticket})

    return routes


async def _change(
    context: AppContext,
    request: Request,
    visitor: Visitor,
    held: HeldEntries,
    form: Mapping[str, str],
) -> Response:
    ticket = form.get(_TICKET, "")
    texts = held.held(visitor, ticket)
    if texts is None:
        # The look at the change took longer than the archive is held.
        again = say("The archive is not held any longer: choose it again.")
        return _show(context, request, visitor, [again])
    farm, fields = json.loads(texts)
    running = context.watch.transactions.plan.farm

    def propose(editor: FarmEditor, based_on: str | None) -> FarmProposal:
        return editor.propose_texts(running, farm, fields, based_on=based_on)

    def refused(problems: Sequence[Problem]) -> Response:
        held.let_go(ticket)
        return _show(context, request, visitor, of_mistakes(problems))

    asked = FarmChangeAsked(propose, form, "/farm", refused)
    return await change(context, request, visitor, asked)


def _too_long() -> Message:
    return say(
        "This archive is over {count} kB: read it in on the machine of the watch, by “watcher farm "
        "import”.",
        count=MOST_ARCHIVE_BYTES // 1000,
    )


def _show(
    context: AppContext, request: Request, visitor: Visitor, wrong: Sequence[Message] = ()
) -> Response:
    return context.show(
        request,
        visitor,
        "farm_read_in.html",
        status=422 if wrong else 200,
        wrong=wrong,
    )
