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
from watcher.web.numbers import Number

_CLEAR = {"Clear-Site-Data": '"cache", "storage"'}
"""What the device keeps for reading offline goes when its user goes."""


def router(house: AppContext) -> APIRouter:
    """Routes of the door."""
    routes = APIRouter(include_in_schema=False)
    door = house.door
    trying = asyncio.Lock()
    looker, administrator = Depends(door.looker), Depends(door.administrator)

    @routes.get("/login")
    def ask(request: Request, next: str = "/") -> Response:  # noqa: A002
        visitor = door.visitor(request)
        return _asking(house, request, visitor, _local(next))

    @routes.post("/login")
    async def enter(request: Request) -> Response:
        visitor = await run_in_threadpool(door.visitor, request)
        form = await door.form(request, visitor)
        to, name, address = _local(form.get("next", "/")), form.get("user", ""), _address(request)
        # One at a time: many at once would all be counted too late, and each takes its memory.
        async with trying:
            wait_s = door.attempts.wait_s(address, name, door.clock.now())
            if wait_s:
                return _refused(house, request, visitor, to, wait_s)
            began = time.monotonic()
            user = await run_in_threadpool(door.access.user, name, form.get("passphrase", ""))
            if user is None:
                door.attempts.wrong(address, name, door.clock.now())
                # Whoever guesses leaves half of a processor to the watch, however many guess.
                await asyncio.sleep(min(1.0, time.monotonic() - began))
                return _asking(house, request, visitor, to, wrong=True)
        door.attempts.right(address, name)
        return await run_in_threadpool(_let_in, door, request, visitor, user, to, by_link=False)

    @routes.get("/login/{link}")
    def ask_by_link(request: Request, link: str) -> Response:
        # Previews open links too: a second touch uses it up, not this.
        return _page(house, request, door.visitor(request), "link.html", link=link, wrong=False)

    @routes.post("/login/{link}")
    async def enter_by_link(request: Request, link: str) -> Response:
        visitor = await run_in_threadpool(door.visitor, request)
        await door.form(request, visitor)
        # However many were wrong: a link is too long to be guessed.
        user = await run_in_threadpool(door.keyring.use_link, link, door.clock.now())
        if user is None:
            return _page(house, request, visitor, "link.html", 403, link=link, wrong=True)
        return await run_in_threadpool(_let_in, door, request, visitor, user, "/", by_link=True)

    @routes.post("/logout")
    async def leave(request: Request, visitor: Visitor = looker) -> Response:
        await door.form(request, visitor)
        await run_in_threadpool(door.keyring.shut, visitor.session or 0)
        answer = RedirectResponse("/login", 303, headers=_CLEAR)
        door.leave(request, answer)
        return answer

    @routes.get("/devices")
    def devices(request: Request, visitor: Visitor = looker) -> Response:
        return _devices(house, request, visitor)

    @routes.post("/devices/link")
    async def invite(request: Request, visitor: Visitor = administrator) -> Response:
        form = await door.form(request, visitor)
        role = {r.word: r for r in Role}.get(form.get("role", ""), Role.LOOK)
        # What a guest lets in ends with the guest.
        guest = visitor.user.guest if visitor.user else None
        device = User(form.get("name", "").strip()[:40] or "device", role, guest)
        link = await run_in_threadpool(door.keyring.make_link, device, door.clock.now())
        return await run_in_threadpool(_devices, house, request, visitor, link)

    @routes.post("/devices/{number}/out")
    async def put_out(
        request: Request, number: Number, visitor: Visitor = administrator
    ) -> Response:
        await door.form(request, visitor)
        await run_in_threadpool(door.keyring.shut, number)
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


def reached_at(house: AppContext, request: Request) -> str:
    """The address a link to these pages begins with.

    Where none is set, the one at which this connection came in: what the request itself says of
    it (Host) may be anybody's, and the link lets a device in.
    """
    if house.address:
        return house.address
    host, port = request.scope.get("server") or ("127.0.0.1", None)
    shown = f"[{host}]" if ":" in host else host
    return f"http://{shown}" if port is None else f"http://{shown}:{port}"


def invitation(house: AppContext, request: Request, link: str | None) -> dict[str, Any]:
    """Return what a page shows of a link that lets a device in; None of it where there is none."""
    if link is None:
        return {"invitation": None, "here_only": False, "qr": None}
    address = f"{reached_at(house, request)}/login/{link}"
    import segno  # noqa: PLC0415 - seldom wanted

    drawn = segno.make(address, error="m").svg_inline(scale=5, border=4, light="#fff")
    return {
        "invitation": address,
        "here_only": is_of_one_machine(urlsplit(address).hostname or ""),
        "qr": Markup(drawn),  # noqa: S704  # drawn by the library from our own address
    }


def _let_in(
    door: Authenticator, request: Request, visitor: Visitor, user: User, to: str, *, by_link: bool
) -> Response:
    """A new token: one that somebody may have planted before is worth nothing."""
    if visitor.session is not None:
        door.keyring.shut(visitor.session)
    answer = RedirectResponse(to, 303)
    door.enter(request, answer, door.keyring.open(user, door.clock.now(), by_link=by_link))
    return answer


def _page(
    house: AppContext,
    request: Request,
    visitor: Visitor,
    page: str,
    status: int = 200,
    **values: Any,
) -> HTMLResponse:
    """A page for strangers: it gives them the token that its form must fit to."""
    answer = house.show(request, visitor, page, status=status, **values)
    if visitor.user is None:
        house.door.enter(request, answer, visitor.token)
    return answer


def _asking(
    house: AppContext, request: Request, visitor: Visitor, to: str, *, wrong: bool = False
) -> HTMLResponse:
    status = 403 if wrong else 200
    return _page(house, request, visitor, "login.html", status, to=to, wrong=wrong, wait_s=0)


def _refused(
    house: AppContext, request: Request, visitor: Visitor, to: str, wait_s: int
) -> Response:
    answer = _page(house, request, visitor, "login.html", 429, to=to, wrong=False, wait_s=wait_s)
    answer.headers["Retry-After"] = str(wait_s)
    return answer


def _devices(
    house: AppContext, request: Request, visitor: Visitor, link: str | None = None
) -> HTMLResponse:
    sessions = house.door.keyring.sessions(house.door.clock.now())
    if not visitor.may(Role.ADMINISTER):
        sessions = [s for s in sessions if s.number == visitor.session]
    return house.show(
        request,
        visitor,
        "devices.html",
        roles=list(Role),
        sessions=[(s, house.clock(s.began_at), house.clock(s.seen_at)) for s in sessions],
        pushes=house.pushes is not None,
        **invitation(house, request, link),
    )


def _local(address: str) -> str:
    """A page of ours to go on to; the first one for anything else."""
    fits = address.startswith("/") and not address.startswith("//") and "\\" not in address
    return address if fits and address.isprintable() else "/"


def _address(request: Request) -> str:
    return request.client.host if request.client else ""
