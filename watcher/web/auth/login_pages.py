"""Coming in and going out: passphrase, one-time link, and the devices that are in."""

import asyncio
import io
import time
from ipaddress import ip_address
from typing import Any
from urllib.parse import urlsplit

from fastapi import APIRouter, Depends, Request, Response
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import HTMLResponse, RedirectResponse
from markupsafe import Markup

from watcher.web.auth.authenticator import Authenticator, Visitor
from watcher.web.auth.users import Role, User
from watcher.web.context import AppContext
from watcher.web.path_numbers import Number

_CLEAR = {"Clear-Site-Data": '"cache", "storage"'}
"""What the device keeps for reading offline goes when its user goes."""


def router(context: AppContext) -> APIRouter:
    """Routes of the door."""
    routes = APIRouter(include_in_schema=False)
    auth = context.auth
    trying = asyncio.Lock()
    looker, administrator = Depends(auth.looker), Depends(auth.administrator)

    @routes.get("/login")
    def ask(request: Request, next: str = "/") -> Response:  # noqa: A002
        visitor = auth.visitor(request)
        return _asking(context, request, visitor, _local(next))

    @routes.post("/login")
    async def enter(request: Request) -> Response:
        visitor = await run_in_threadpool(auth.visitor, request)
        form = await auth.form(request, visitor)
        to, name, address = _local(form.get("next", "/")), form.get("user", ""), _address(request)
        # One at a time: many at once would all be counted too late, and each takes its memory.
        async with trying:
            wait_s = auth.attempts.wait_s(address, name, auth.clock.now())
            if wait_s:
                return _refused(context, request, visitor, to, wait_s)
            began = time.monotonic()
            user = await run_in_threadpool(auth.access.user, name, form.get("passphrase", ""))
            if user is None:
                auth.attempts.wrong(address, name, auth.clock.now())
                # Whoever guesses leaves half of a processor to the watch, however many guess.
                await asyncio.sleep(min(1.0, time.monotonic() - began))
                return _asking(context, request, visitor, to, wrong=True)
        auth.attempts.right(address, name)
        return await run_in_threadpool(_let_in, auth, request, visitor, user, to, by_link=False)

    @routes.get("/login/{link}")
    def ask_by_link(request: Request, link: str) -> Response:
        # Previews open links too: a second touch uses it up, not this.
        return _page(context, request, auth.visitor(request), "link.html", link=link, wrong=False)

    @routes.post("/login/{link}")
    async def enter_by_link(request: Request, link: str) -> Response:
        visitor = await run_in_threadpool(auth.visitor, request)
        await auth.form(request, visitor)
        # However many were wrong: a link is too long to be guessed.
        user = await run_in_threadpool(auth.sessions.use_link, link, auth.clock.now())
        if user is None:
            return _page(context, request, visitor, "link.html", 403, link=link, wrong=True)
        return await run_in_threadpool(_let_in, auth, request, visitor, user, "/", by_link=True)

    @routes.post("/logout")
    async def leave(request: Request, visitor: Visitor = looker) -> Response:
        await auth.form(request, visitor)
        await run_in_threadpool(auth.sessions.shut, visitor.session or 0)
        answer = RedirectResponse("/login", 303, headers=_CLEAR)
        auth.leave(request, answer)
        return answer

    @routes.get("/devices")
    def devices(request: Request, visitor: Visitor = looker) -> Response:
        return _devices(context, request, visitor)

    @routes.post("/devices/link")
    async def invite(request: Request, visitor: Visitor = administrator) -> Response:
        form = await auth.form(request, visitor)
        role = {r.word: r for r in Role}.get(form.get("role", ""), Role.LOOK)
        # What a guest lets in ends with the guest.
        guest = visitor.user.guest if visitor.user else None
        device = User(form.get("name", "").strip()[:40] or "device", role, guest)
        link = await run_in_threadpool(auth.sessions.make_link, device, auth.clock.now())
        return await run_in_threadpool(_devices, context, request, visitor, link)

    @routes.post("/devices/{number}/out")
    async def put_out(
        request: Request, number: Number, visitor: Visitor = administrator
    ) -> Response:
        await auth.form(request, visitor)
        await run_in_threadpool(auth.sessions.shut, number)
        return RedirectResponse("/devices", 303)

    return routes


def terminal_qr(address: str) -> str:
    """Return a QR code of an address as text for a terminal."""
    out = io.StringIO()
    import segno  # noqa: PLC0415 - seldom wanted

    segno.make(address, error="m").terminal(out, compact=True)
    return out.getvalue()


def is_of_one_machine(host: str) -> bool:
    """Return whether an address leads to this machine only for those who are on it."""
    try:
        address = ip_address(host.strip("[]"))
    except ValueError:
        return host in {"", "localhost"}
    return address.is_loopback or address.is_unspecified


def reached_at(context: AppContext, request: Request) -> str:
    """The address a link to these pages begins with.

    Where none is set, the one at which this connection came in: what the request itself says of
    it (Host) may be anybody's, and the link lets a device in.
    """
    if context.address:
        return context.address
    host, port = request.scope.get("server") or ("127.0.0.1", None)
    shown = f"[{host}]" if ":" in host else host
    return f"http://{shown}" if port is None else f"http://{shown}:{port}"


def invitation(context: AppContext, request: Request, link: str | None) -> dict[str, Any]:
    """Return what a page shows of a link that lets a device in; None of it where there is none."""
    if link is None:
        return {"invitation": None, "here_only": False, "qr": None}
    address = f"{reached_at(context, request)}/login/{link}"
    import segno  # noqa: PLC0415 - seldom wanted

    drawn = segno.make(address, error="m").svg_inline(scale=5, border=4, light="#fff")
    return {
        "invitation": address,
        "here_only": is_of_one_machine(urlsplit(address).hostname or ""),
        "qr": Markup(drawn),  # noqa: S704  # drawn by the library from our own address
    }


def _let_in(
    auth: Authenticator, request: Request, visitor: Visitor, user: User, to: str, *, by_link: bool
) -> Response:
    """A new token: one that somebody may have planted before is worth nothing."""
    if visitor.session is not None:
        auth.sessions.shut(visitor.session)
    answer = RedirectResponse(to, 303)
    auth.enter(request, answer, auth.sessions.open(user, auth.clock.now(), by_link=by_link))
    return answer


def _page(
    context: AppContext,
    request: Request,
    visitor: Visitor,
    page: str,
    status: int = 200,
    **values: Any,
) -> HTMLResponse:
    """A page for strangers: it gives them the token that its form must fit to."""
    answer = context.show(request, visitor, page, status=status, **values)
    if visitor.user is None:
        context.auth.enter(request, answer, visitor.token)
    return answer


def _asking(
    context: AppContext, request: Request, visitor: Visitor, to: str, *, wrong: bool = False
) -> HTMLResponse:
    status = 403 if wrong else 200
    return _page(context, request, visitor, "login.html", status, to=to, wrong=wrong, wait_s=0)


def _refused(
    context: AppContext, request: Request, visitor: Visitor, to: str, wait_s: int
) -> Response:
    answer = _page(context, request, visitor, "login.html", 429, to=to, wrong=False, wait_s=wait_s)
    answer.headers["Retry-After"] = str(wait_s)
    return answer


def _devices(
    context: AppContext, request: Request, visitor: Visitor, link: str | None = None
) -> HTMLResponse:
    sessions = context.auth.sessions.sessions(context.auth.clock.now())
    if not visitor.may(Role.ADMINISTER):
        sessions = [s for s in sessions if s.number == visitor.session]
    return context.show(
        request,
        visitor,
        "devices.html",
        roles=list(Role),
        sessions=[(s, context.clock(s.began_at), context.clock(s.seen_at)) for s in sessions],
        pushes=context.pushes is not None,
        **invitation(context, request, link),
    )


def _local(address: str) -> str:
    """A page of ours to go on to; the first one for anything else."""
    fits = address.startswith("/") and not address.startswith("//") and "\\" not in address
    return address if fits and address.isprintable() else "/"


def _address(request: Request) -> str:
    return request.client.host if request.client else ""
