"""The screen of who is told: this device by pushes, people by the push addresses of the settings.

A test is sent at once and its outcome shown; there is no outbox before the watch runs.
"""

import secrets
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import partial
from typing import Any

from fastapi import APIRouter, Request, Response
from fastapi.responses import JSONResponse, RedirectResponse

from watcher.delivery.acknowledgement import BadLinkError
from watcher.delivery.addressees import Subscription
from watcher.delivery.channel import Attempt, Outcome
from watcher.delivery.push_address import NowhereError
from watcher.delivery.web_push import WebPush
from watcher.farm.editing.edits import Edit, Remove, SetValue
from watcher.i18n.language import Language
from watcher.i18n.message import Message, Name, say
from watcher.web.auth.authenticator import NotAllowedError, Visitor
from watcher.web.first_visit import steps
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
from watcher.web.subscribing import BadSubscriptionError, sent_json, subscription, text_of

_TITLE = say("Test of the weather watch")
_MOST_TESTS = 20
_HERE = say("Alerts are pushed to this device.")
_NOT_HERE = say("Alerts are not pushed to this device.")
_OFF = say("Pushes are off: whoever runs the watch must set WATCHER_CONTACT.")


@dataclass
class _Tests:
    """The tests that were pushed, with what became of each."""

    says: dict[str, tuple[bool, Message]] = field(default_factory=dict)

    def note(self, ref: str, says: Message, *, over: bool) -> None:
        self.says[ref] = over, says
        while len(self.says) > _MOST_TESTS:
            del self.says[next(iter(self.says))]


def router(visit: FirstVisit) -> APIRouter:
    """Routes of the screen."""
    routes = APIRouter()
    _screen_routes(routes, visit)
    _device_routes(routes, visit, _Tests())
    return routes


def _screen_routes(routes: APIRouter, visit: FirstVisit) -> None:
    step = steps.BY_KEY["phone"]

    def show(
        request: Request, typed: Typed | None = None, outcome: Message | None = None
    ) -> Response:
        asked, problems = _fields(visit), typed.problems if typed else ()
        return visit.show(
            request,
            "first_phone.html",
            422 if problems else 200,
            step=step,
            rows=rows(asked, visit.farm.texts, typed),
            wrong=of_mistakes(elsewhere(asked, problems)),
            refused=bool(problems),
            addresses=list(visit.addresses),
            pushes=visit.pushes is not None,
            outcome=outcome,
            **steps.posts(step),
        )

    @routes.get("/first/phone")
    def phone(request: Request) -> Response:
        visit.owner(request)
        return show(request)

    @routes.post("/first/phone")
    async def told(request: Request) -> Response:
        form = await visit.door.form(request, visit.owner(request))
        if form.get("later"):
            return RedirectResponse(steps.after(visit.farm, step), 303)
        if name := form.get("test"):
            return show(request, Typed(form), await _tried(visit, name, language_of(request)))
        asked = _fields(visit)
        try:
            texts = steps.checked(visit.farm, "phone", _edits(visit, asked, form), asked)
        except AtFaultError as error:
            return show(request, Typed(form, error.problems))
        visit.farm.keep(texts)
        return RedirectResponse(steps.after(visit.farm, step), 303)


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


def _edits(visit: FirstVisit, asked: list[Field], form: Mapping[str, str]) -> list[Edit]:
    """Everybody with an address is in the farm file; nobody else can be reached."""
    known = visit.farm.raw.get("recipients", {})
    found: list[Edit] = [Remove(("recipients", n)) for n in known if n not in visit.addresses]
    found += [SetValue(("recipients", n), {}) for n in visit.addresses if n not in known]
    return found + edits(asked, form)


async def _tried(visit: FirstVisit, name: str, language: Language) -> Message:
    """Send somebody a test; returns what became of it."""
    # Loading what sends takes half a second, and few ask for it.
    from watcher.delivery.channel import Channel, UnusableUrlError  # noqa: PLC0415

    url = visit.addresses.get(name)
    if url is None:
        return say("no push address of the settings has this name")
    text = say("A test: messages of the weather watch arrive here.").render(language)
    try:
        channel = Channel(name, url.get_secret_value())
    except UnusableUrlError as error:
        return say("the message to {name} was not taken: {why}", name=Name(name), why=str(error))
    attempt = await channel.send(_TITLE.render(language), text, urgent=False)
    if attempt.outcome is Outcome.SENT:
        return say("The message to {name} was taken. Did it arrive?", name=Name(name))
    return say("the message to {name} was not taken: {why}", name=Name(name), why=attempt.why)


def _device_routes(routes: APIRouter, visit: FirstVisit, tests: _Tests) -> None:
    keyring = visit.door.keyring

    def mine(visitor: Visitor, sent: Mapping[str, Any]) -> Subscription | None:
        """The subscription of this very device; None where it has none, or one that is over."""
        found = keyring.subscription(visitor.session or 0, text_of(sent, "endpoint"))
        return None if found is None or found[1] is not None else found[0]

    @routes.get("/devices/push")
    def key(request: Request) -> Response:
        visit.owner(request)
        return JSONResponse({"key": _pushes(visit).public_key})

    @routes.post("/devices/push")
    async def subscribe(request: Request) -> Response:
        visitor, language = visit.owner(request), language_of(request)
        way, device = _pushes(visit), subscription(await sent_json(request), language.code)
        try:
            await way.look_up(device.endpoint)
        except NowhereError as error:
            wrong = say("this device cannot be pushed to: {why}", why=str(error))
            raise BadSubscriptionError(wrong) from error
        await way.in_thread(partial(keyring.subscribe, visitor.session or 0, device))
        return Response(status_code=204)

    @routes.post("/devices/push/state")
    async def state(request: Request) -> Response:
        visitor, sent = visit.owner(request), await sent_json(request)
        device = mine(visitor, sent)
        known: tuple[bool, Message] = (True, _HERE if device else _NOT_HERE)
        over, says = tests.says.get(text_of(sent, "ref"), known) if device else known
        told = {"here": device is not None, "over": over}
        return JSONResponse(told | {"says": says.render(language_of(request))})

    @routes.post("/devices/push/test")
    async def test(request: Request) -> Response:
        visitor, way, language = visit.owner(request), _pushes(visit), language_of(request)
        device = mine(visitor, await sent_json(request))
        if device is None:
            raise BadSubscriptionError(_NOT_HERE)
        ref, body = secrets.token_hex(4), say("A test: alerts of a running job arrive here.")
        # Noted before it is sent: a device may have shown it before its push service has answered.
        tests.note(ref, say("On its way."), over=False)
        sent = await way.channel(device, language).try_out(
            _TITLE.render(language), body.render(language), ref=ref, to="/first/phone"
        )
        if tests.says[ref][1] == say("On its way."):
            tests.note(ref, _became(sent), over=sent.outcome is not Outcome.SENT)
        return JSONResponse({"ref": ref})

    @routes.post("/devices/push/receipt")
    async def receipt(request: Request) -> Response:
        sent = await sent_json(request)
        try:
            seen = _pushes(visit).links.read(text_of(sent, "token"))
        except BadLinkError as error:
            raise NotAllowedError(str(error)) from error
        if text_of(sent, "what") == "seen":
            answered = say("Answered on this device: pushes arrive, and answers from here count.")
            tests.note(seen.ref, answered, over=True)
        else:
            shown = say("Shown on this device. Tap “I have seen this” there to try that too.")
            tests.note(seen.ref, shown, over=False)
        return Response(status_code=204)


def _pushes(visit: FirstVisit) -> WebPush:
    if visit.pushes is None:
        raise BadSubscriptionError(_OFF)
    return visit.pushes


def _became(sent: Attempt) -> Message:
    if sent.outcome is Outcome.SENT:
        return say("Taken by the push service; this device has not shown it yet.")
    return say("The push service did not take it ({why}): try again.", why=sent.why)
