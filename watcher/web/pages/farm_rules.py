"""Rules and buffers of a product or spray window: added, changed, copied and taken out on pages."""

import copy
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from hashlib import sha256
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Depends, HTTPException, Request, Response

from watcher.farm.editing.edits import Edit, Remove, SetValue
from watcher.farm.problems import Problem
from watcher.farm.rules.base import RuleBase
from watcher.farm.rules.buffers import Buffer
from watcher.farm.validation_messages import dotted
from watcher.i18n.message import Name, joined, say
from watcher.web.auth.authenticator import Visitor
from watcher.web.context import AppContext
from watcher.web.farm_in_use import in_use
from watcher.web.pages.farm_change import FarmChangeAsked, by_edits, change, show_form
from watcher.web.pages.farm_form import FormPage, Typed, edits
from watcher.web.pages.rule_forms import IN_THE_FILE, KIND_WORDS, MODELS, about, rule_form
from watcher.web.path_numbers import Number

_SEEN = "rule_seen"
"""What of a rule was shown: another one may stand at its number meanwhile."""
_TEMPLATE = "farm_rule.html"


@dataclass(frozen=True)
class Listed:
    """Where rules or buffers stand, by the path that names it."""

    of: Literal["windows", "products"]
    name: str
    key: Literal["rules", "buffers"]

    @property
    def path(self) -> str:
        """The part of addresses that names it."""
        return f"{self.of}/{self.name}/{self.key}"

    @property
    def back(self) -> str:
        """The page of the entry."""
        return f"/farm/{self.of}/{self.name}"

    def rules(self, context: AppContext) -> list[dict[str, Any]]:
        """Return what is written there; 404 where there is no such entry."""
        entry = in_use(context).editor.texts().masked.raw.get(self.of, {}).get(self.name)
        if entry is None or self.name not in getattr(context.farm.config, self.of):
            raise HTTPException(404, "the farm file has no entry of this name")
        return list(entry.get(self.key, ()))

    def added(self, context: AppContext, rule: dict[str, Any]) -> Edit:
        """Return the edit that adds one to the list, or begins it."""
        there = len(self.rules(context))
        at = (self.of, self.name, self.key)
        return SetValue((*at, there), rule) if there else SetValue(at, [rule])


@dataclass(frozen=True)
class _One:
    """A rule or buffer as it is written, and the form it is changed on."""

    rule: dict[str, Any]
    form: FormPage

    @property
    def seen(self) -> str:
        return sha256(repr(self.rule).encode()).hexdigest()[:16]


At = Annotated[Listed, Depends()]


def router(context: AppContext) -> APIRouter:
    """Routes of rules and buffers."""
    routes = APIRouter(prefix="/farm", include_in_schema=False)
    owner = Depends(context.auth.administrator)

    @routes.get("/add/{of}/{name}/{key}")
    def asks_new(request: Request, at: At, kind: str = "", visitor: Visitor = owner) -> Response:
        if at.key == "rules" and kind not in MODELS:
            return _kinds(context, request, visitor, at)
        return show_form(context, request, visitor, _new(context, at, kind))

    @routes.post("/add/{of}/{name}/{key}")
    async def new(request: Request, at: At, kind: str = "", visitor: Visitor = owner) -> Response:
        page, form = _new(context, at, kind), await context.auth.form(request, visitor, long=True)

        def refused(problems: Sequence[Problem]) -> Response:
            return show_form(context, request, visitor, page, Typed(form, problems))

        found = [edit for edit in edits(page.fields, form) if isinstance(edit, SetValue)]
        rule = {"kind": kind} if at.key == "rules" else {}
        rule |= {str(edit.at[-1]): edit.value for edit in found}
        if "origin" not in rule:
            place = next(one.at for one in page.fields if one.name == "origin")
            wrong, mend = say("is not said"), say("say whether the label, a law or you ask for it")
            return refused([Problem(in_use(context).editor.file, dotted(place), wrong, mend)])
        proposed = by_edits(context, [at.added(context, rule)])
        asked = FarmChangeAsked(proposed, form, page.back, refused)
        return await change(context, request, visitor, asked)

    @routes.get("/{of}/{name}/{key}/{number}")
    def asks(request: Request, at: At, number: Number, visitor: Visitor = owner) -> Response:
        one = _one(context, at, number)
        return show_form(context, request, visitor, one.form, template=_TEMPLATE, seen=one.seen)

    @routes.post("/{of}/{name}/{key}/{number}")
    async def changed(
        request: Request, at: At, number: Number, visitor: Visitor = owner
    ) -> Response:
        one = _one(context, at, number)
        return await _take(context, request, visitor, one, partial(edits, one.form.fields))

    @routes.get("/copy/{of}/{name}/{key}/{number}")
    def asks_copy(request: Request, at: At, number: Number, visitor: Visitor = owner) -> Response:
        one = _one(context, at, number)
        says = say("It is copied as it is. What differs is changed on its own page afterwards.")
        title = say("Copy of {name}", name=one.form.title)
        page = FormPage(title, at.back, [(None, says, [])])
        return show_form(context, request, visitor, page, template=_TEMPLATE, seen=one.seen)

    @routes.post("/copy/{of}/{name}/{key}/{number}")
    async def copied(
        request: Request, at: At, number: Number, visitor: Visitor = owner
    ) -> Response:
        one = _one(context, at, number)
        added = at.added(context, copy.deepcopy(one.rule))
        return await _take(context, request, visitor, one, lambda _form: [added])

    @routes.post("/remove/{of}/{name}/{key}/{number}")
    async def removed(
        request: Request, at: At, number: Number, visitor: Visitor = owner
    ) -> Response:
        one, place = _one(context, at, number), (at.of, at.name, at.key)
        gone = Remove((*place, number - 1) if len(at.rules(context)) > 1 else place)
        return await _take(context, request, visitor, one, lambda _form: [gone])

    return routes


async def _take(
    context: AppContext,
    request: Request,
    visitor: Visitor,
    one: _One,
    found: Callable[[Mapping[str, str]], Sequence[Edit]],
) -> Response:
    """Change what was looked at, and nothing that took its number meanwhile."""
    form = await context.auth.form(request, visitor, long=True)

    def refused(problems: Sequence[Problem]) -> Response:
        typed = Typed(form, problems)
        return show_form(
            context, request, visitor, one.form, typed, template=_TEMPLATE, seen=one.seen
        )

    if form.get(_SEEN) != one.seen:
        wrong = say("was changed meanwhile: this is how it is now")
        problem = Problem(
            in_use(context).editor.file, "", wrong, say("look at it, and change it again")
        )
        return show_form(
            context,
            request,
            visitor,
            one.form,
            problems=[problem],
            template=_TEMPLATE,
            seen=one.seen,
        )
    asked = FarmChangeAsked(by_edits(context, found(form)), form, one.form.back, refused)
    return await change(context, request, visitor, asked)


def _kinds(context: AppContext, request: Request, visitor: Visitor, at: Listed) -> Response:
    at.rules(context)
    return context.show(
        request,
        visitor,
        "farm_rule_kinds.html",
        kinds=list(KIND_WORDS.items()),
        to=f"/farm/add/{at.path}",
        name=at.name,
        back=at.back,
    )


def _one(context: AppContext, at: Listed, number: int) -> _One:
    """The page of one; they are counted from one, as messages count them."""
    rules = at.rules(context)
    if number > len(rules):
        raise HTTPException(404, "there is no rule or buffer of this number any more")
    rule, place = rules[number - 1], (at.of, at.name, at.key, number - 1)
    model = _model(at, str(rule.get("kind", "")))
    groups = rule_form(model, place, context.farm.config.farm.units)
    if any(key in rule for key in IN_THE_FILE):
        says = say("Its margin, and rows of its table and reductions, are changed in the file.")
        groups.append((None, says, []))
    here = f"{at.path}/{number}"
    title = joined([Name(at.name), about(rule, at.key)], ": ")
    return _One(rule, FormPage(title, at.back, groups, to=f"/farm/{here}", of=here))


def _new(context: AppContext, at: Listed, kind: str) -> FormPage:
    place = (at.of, at.name, at.key, len(at.rules(context)))
    groups = rule_form(_model(at, kind), place, context.farm.config.farm.units, is_new=True)
    what = say("another buffer")
    if at.key == "rules":
        what = say("another rule: {kind}", kind=KIND_WORDS[kind])
    page = FormPage(joined([Name(at.name), what], ": "), at.back, groups, to=f"/farm/add/{at.path}")
    return replace(page, to=f"{page.to}?kind={kind}") if at.key == "rules" else page


def _model(at: Listed, kind: str) -> type[RuleBase]:
    if at.key == "buffers":
        return Buffer
    if kind not in MODELS:
        raise HTTPException(404, "there is no such kind of rule")
    return MODELS[kind]
