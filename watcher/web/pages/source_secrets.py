"""Tokens of stations, passwords at brokers and keys of feeds, on a page: set, replaced, removed.

None is shown again, but for a token that is made here: that once, with the line for the station.
"""

import secrets as random_words
from typing import Any

from fastapi import APIRouter, Depends, HTTPException, Request, Response
from fastapi.responses import RedirectResponse

from watcher.i18n.message import Message, say
from watcher.service.kept_secrets import KIND_WORDS, SecretKind, SecretRefusedError
from watcher.service.secrets_in_use import wanted
from watcher.web.auth.authenticator import Visitor
from watcher.web.auth.login_pages import reached_at
from watcher.web.context import AppContext
from watcher.web.pages.secret_state import set_line

_PAGE = "/farm/secrets"
_TOKEN_BYTES = 24


def router(context: AppContext) -> APIRouter:
    """Routes of the page."""
    routes = APIRouter(prefix=_PAGE, include_in_schema=False)
    owner = Depends(context.auth.administrator)

    @routes.get("")
    def whole(request: Request, visitor: Visitor = owner) -> Response:
        return _show(context, request, visitor)

    @routes.post("/{kind}/{name}")
    async def put(
        request: Request, kind: SecretKind, name: str, visitor: Visitor = owner
    ) -> Response:
        form = await context.auth.form(request, visitor)
        if name not in wanted(context.farm)[kind]:
            raise HTTPException(404, "nothing of the farm file has this name")
        made = None
        if kind is SecretKind.STATION and form.get("make"):
            made = random_words.token_urlsafe(_TOKEN_BYTES)
        typed = made or form.get("secret", "").strip()
        at, wrong = (kind, name), None
        try:
            await context.secrets.keep(kind, name, typed, by=_by(visitor))
        except SecretRefusedError as refused:
            wrong = say("This {wrong}", wrong=refused.wrong)
        except OSError as error:
            wrong = say(
                "It cannot be kept ({why}): free space on the disk of the watch, and type it again",
                why=str(error.strerror),
            )
        if wrong is not None:
            return _show(context, request, visitor, wrong=(at, wrong), status=422)
        if made is not None:
            return _show(context, request, visitor, made=(name, made))
        return RedirectResponse(_PAGE, 303)

    @routes.post("/{kind}/{name}/remove")
    async def remove(
        request: Request, kind: SecretKind, name: str, visitor: Visitor = owner
    ) -> Response:
        await context.auth.form(request, visitor)
        try:
            await context.secrets.remove(kind, name, by=_by(visitor))
        except OSError as error:
            raise HTTPException(503, f"it cannot be removed ({error.strerror})") from error
        return RedirectResponse(_PAGE, 303)

    return routes


def _by(visitor: Visitor) -> str:
    return visitor.user.name if visitor.user else ""


def _show(
    context: AppContext,
    request: Request,
    visitor: Visitor,
    *,
    wrong: tuple[tuple[SecretKind, str], Message] | None = None,
    made: tuple[str, str] | None = None,
    status: int = 200,
) -> Response:
    return context.show(
        request,
        visitor,
        "secrets.html",
        status=status,
        rows=[
            _row(context, kind, name, wrong)
            for kind, names in wanted(context.farm).items()
            if kind is not SecretKind.PUSH
            for name in names
        ],
        left_over=[(k.value, KIND_WORDS[k], name) for k, name in context.secrets.left_over()],
        troubles=context.secrets.known.troubles,
        made=made,
        to=None if made is None else f"{reached_at(context, request)}/stations/{made[0]}/readings",
    )


def _row(
    context: AppContext,
    kind: SecretKind,
    name: str,
    wrong: tuple[tuple[SecretKind, str], Message] | None,
) -> dict[str, Any]:
    state = context.secrets.known.state(kind, name)
    return {
        "kind": kind.value,
        "name": name,
        "word": KIND_WORDS[kind],
        "posts": kind is SecretKind.STATION,
        "line": set_line(context, kind, name),
        "is_set": state is not None,
        "fixed": state is not None and state.of_settings,
        "wrong": wrong[1] if wrong is not None and wrong[0] == (kind, name) else None,
    }
