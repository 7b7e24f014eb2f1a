"""The screen of who hears: this device by pushes, people by push addresses, tried from here.

A push address is a secret: typed here it is kept beside the farm file, and never shown again. A
test is sent at once and its outcome shown; there is no outbox before the watch runs.
"""

import asyncio
from collections.abc import Mapping

import structlog
from fastapi import APIRouter, Request, Response
from fastapi.responses import RedirectResponse

from watcher.delivery.channel import Channel, Outcome, UnusableUrlError
from watcher.farm.editing.edits import Edit, Remove, SetValue
from watcher.farm.editing.first_farm import name_for
from watcher.i18n.language import Language
from watcher.i18n.message import Message, Name, say
from watcher.service.kept_secrets import SecretKind, SecretRefusedError
from watcher.web.auth.authenticator import Visitor
from watcher.web.first_visit import screens
from watcher.web.first_visit.device import TEST_TITLE
from watcher.web.first_visit.visit import FirstVisit, language_of
from watcher.web.pages.farm_form import (
    AtFaultError,
    Field,
    Typed,
    edits,
    elsewhere,
    of_mistakes,
    rows,
)

log = structlog.get_logger("watcher.web")
_GROWER = "grower"
"""What the first one is called who hears, unless another name is typed."""


class _NewAtFaultError(Exception):
    """Somebody new cannot be reached so; what is wrong holds no part of their address."""

    def __init__(self, *, name: Message | None = None, address: Message | None = None) -> None:
        super().__init__(str(name or address))
        self.name, self.address = name, address


def router(visit: FirstVisit) -> APIRouter:
    """Routes of the screen."""
    routes = APIRouter()
    step = screens.BY_KEY["phone"]

    def show(
        request: Request,
        typed: Typed | None = None,
        outcome: Message | None = None,
        new: _NewAtFaultError | None = None,
        *,
        retype: bool = False,
    ) -> Response:
        asked, problems = _fields(visit), typed.problems if typed else ()
        states = {name: visit.secrets.state(SecretKind.PUSH, name) for name in visit.addresses}
        refused = bool(problems or new)
        suggested = "" if visit.addresses else _GROWER
        return visit.show(
            request,
            "first_phone.html",
            422 if refused else 200,
            step=step,
            rows=rows(asked, visit.farm.texts, typed),
            wrong=of_mistakes(elsewhere(asked, problems)),
            refused=refused,
            new_name=typed.form.get("new_name", "") if typed and refused else suggested,
            name_wrong=new and new.name,
            address_wrong=new and new.address,
            addresses={name: bool(state and state.of_settings) for name, state in states.items()},
            troubles=visit.secrets.troubles,
            pushes=visit.pushes is not None,
            outcome=outcome,
            retype=retype,
            **screens.posts(step),
        )

    @routes.get("/first/phone")
    def phone(request: Request) -> Response:
        visit.owner(request)
        return show(request)

    @routes.post("/first/phone")
    async def answer(request: Request) -> Response:
        visitor = visit.owner(request)
        form = await visit.auth.form(request, visitor, long=True)
        typed = form.pop("address", "").strip()  # in no page and no refusal again
        if form.get("later"):
            return RedirectResponse(screens.after(visit.farm, step), 303)
        if outcome := await _done(visit, form, language_of(request)):
            return show(request, Typed(form), outcome)
        asked = _fields(visit)
        try:
            # To look at an address takes half a second the first time.
            name = await asyncio.to_thread(_new, visit, form, typed)
            texts = screens.checked(visit.farm, "phone", _edits(visit, asked, form, name), asked)
            if name:
                await asyncio.to_thread(_keep, visit, visitor, name, typed)
        except AtFaultError as error:
            return show(request, Typed(form, error.problems), retype=bool(typed))
        except _NewAtFaultError as error:
            return show(request, Typed(form), None, error, retype=bool(typed))
        visit.farm.keep(texts)
        if form.get("add"):
            return show(request, None, await _tried(visit, name, language_of(request)))
        return RedirectResponse(screens.after(visit.farm, step), 303)

    return routes


def _fields(visit: FirstVisit) -> list[Field]:
    """Ask of each address what its owner hears, and when it is quiet."""
    found = []
    for name in visit.addresses:
        at = ("recipients", name)
        found += [
            Field(
                f"{name}:start",
                (*at, "quiet_hours", "start"),
                say("{name}: quiet from", name=Name(name)),
                "time",
                hint=say("Never of a job under way"),
            ),
            Field(
                f"{name}:end",
                (*at, "quiet_hours", "end"),
                say("{name}: quiet until", name=Name(name)),
                "time",
            ),
        ]
    return found


def _edits(visit: FirstVisit, asked: list[Field], form: Mapping[str, str], new: str) -> list[Edit]:
    """Everybody with an address is in the farm file; nobody else can be reached."""
    known = visit.farm.raw.get("recipients", {})
    reached = dict.fromkeys([*visit.addresses, *([new] if new else [])])
    found: list[Edit] = [Remove(("recipients", n)) for n in known if n not in reached]
    found += [SetValue(("recipients", n), {}) for n in reached if n not in known]
    return found + edits(asked, form)


def _new(visit: FirstVisit, form: Mapping[str, str], address: str) -> str:
    """Return what somebody new is called; nothing where nobody is. Raises ``_NewAtFaultError``."""
    written = form.get("new_name", "").strip()
    if "://" in written:  # which would stand in the farm file, for all to read
        wrong = say("This is an address: write it below, and a short name here")
        raise _NewAtFaultError(name=wrong)
    if not address:
        if form.get("add") or (written and written != _GROWER):
            raise _NewAtFaultError(address=say("Type the push address, or choose Later"))
        return ""
    if not written:
        raise _NewAtFaultError(name=say("Write a short name for who is reached there"))
    name = name_for(written, (), _GROWER)
    try:
        visit.secrets.check(SecretKind.PUSH, name, address)
    except SecretRefusedError as refused:
        wrong = say("This push address {wrong}", wrong=refused.wrong)
        raise _NewAtFaultError(address=wrong) from refused
    return name


def _keep(visit: FirstVisit, visitor: Visitor, name: str, address: str) -> None:
    """Keep an address for the watch to come. Raises ``_NewAtFaultError``."""
    by = visitor.user.name if visitor.user else ""
    try:
        visit.secrets.keep(SecretKind.PUSH, name, address, by=by, at=visit.auth.clock.now())
    except OSError as error:
        why = say("the push address cannot be kept ({why})", why=str(error.strerror))
        raise _NewAtFaultError(address=why) from error
    log.info("a secret was set", kind=SecretKind.PUSH.value, of=name, by=by)


async def _done(visit: FirstVisit, form: Mapping[str, str], spoken: Language) -> Message | None:
    """Do what a button beside an address asks; returns what became of it, None where none did."""
    if name := form.get("test"):
        return await _tried(visit, name, spoken)
    if name := form.get("forget"):
        return await asyncio.to_thread(_forgotten, visit, name)
    return None


def _forgotten(visit: FirstVisit, name: str) -> Message:
    """Forget an address that is kept, and take its owner out; returns what became of it."""
    try:
        found = visit.secrets.remove(SecretKind.PUSH, name)
    except OSError as error:
        return say("The push address cannot be removed ({why})", why=str(error.strerror))
    if not found:
        return say("no push address has this name")
    if name in visit.farm.raw.get("recipients", {}):
        visit.farm.keep(visit.farm.with_edits([Remove(("recipients", name))]))
    return say("The push address of {name} is forgotten.", name=Name(name))


async def _tried(visit: FirstVisit, name: str, language: Language) -> Message:
    """Send somebody a test; returns what became of it."""
    url = visit.addresses.get(name)
    if url is None:
        return say("no push address has this name")
    text = say("A test: messages of the weather watch arrive here.").render(language)
    try:
        channel = Channel(name, url.get_secret_value())
    except UnusableUrlError as error:
        return say("the message to {name} was not taken: {why}", name=Name(name), why=str(error))
    attempt = await channel.send(TEST_TITLE.render(language), text, urgent=False)
    if attempt.outcome is Outcome.SENT:
        return say("The message to {name} was taken. Did it arrive?", name=Name(name))
    return say("the message to {name} was not taken: {why}", name=Name(name), why=attempt.why)
