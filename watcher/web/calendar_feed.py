"""The plan of the day as a calendar (RFC 5545): a file for whoever is logged in, and a feed.

A calendar program cannot log in. It reads an address of its own, signed as the links of alerts are:
good while the user it was made for may come in, and until it is stopped.
"""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING
from urllib.parse import quote

from fastapi import APIRouter, Depends, HTTPException, Request, Response
from fastapi.responses import RedirectResponse

from watcher.delivery.acknowledgement import BadLinkError, Links
from watcher.i18n.language import Language
from watcher.i18n.message import Message, Name, Sentence, joined, say
from watcher.messages.chances import tenths
from watcher.messages.day_plan import (
    before,
    load_lines,
    only_part,
    plan_status,
    what_ends,
    with_whom,
)
from watcher.messages.reasons import Speaker
from watcher.messages.words import CAUTION
from watcher.planning.day_plan import PlanStep
from watcher.planning.kept_plan import PlanNow
from watcher.web.auth.authenticator import NotAllowedError, Visitor
from watcher.web.auth.users import User
from watcher.web.context import AppContext

if TYPE_CHECKING:
    import icalendar

_TYPE = "text/calendar; charset=utf-8"
_READ_AGAIN = timedelta(minutes=15)


@dataclass(frozen=True)
class Feed:
    """An address of the visitor's, and whether a calendar reads it."""

    id: str
    address: str
    made: Message
    read: Message | None
    """When it was last read; None: never."""


def router(context: AppContext, links: Links | None) -> APIRouter:
    """Routes of the file and of the feed."""
    routes = APIRouter(include_in_schema=False)
    looker = Depends(context.auth.looker)

    def answer(language: Language) -> Response:
        body = calendar(context.speaker, context.plan(), language)
        return Response(body, media_type=_TYPE, headers={"Cache-Control": "no-store"})

    @routes.get("/plan.ics")
    def file(request: Request, _user: User = Depends(context.auth.api_looker)) -> Response:  # noqa: B008
        return answer(context.language(request))

    @routes.get("/calendar/{token}.ics")
    def read(token: str) -> Response:
        try:
            if links is None:
                raise BadLinkError
            read = links.read(token)
        except BadLinkError:
            raise HTTPException(
                404, "this address was not made here, or has been changed"
            ) from None
        auth, now = context.auth, context.watch.clock.now()
        if not auth.knows(read.recipient) or not auth.sessions.read_calendar(
            read.ref, read.recipient, now
        ):
            raise HTTPException(404, "this address was stopped, or its user may no longer come in")
        return answer(context.farm.language)

    @routes.post("/calendars")
    async def make(request: Request, visitor: Visitor = looker) -> Response:
        await context.auth.form(request, visitor)
        if links is None or visitor.user is None:
            raise NotAllowedError("no addresses for calendars are made here")
        user, now = visitor.user, context.watch.clock.now()
        context.auth.sessions.make_calendar(user.name, now, guest=user.guest)
        return RedirectResponse("/plan#calendar", 303)

    @routes.post("/calendars/{feed}/stop")
    async def stop(request: Request, feed: str, visitor: Visitor = looker) -> Response:
        await context.auth.form(request, visitor)
        if visitor.user is not None:
            context.auth.sessions.stop_calendar(feed, visitor.user.name)
        return RedirectResponse("/plan#calendar", 303)

    return routes


def feeds(context: AppContext, visitor: Visitor, links: Links | None) -> list[Feed] | None:
    """Return the visitor's addresses; None where none are made."""
    if links is None or visitor.user is None:
        return None
    name = visitor.user.name
    return [
        Feed(
            one.id,
            _address(links, one.id, name),
            context.clock(one.made_at),
            None if one.read_at is None else context.clock(one.read_at),
        )
        for one in context.auth.sessions.calendars(name)
    ]


def _address(links: Links, feed: str, name: str) -> str:
    token = links.token(feed, name)
    return f"{links.link(feed, name).removesuffix(token)}{quote(token, safe='')}.ics"


def calendar(speaker: Speaker, plan: PlanNow | None, language: Language) -> bytes:
    """Return the plan's steps as a calendar in a language; none of an old plan's."""
    import icalendar  # noqa: PLC0415 - 3 MiB, and most farms are read by no calendar

    made = icalendar.Calendar()
    made.add("prodid", "-//field weather watch//plan of the day//")
    made.add("version", "2.0")
    made.add("method", "PUBLISH")
    title = say("Plan of the day, {farm}", farm=Name(speaker.farm.config.farm.name))
    made.add("x-wr-calname", title.render(language))
    made.add("refresh-interval", _READ_AGAIN, parameters={"value": "DURATION"})
    made.add("x-published-ttl", "PT15M")
    for step in plan.steps if plan is not None else ():
        made.add_component(_event(speaker, plan, step, language))
    return bytes(made.to_ical())


def _event(
    speaker: Speaker, plan: PlanNow | None, step: PlanStep, language: Language
) -> "icalendar.Event":
    assert plan is not None  # noqa: S101  # its own step
    import icalendar  # noqa: PLC0415 - as above

    event = icalendar.Event()
    day = datetime.fromtimestamp(step.starts_at, speaker.farm.zone).date()
    # The same job keeps its entry when the plan moves it within the day.
    event.add("uid", f"{day.isoformat()}-{step.field}@field-weather-watch")
    event.add("dtstamp", _utc(plan.kept.made_at))
    event.add(
        "dtstart", _utc(max(step.starts_at, plan.now) if step in plan.due else step.starts_at)
    )
    event.add("dtend", _utc(max(step.ends_at, plan.now + 60)))
    summary = say(
        "{field}: {setup}, {odds}",
        field=Name(step.field),
        setup=Name(step.setup),
        odds=tenths(step.chance),
    )
    event.add("summary", summary.render(language))
    lines = [
        Sentence(with_whom(step)),
        Sentence(only_part(step)),
        *load_lines(speaker, step),
        Sentence(before(step)),
        Sentence(what_ends(step)),
        plan_status(plan, speaker),
        CAUTION,
    ]
    event.add("description", joined([x for x in lines if str(x) != "."], "\n").render(language))
    event.add("status", "TENTATIVE" if plan.accepted is None else "CONFIRMED")
    return event


def _utc(at: int) -> datetime:
    return datetime.fromtimestamp(at, UTC)
