"""The channel to one recipient, and one behind apprise: the only place that knows its results."""

import asyncio
import contextlib
import difflib
import logging
import re
import threading
from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import Enum
from typing import Protocol
from urllib.parse import unquote

import apprise
from apprise.result import AppriseResult, AppriseResultStatus

from watcher.delivery.push_services import SERVICES
from watcher.i18n.message import Message, any_of, joined, say
from watcher.store import tables

# Its log lines may hold whole URLs. What became of an attempt is in its result.
logging.getLogger("apprise").propagate = False
logging.getLogger("apprise").addHandler(logging.NullHandler())

_TIMEOUT_S = 20.0
_MOST_HUNG = 2
_WHY_ROOM = 200
_LEAST_PART = 6
"""Shorter parts of a URL are words like "json" or a port."""
_HTTP_ERROR = re.compile(r"error=(\d{3})")
# Refusals that may pass by themselves: request timeout, too early, too many requests.
PASSING = {408, 425, 429}


class Outcome(Enum):
    """What became of one attempt to send."""

    SENT = "sent"
    FAILED = "failed"
    REFUSED = "refused"
    """The address or the message is not accepted: trying again is not likely to help."""
    HOPELESS = "hopeless"
    """Nobody will take it there: it is not tried again."""


@dataclass(frozen=True)
class Attempt:
    """The outcome of one attempt and, when it did not arrive, why. Holds no secret."""

    outcome: Outcome
    why: str = ""
    again_s: float = 0.0
    """How long the other side asks to be left alone."""


class Sender(Protocol):
    """Sends to one recipient."""

    async def send(
        self,
        title: str,
        body: str,
        *,
        urgent: bool,
        rows: Sequence[tables.Outgoing] = (),
        now: int = 0,
    ) -> Attempt:
        """Try once to send plain text, the messages ``rows`` as one at ``now``. Never raises."""


class UnusableUrlError(ValueError):
    """A recipient's URL is not one that messages can be sent to."""


class Channel:
    """Sends to one URL. One only: of several, some would get a message again on a retry.

    Every attempt has a thread of its own. apprise's shared pool has few, a receiver that trickles
    holds one for as long as it likes, and neither other recipients nor the exit may wait for it.
    """

    def __init__(self, recipient: str, url: str, timeout_s: float = _TIMEOUT_S) -> None:
        self._url = url
        self._timeout_s = timeout_s
        self._hung = 0
        why = why_unusable(url)
        if why is not None:
            raise UnusableUrlError(f"recipient {recipient!r}: the URL in the settings {why}")

    def leads_to(self, url: str) -> bool:
        """Return whether this is the channel to a URL."""
        return self._url == url

    async def send(
        self,
        title: str,
        body: str,
        *,
        urgent: bool,
        rows: Sequence[tables.Outgoing] = (),  # the text says it all
        now: int = 0,
    ) -> Attempt:
        """Try once to send plain text. Never raises."""
        if self._hung >= _MOST_HUNG:
            return Attempt(Outcome.FAILED, "earlier attempts still hang")
        loop = asyncio.get_running_loop()
        answer: asyncio.Future[Attempt] = loop.create_future()

        def attempt() -> None:
            found = self._attempt(title, body, urgent)
            with contextlib.suppress(RuntimeError):  # the loop is closed: nobody waits any more
                loop.call_soon_threadsafe(self._answered, answer, found)

        self._hung += 1
        threading.Thread(target=attempt, name="push", daemon=True).start()
        try:
            async with asyncio.timeout(self._timeout_s):
                return await asyncio.shield(answer)
        except TimeoutError:
            return Attempt(Outcome.FAILED, f"no answer in {self._timeout_s:g} s")

    def _answered(self, answer: asyncio.Future[Attempt], found: Attempt) -> None:
        self._hung -= 1
        answer.set_result(found)

    def _attempt(self, title: str, body: str, urgent: bool) -> Attempt:
        try:
            result = self._service().notify(
                body=body,
                title=title,
                notify_type=apprise.NotifyType.WARNING if urgent else apprise.NotifyType.INFO,
                body_format=apprise.NotifyFormat.TEXT,
            )
        except Exception as error:  # a plug-in's own mistake must not stop the worker
            return Attempt(Outcome.FAILED, f"{type(error).__name__} in the channel")
        attempt = read_result(result)
        return replace(attempt, why=without_parts(attempt.why, self._url))

    def _service(self) -> apprise.Apprise:
        # New for every attempt: one that is kept makes a second message wait for seconds.
        return _service(self._url)


def without_parts(text: str, url: str) -> str:
    """Return a text without the parts of a URL, any of which may be a secret."""
    rest = url.partition("://")[2]
    parts = {part for whole in (rest, unquote(rest)) for part in re.split(r"[/:@?&=,]+", whole)}
    for part in sorted(parts, key=len, reverse=True):
        if len(part) >= _LEAST_PART:
            text = text.replace(part, "…")
    return text


def _service(url: str) -> apprise.Apprise:
    SERVICES.with_scheme(url.partition("://")[0].lower())
    service = apprise.Apprise(asset=apprise.AppriseAsset(app_id="Field weather watch"))
    service.add(url)
    return service


def why_unusable(url: str) -> Message | None:
    """Return why no message can be sent to a URL, and the mend; None where one can.

    Nothing of the URL itself is in the text, for every part of it may be a secret.
    """
    services = list(_service(url))
    if len(services) == 1 and len(services[0]) > 0:
        return None
    if len(services) > 1:
        return say("is not exactly one URL; give one, without a comma or a space in it")
    scheme = url.partition("://")[0].lower()
    known = SERVICES.with_scheme(scheme)
    if scheme not in known.schemas():
        close = difflib.get_close_matches(scheme, known.schemas(), n=1)
        mend = say("see its list of services")
        if close:
            mend = say("did you mean {name}?", name=f"{close[0]}://")
        return say(
            "is not exactly one that apprise understands: it knows no such scheme; {mend}",
            mend=mend,
        )
    forms = sorted(known[scheme].templates, key=len)
    ways = [joined([form.replace("{schema}", scheme)]) for form in forms[:1] + forms[1:][-1:]]
    return say(
        "is not exactly one that apprise understands: a part is missing or wrong; write {ways}",
        ways=any_of(ways),
    )


def read_result(result: AppriseResult) -> Attempt:
    """Return what became of an attempt to send to one URL, from apprise's result."""
    if result.status is AppriseResultStatus.SUCCESS:
        return Attempt(Outcome.SENT)
    if result.status is AppriseResultStatus.TIMEOUT:
        return Attempt(Outcome.FAILED, "no answer in time")
    logged = [entry.message for service in result.results for entry in service.logs()]
    why = logged[-1][:_WHY_ROOM] if logged else f"not sent ({result.status.name.lower()})"
    error = _HTTP_ERROR.search(why)
    refused = error is not None and 400 <= (code := int(error[1])) < 500 and code not in PASSING
    return Attempt(Outcome.REFUSED if refused else Outcome.FAILED, why)
