"""This device as one that pushes reach: subscribed on the first visit, and tried at once."""

import secrets
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import partial
from typing import Any

from fastapi import APIRouter, Request, Response
from fastapi.responses import JSONResponse

from watcher.delivery.acknowledgement import BadLinkError
from watcher.delivery.addressees import Subscription
from watcher.delivery.channel import Attempt, Outcome
from watcher.delivery.push_address import NowhereError
from watcher.delivery.web_push import WebPush
from watcher.i18n.message import Message, say
from watcher.web.auth.authenticator import NotAllowedError, Visitor
from watcher.web.first_visit.visit import FirstVisit, language_of
from watcher.web.subscribing import BadSubscriptionError, sent_json, subscription, text_of

TEST_TITLE = say("Test of the weather watch")
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
    """Routes of the device: subscribed, tried, heard back from."""
    routes, sessions, tests = APIRouter(), visit.auth.sessions, _Tests()

    def mine(visitor: Visitor, sent: Mapping[str, Any]) -> Subscription | None:
        """The subscription of this very device; None where it has none, or one that is over."""
        found = sessions.subscription(visitor.session or 0, text_of(sent, "endpoint"))
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
        await way.in_thread(partial(sessions.subscribe, visitor.session or 0, device))
        return Response(status_code=204)

    @routes.post("/devices/push/state")
    async def state(request: Request) -> Response:
        visitor, sent = visit.owner(request), await sent_json(request)
        device = mine(visitor, sent)
        known: tuple[bool, Message] = (True, _HERE if device else _NOT_HERE)
        over, says = tests.says.get(text_of(sent, "ref"), known) if device else known
        state_now = {"here": device is not None, "over": over}
        return JSONResponse(state_now | {"says": says.render(language_of(request))})

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
            TEST_TITLE.render(language), body.render(language), ref=ref, to="/first/phone"
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

    return routes


def _pushes(visit: FirstVisit) -> WebPush:
    if visit.pushes is None:
        raise BadSubscriptionError(_OFF)
    return visit.pushes


def _became(sent: Attempt) -> Message:
    if sent.outcome is Outcome.SENT:
        return say("Taken by the push service; this device has not shown it yet.")
    return say("The push service did not take it ({why}): try again.", why=sent.why)
