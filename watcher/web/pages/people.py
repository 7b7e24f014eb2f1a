"""Who may come in, on a page: helpers and contractors by a link with an end, and everybody else."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from fastapi import APIRouter, Depends, HTTPException, Request, Response
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import RedirectResponse

from watcher.i18n.message import Message, say
from watcher.messages.wall_clock import wall_instant
from watcher.web.auth.authenticator import Visitor
from watcher.web.auth.login_pages import invitation
from watcher.web.auth.sessions import Guest
from watcher.web.auth.users import Role, User
from watcher.web.context import AppContext
from watcher.web.path_numbers import Number

_MOST_NAME = 40
_LONGEST = timedelta(days=366)


@dataclass(frozen=True)
class _Asked:
    """An access as it was asked for, with what is wrong with it."""

    name: str = ""
    role: Role = Role.LOOK
    last_day: str = ""
    wrong_name: Message | None = None
    wrong_day: Message | None = None
    until: int = 0
    """The end of its last day. [epoch s]"""
    of: int | None = None
    """The number of an access whose last day is changed; None for a new one."""

    @property
    def fits(self) -> bool:
        """Whether nothing is wrong."""
        return self.wrong_name is None and self.wrong_day is None


def router(context: AppContext) -> APIRouter:
    """Routes of the page."""
    routes = APIRouter(prefix="/people", include_in_schema=False)
    auth, owner = context.auth, Depends(context.auth.administrator)

    @routes.get("")
    def people(request: Request, visitor: Visitor = owner) -> Response:
        return _show(context, request, visitor)

    @routes.post("")
    async def invite(request: Request, visitor: Visitor = owner) -> Response:
        form = await auth.form(request, visitor)

        def answer() -> Response:
            asked = _asked(context, visitor, form)
            if not asked.fits:
                return _show(context, request, visitor, asked=asked, status=422)
            now, by = auth.clock.now(), _user(visitor)
            guest = auth.sessions.invite(asked.name, asked.role, asked.until, by=by, now=now)
            return _show(context, request, visitor, let_in=guest)

        return await run_in_threadpool(answer)

    @routes.post("/{number}/link")
    async def link(request: Request, number: Number, visitor: Visitor = owner) -> Response:
        """Make another link, for another device or in place of one that was not used."""
        await auth.form(request, visitor)

        def answer() -> Response:
            guest = auth.sessions.guest(number)
            if guest is None or guest.over(auth.clock.now()):
                raise HTTPException(404, "nobody of this number has access")
            return _show(context, request, visitor, let_in=guest)

        return await run_in_threadpool(answer)

    @routes.post("/{number}/last-day")
    async def last_day(request: Request, number: Number, visitor: Visitor = owner) -> Response:
        """Let an access end later or sooner; a guest gives nobody more than they have."""
        form = await auth.form(request, visitor)
        day = form.get("last_day", "").strip()
        until, wrong = _end_of(context, visitor, day)
        if wrong is not None:
            asked = _Asked(last_day=day, wrong_day=wrong, of=number)
            return await run_in_threadpool(
                _show, context, request, visitor, asked=asked, status=422
            )
        now = auth.clock.now()
        if not await run_in_threadpool(auth.sessions.change_end, number, until, now=now):
            raise HTTPException(404, "nobody of this number has access")
        return RedirectResponse("/people", 303)

    @routes.post("/{number}/withdraw")
    async def withdraw(request: Request, number: Number, visitor: Visitor = owner) -> Response:
        await auth.form(request, visitor)
        by, now = _user(visitor).name, auth.clock.now()
        await run_in_threadpool(auth.sessions.withdraw, number, by=by, now=now)
        return RedirectResponse("/people", 303)

    return routes


def _user(visitor: Visitor) -> User:
    if visitor.user is None:
        raise HTTPException(401, "nobody is logged in")
    return visitor.user


def _asked(context: AppContext, visitor: Visitor, form: Mapping[str, str]) -> _Asked:
    name = " ".join(form.get("name", "").split())
    role = {r.word: r for r in Role}.get(form.get("role", ""), Role.LOOK)
    day = form.get("last_day", "").strip()
    wrong_name = None
    if not 0 < len(name) <= _MOST_NAME or not name.isprintable():
        wrong_name = say("Write a name of 1 to {most} letters", most=_MOST_NAME)
    elif context.auth.taken(name):
        wrong_name = say(
            "Somebody of this name comes in already: choose another name, or make another link "
            "for them above"
        )
    until, wrong_day = _end_of(context, visitor, day)
    return _Asked(name, role, day, wrong_name, wrong_day, until)


def _end_of(context: AppContext, visitor: Visitor, day: str) -> tuple[int, Message | None]:
    """The last second of a day on the farm's clock, and what is wrong with it as an end."""
    zone, now = context.farm.zone, context.auth.clock.now()
    today = datetime.fromtimestamp(now, zone).date()
    try:
        last = date.fromisoformat(day)
    except ValueError:
        return 0, say("Choose the last day on which they may come in")
    if not today <= last <= today + _LONGEST:
        return 0, say("Choose a day from today to a year from now")
    until = wall_instant(last + timedelta(days=1), time(), zone) - 1
    if visitor.until is not None and until > visitor.until:
        return 0, say("Your own access ends before: choose no later day than yours")
    return until, None


def _show(
    context: AppContext,
    request: Request,
    visitor: Visitor,
    *,
    asked: _Asked = _Asked(),  # frozen
    let_in: Guest | None = None,
    status: int = 200,
) -> Response:
    auth, now = context.auth, context.auth.clock.now()
    sessions = auth.sessions.sessions(now)
    guests = auth.sessions.guests()
    devices = {g.number: [s for s in sessions if s.user.guest == g.number] for g in guests}
    link = None if let_in is None else auth.sessions.guest_link(let_in, now)
    today = datetime.fromtimestamp(now, context.farm.zone).date()
    return context.show(
        request,
        visitor,
        "people.html",
        status=status,
        guests=[
            (
                guest,
                context.clock(guest.until),
                len(devices[guest.number]),
                context.clock(max(s.seen_at for s in devices[guest.number]))
                if devices[guest.number]
                else None,
                datetime.fromtimestamp(guest.until, context.farm.zone).date().isoformat(),
            )
            for guest in guests
            if not guest.over(now)
        ],
        ended=[(guest, context.clock(guest.until)) for guest in guests if guest.over(now)],
        of_settings=auth.access.people,
        programs=[
            (program, context.clock(program.until) if program.until else None, program.over(now))
            for program in auth.access.of_programs
        ],
        endless=[s for s in sessions if s.by_link and s.user.guest is None],
        roles=list(Role),
        asked=asked,
        earliest=today.isoformat(),
        latest=(today + _LONGEST).isoformat(),
        let_in=let_in,
        **invitation(context, request, link),
    )
