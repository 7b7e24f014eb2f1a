"""A change of the farm from a page: looked at first with what it would change, then kept."""

import asyncio
from collections.abc import Awaitable, Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from fastapi import HTTPException, Request, Response
from fastapi.responses import RedirectResponse

from watcher.farm.editing.edits import Edit
from watcher.farm.problems import FarmFileError, Problem
from watcher.i18n.message import Message, Name, say
from watcher.messages.farm_edit import LABEL_CHANGED, change_line, loosened_line
from watcher.service.farm_editor import FarmEditor, FarmProposal, LoosensError, OutdatedError
from watcher.service.farm_versions import FarmVersion
from watcher.web.auth.authenticator import Visitor
from watcher.web.context import AppContext
from watcher.web.farm_in_use import effect_said, in_use
from watcher.web.pages.farm_form import (
    FormPage,
    Typed,
    edits,
    elsewhere,
    kept,
    of_mistakes,
    rows,
)


@dataclass(frozen=True)
class Beside:
    """Something that is kept with a change, but stands in no file of the farm."""

    line: Message
    """What it is, without it."""
    keep: Callable[[], Awaitable[None]]
    """Keeps it. Raises ``FarmFileError`` where that cannot be."""


@dataclass(frozen=True)
class FarmChangeAsked:
    """A change somebody asks for: ``back`` is the page it is asked on."""

    propose: Callable[[FarmEditor, str | None], FarmProposal]
    form: Mapping[str, str]
    back: str
    refused: Callable[[Sequence[Problem]], Response]
    """Answers what cannot be, in place."""
    at_once: bool = False
    """Whether it is kept without being looked at, where it loosens nothing."""
    season: str = ""
    """The season that ends with it."""
    beside: Beside | None = None
    """What is kept with it and stands in no file of the farm."""


def by_edits(context: AppContext, edits: Sequence[Edit]) -> Callable[..., FarmProposal]:
    """Return what proposes edits."""
    return lambda editor, based_on: editor.propose(
        context.watch.transactions.plan.farm, edits, based_on=based_on
    )


def by_version(context: AppContext, version: FarmVersion) -> Callable[..., FarmProposal]:
    """Return what proposes that the farm is again as in a version."""
    return lambda editor, based_on: editor.propose_version(
        context.watch.transactions.plan.farm, version, based_on=based_on
    )


def show_form(
    context: AppContext,
    request: Request,
    visitor: Visitor,
    page: FormPage,
    typed: Typed | None = None,
    *,
    problems: Sequence[Problem] = (),
    template: str = "farm_form.html",
    **values: Any,
) -> Response:
    """Show a form over the farm file, with what is wrong with what was typed beside it.

    ``problems`` are of what was asked besides. ``template`` may add to the form; ``values`` are
    for it.
    """
    texts = in_use(context).editor.texts()
    problems = typed.problems if typed else problems
    return context.show(
        request,
        visitor,
        template,
        status=422 if typed or problems else 200,
        title=page.title,
        groups=[
            (heading, sentence, rows(fields, texts, typed))
            for heading, sentence, fields in page.groups
        ],
        wrong=of_mistakes(elsewhere(page.fields, problems)),
        refused=bool(problems) or typed is not None,
        to=page.to or request.url.path,
        back=page.back,
        of=page.of,
        lists=page.lists,
        **values,
    )


async def take_form(
    context: AppContext, request: Request, visitor: Visitor, page: FormPage
) -> Response:
    """Take what was typed into a form as a change of the farm."""
    form = await context.auth.form(request, visitor, long=True)
    asked = FarmChangeAsked(
        by_edits(context, edits(page.fields, form)),
        form,
        page.back,
        lambda problems: show_form(context, request, visitor, page, Typed(form, problems)),
    )
    return await change(context, request, visitor, asked)


async def change(
    context: AppContext, request: Request, visitor: Visitor, asked: FarmChangeAsked
) -> Response:
    """Show what a change would come to; keep it once it was looked at."""
    editor, form = in_use(context).editor, asked.form
    keeps = bool(form.get("keep")) or asked.at_once
    based_on = form.get("based_on") if form.get("keep") else None
    note: Message | None = None
    try:
        try:
            proposal = await asyncio.to_thread(asked.propose, editor, based_on)
            if keeps and (form.get("label_changed") or not proposal.loosened):
                return await _keep(context, visitor, asked, proposal)
        except OutdatedError as late:
            note = _meanwhile(context, late)
            proposal = await asyncio.to_thread(asked.propose, editor, None)
        if not proposal.changes:  # of what is beside it nothing is to be looked at
            return await _keep(context, visitor, asked, proposal)
    except FarmFileError as error:
        return asked.refused(error.problems)
    lines = await asyncio.to_thread(effect_said, context, proposal)
    missing = bool(proposal.loosened) and keeps
    return context.show(
        request,
        visitor,
        "farm_change.html",
        status=409 if note or missing else 200,
        note=note,
        changes=[
            *(change_line(one) for one in proposal.changes),
            *([asked.beside.line] if asked.beside else []),
        ],
        effect=lines,
        loosened=[loosened_line(one) for one in proposal.loosened],
        label_changed=LABEL_CHANGED,
        missing=missing,
        based_on=proposal.before.etag,
        kept=list(kept(form)),
        to=request.url.path + (f"?{request.url.query}" if request.url.query else ""),
        back=asked.back,
    )


async def _keep(
    context: AppContext, visitor: Visitor, asked: FarmChangeAsked, proposal: FarmProposal
) -> Response:
    if asked.beside is not None:
        await asked.beside.keep()
    if not proposal.changes:
        return RedirectResponse(asked.back, 303)
    by = visitor.user.name if visitor.user else ""
    changed = bool(asked.form.get("label_changed"))
    try:
        version = await in_use(context).save(
            proposal, by=by, label_changed=changed, season=asked.season
        )
    except LoosensError as error:  # said above already, unless somebody else was in between
        raise HTTPException(409, str(error)) from error
    return RedirectResponse(f"{asked.back}?saved={version.number}", 303)


def _meanwhile(context: AppContext, late: OutdatedError) -> Message:
    if late.last is None or not late.last.by:
        return say("The farm was changed by hand meanwhile. This is what yours would change now.")
    return say(
        "{name} changed the farm at {clock}. This is what yours would change now.",
        name=Name(late.last.by),
        clock=context.clock(late.last.at),
    )
