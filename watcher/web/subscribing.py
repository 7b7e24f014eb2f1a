"""What a browser sends to subscribe a device to pushes."""

import json
from collections.abc import Mapping
from typing import Any

from fastapi import Request

from watcher.delivery.addressees import Subscription
from watcher.i18n.message import Message, say
from watcher.web.auth.authenticator import MOST_FORM_BYTES, NotAllowedError

MOST_KEY = 200


class BadSubscriptionError(ValueError):
    """This is no subscription of a device that can be pushed to; ``wrong`` says why."""

    def __init__(self, wrong: Message) -> None:
        super().__init__(str(wrong))
        self.wrong = wrong


async def sent_json(request: Request) -> dict[str, Any]:
    """Return what a script of our pages sent. Raises NotAllowedError, BadSubscriptionError."""
    # JSON is what no form of another site can send without being asked first.
    if request.headers.get("content-type") != "application/json":
        raise NotAllowedError("a browser sends this as JSON")
    body = await request.body()
    try:
        sent = json.loads(body[:MOST_FORM_BYTES])
    except (ValueError, RecursionError):
        sent = None
    if not isinstance(sent, dict):
        raise _no_subscription()
    return sent


def text_of(sent: Mapping[str, Any], name: str) -> str:
    """Return a text that was sent; empty where none was."""
    found = sent.get(name, "")
    return found if isinstance(found, str) else ""


def subscription(sent: Mapping[str, Any], language: str) -> Subscription:
    """Return a device's subscription, as its browser gives it. Raises BadSubscriptionError."""
    try:
        endpoint, keys = str(sent["endpoint"]), sent["keys"]
        kept = {name: str(keys[name])[:MOST_KEY] for name in ("p256dh", "auth")}
    except (KeyError, TypeError) as error:
        raise _no_subscription() from error
    return Subscription(endpoint, json.dumps(kept), language)


def _no_subscription() -> BadSubscriptionError:
    return BadSubscriptionError(say("this is not what a browser subscribes with"))
