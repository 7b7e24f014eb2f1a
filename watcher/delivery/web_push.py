"""Pushes to subscribed devices: Web Push (RFC 8030), encrypted (8291) and signed (8292).

A device is a recipient of the outbox like any other; this is the channel to it.
"""

import asyncio
import base64
import hashlib
import hmac
import json
import ssl
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from email.utils import parsedate_to_datetime
from functools import cached_property, partial
from typing import TYPE_CHECKING, TypeVar

import anyio.to_thread
import httpx
from anyio import CapacityLimiter

from watcher.delivery.acknowledgement import Links
from watcher.delivery.addressees import SubscribedDevices, Subscription
from watcher.delivery.channel import PASSING, Attempt, Outcome
from watcher.delivery.push_address import Destination, NowhereError, destination
from watcher.delivery.sent_messages import job_of, page_of
from watcher.i18n.language import Language
from watcher.i18n.message import say
from watcher.store.tables import Outgoing

if TYPE_CHECKING:
    from py_vapid import Vapid

T = TypeVar("T")

_GOOD_FOR_S = 900
"""A device that nobody reaches for so long is sent no more: it would hear of old weather."""
_SIGNED_FOR_S = 12 * 3600
_TIMEOUT_S = 10.0
_SENT_AT_ONCE = 8
_THREADS = 4
"""Of their own: a name that nobody answers for must keep neither pages nor alerts waiting."""
_MOST_BYTES = 3900
"""Of what is said, before it is encrypted: a push service takes 4096 (RFC 8030, 7.2)."""
_LONGEST_AGAIN_S = 600.0
_GONE = {404, 410}
_NO_ANSWER = say("Not taken: no answer from the watch. Tap to open the page.")
_REFUSED = say("Not taken: the watch refused it. Tap to open the page and see why.")
# Order of the curve P-256 (FIPS 186-4).
_ORDER = 0xFFFFFFFF00000000FFFFFFFFFFFFFFFFBCE6FAADA7179E84F3B9CAC2FC632551


class WebPush:
    """The way to every subscribed device."""

    def __init__(
        self,
        subscribed: SubscribedDevices,
        secret: bytes,
        contact: str,
        links: Links,
        *,
        anywhere: bool = False,
        timeout_s: float = _TIMEOUT_S,
        now: Callable[[], float] = time.time,
    ) -> None:
        """``contact`` is given to push services; ``anywhere`` takes services on this machine too.

        ``secret`` is what the signing key is made of, ``links`` makes the tokens by which a device
        answers. One push may take ``timeout_s`` in all. ``now`` tells the outer world's time.
        """
        self.subscribed, self.links, self._now = subscribed, links, now
        self._secret, self._contact = secret, contact
        self._anywhere, self._timeout_s = anywhere, timeout_s
        self._sending = asyncio.Semaphore(_SENT_AT_ONCE)
        self._threads = CapacityLimiter(_THREADS)

    @cached_property
    def public_key(self) -> str:
        """The key devices subscribe with (VAPID), as base64url."""
        from cryptography.hazmat.primitives import serialization  # noqa: PLC0415

        raw = self._vapid.public_key.public_bytes(
            serialization.Encoding.X962, serialization.PublicFormat.UncompressedPoint
        )
        return base64.urlsafe_b64encode(raw).decode().rstrip("=")

    @cached_property
    def _vapid(self) -> "Vapid":
        from cryptography.hazmat.primitives.asymmetric import ec  # noqa: PLC0415
        from py_vapid import Vapid  # noqa: PLC0415

        # Derived, so that there is one secret to keep and none to lose.
        number = int.from_bytes(_derived(self._secret), "big") % (_ORDER - 1) + 1
        return Vapid(ec.derive_private_key(number, ec.SECP256R1()))

    async def look_up(self, endpoint: str) -> None:
        """Check where an endpoint leads. Raises NowhereError."""
        try:
            async with asyncio.timeout(self._timeout_s):
                await self.in_thread(partial(destination, endpoint, anywhere=self._anywhere))
        except TimeoutError:
            raise NowhereError("nobody knows its host") from None

    def channel(self, device: Subscription, language: Language) -> "DeviceChannel":
        """Return the channel to a device, which reads a language."""
        return DeviceChannel(self, device, language)

    async def send(self, device: Subscription, said: dict[str, str], push: "_Kind") -> Attempt:
        """Try once to send one push; a device that is gone is noted as such. Never raises."""
        try:
            async with self._sending, asyncio.timeout(self._timeout_s):
                status, again = await self._post(device, said, push)
        except NowhereError as error:
            return Attempt(Outcome.REFUSED, str(error))
        except TimeoutError:
            return Attempt(Outcome.FAILED, f"no answer in {self._timeout_s:g} s")
        except Exception as error:  # the network's errors; their texts may hold the address
            return Attempt(Outcome.FAILED, type(error).__name__)
        why = f"HTTP {status}"
        if status in _GONE:
            why = f"{why}, the subscription is over"
            await self.in_thread(partial(self.subscribed.end, device.name, str(status)))
        return read_status(status, why, again, self._now())

    async def _post(
        self, device: Subscription, said: dict[str, str], push: "_Kind"
    ) -> tuple[int, str]:
        """Post one push; returns the status and Retry-After, and reads no more of the answer."""
        to, headers, body = await self.in_thread(partial(self._sealed, device, said))
        # No redirects, no proxy of the environment's, and no connection kept: the next push to
        # the same address may be for another name.
        async with (
            httpx.AsyncClient(
                verify=self._certificates,
                follow_redirects=False,
                trust_env=False,
                timeout=self._timeout_s,
            ) as client,
            client.stream(
                "POST",
                to.url,
                content=body,
                headers=headers | push.headers() | {"Host": to.host},
                extensions={"sni_hostname": to.name},
            ) as answer,
        ):
            return answer.status_code, answer.headers.get("retry-after", "")

    @cached_property
    def _certificates(self) -> ssl.SSLContext:
        return httpx.create_ssl_context(trust_env=False)

    def _sealed(
        self, device: Subscription, said: dict[str, str]
    ) -> tuple[Destination, dict[str, str], bytes]:
        """Where a push goes, its headers, and its content for the device alone to read."""
        from pywebpush import WebPusher  # noqa: PLC0415

        _ = self._certificates  # read here, in a thread
        to = destination(device.endpoint, anywhere=self._anywhere)
        info = {"endpoint": device.endpoint, "keys": json.loads(device.keys)}
        body: bytes = WebPusher(info).encode(_fitting(said))["body"]
        claims = {
            "aud": f"{httpx.URL(to.url).scheme}://{to.host}",
            "sub": _subject(self._contact),
            "exp": int(time.time()) + _SIGNED_FOR_S,
        }
        headers: dict[str, str] = self._vapid.sign(claims)
        return to, headers | {"Content-Encoding": "aes128gcm"}, body

    async def in_thread(self, work: Callable[[], T]) -> T:
        """Do what may block on the threads of pushes."""
        # What is waited for no longer goes on by itself: no thread can be stopped.
        return await anyio.to_thread.run_sync(work, abandon_on_cancel=True, limiter=self._threads)


@dataclass(frozen=True)
class _Kind:
    """How a push service treats a push."""

    good_for_s: int
    urgent: bool
    topic: str
    """A newer one of the same topic takes the place of one that has not reached the device."""

    def headers(self) -> dict[str, str]:
        urgency = {"TTL": str(self.good_for_s), "Urgency": "high" if self.urgent else "normal"}
        return urgency | ({"Topic": self.topic} if self.topic else {})


class DeviceChannel:
    """Sends to one device."""

    def __init__(self, pushes: WebPush, device: Subscription, language: Language) -> None:
        self._pushes, self._device, self._language = pushes, device, language

    async def send(
        self, title: str, body: str, *, urgent: bool, rows: Sequence[Outgoing] = (), now: int = 0
    ) -> Attempt:
        """Try once to push messages as one. Never raises."""
        said = {"title": title, "body": body}
        ends = [row.expires_at - now for row in rows if row.expires_at is not None]
        topic = ""
        if rows:
            newest = rows[-1]
            topic = newest.short_id
            said |= self._answers(newest)
        kind = _Kind(min([_GOOD_FOR_S, *(max(0, left) for left in ends)]), urgent, topic)
        return await self._pushes.send(self._device, said, kind)

    async def try_out(self, title: str, body: str, *, ref: str, to: str) -> Attempt:
        """Try once to push something that stands in no outbox; the device answers it by ``ref``."""
        said = {"title": title, "body": body} | self._answered_by(ref, self._device.name, to)
        return await self._pushes.send(self._device, said, _Kind(_GOOD_FOR_S, True, ref))

    def _answers(self, row: Outgoing) -> dict[str, str]:
        """What the device shows beside the text, and answers with."""
        answers = self._answered_by(row.short_id, row.recipient, page_of(row))
        if job_of(row) is not None:
            answers["pause"] = say("Pause").render(self._language)
        return answers

    def _answered_by(self, ref: str, recipient: str, to: str) -> dict[str, str]:
        return {
            "tag": ref,
            "to": to,
            "token": self._pushes.links.token(ref, recipient),
            "seen": say("I have seen this").render(self._language),
            "failed": _NO_ANSWER.render(self._language),
            "refused": _REFUSED.render(self._language),
        }


def read_status(status: int, why: str, again: str, now: float) -> Attempt:
    """Return what became of a push, from the status and the Retry-After of its answer."""
    if httpx.codes.is_success(status):
        return Attempt(Outcome.SENT)
    if status in PASSING or httpx.codes.is_server_error(status):
        return Attempt(Outcome.FAILED, why, _again_s(again, now))
    return Attempt(Outcome.HOPELESS, why)


def _again_s(text: str, now: float) -> float:
    """How long a service asks to be left alone, as far as that is followed. [s]"""
    try:
        wanted = float(int(text)) if text.isascii() and text.isdigit() else _until(text, now)
    except (ValueError, TypeError, OverflowError):
        return 0.0
    return min(max(wanted, 0.0), _LONGEST_AGAIN_S)


def _until(text: str, now: float) -> float:
    return parsedate_to_datetime(text).timestamp() - now


def _fitting(said: dict[str, str]) -> bytes:
    """What is said as JSON, with lines of the body left out before its last two until it fits."""
    lines = said["body"].splitlines()
    while True:
        whole = json.dumps(said | {"body": "\n".join(lines)}, ensure_ascii=False).encode()
        if len(whole) <= _MOST_BYTES or len(lines) <= 2:
            return whole
        del lines[-3]


def _derived(secret: bytes) -> bytes:
    return hmac.digest(secret, b"vapid", hashlib.sha512)


def _subject(contact: str) -> str:
    return contact if contact.startswith(("mailto:", "https:")) else f"mailto:{contact}"
