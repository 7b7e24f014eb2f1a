"""Alerts of a running job pushed to devices that asked for it, by Web Push (RFC 8030, 8291, 8292).

Besides what apprise delivers, not in its place: a push is tried once, when its alert is written.
"""

import asyncio
import base64
import contextlib
import hashlib
import hmac
import ipaddress
import json
import socket
from collections.abc import AsyncIterator, Sequence
from functools import cached_property
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

import structlog
from fastapi.concurrency import run_in_threadpool

from watcher.service.watch import Watch
from watcher.store import outbox
from watcher.store.tables import Message
from watcher.web.keyring import Keyring, Subscription
from watcher.web.news import once

if TYPE_CHECKING:
    from py_vapid import Vapid

log = structlog.get_logger("watcher.web")

_GOOD_FOR_S = 900
_TIMEOUT_S = 10
_AT_ONCE = 50
_GONE = {404, 410}
# Order of the curve P-256 (FIPS 186-4).
_ORDER = 0xFFFFFFFF00000000FFFFFFFFFFFFFFFFBCE6FAADA7179E84F3B9CAC2FC632551


class BadSubscriptionError(ValueError):
    """This is no subscription of a device that can be pushed to. The text says why."""


class Pusher:
    """Pushes urgent messages to every subscribed device as soon as they are written."""

    def __init__(
        self, watch: Watch, keyring: Keyring, contact: str, *, anywhere: bool = False
    ) -> None:
        """``contact`` is told to push services; ``anywhere`` takes services on this machine too."""
        self.watch, self.keyring, self.contact = watch, keyring, contact
        self._anywhere = anywhere

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
        number = int.from_bytes(_derived(self.keyring.secret), "big") % (_ORDER - 1) + 1
        return Vapid(ec.derive_private_key(number, ec.SECP256R1()))

    def subscribe(self, session: int, told: bytes) -> None:
        """Keep a device's subscription, as its browser gives it. Raises BadSubscriptionError."""
        try:
            given = json.loads(told)
            endpoint, keys = str(given["endpoint"]), given["keys"]
            kept = {name: str(keys[name]) for name in ("p256dh", "auth")}
        except (ValueError, KeyError, TypeError) as error:
            raise BadSubscriptionError("this is not what a browser subscribes with") from error
        if not self._anywhere and not _is_public(endpoint):
            raise BadSubscriptionError("the push service must be on the open network, by https")
        self.keyring.subscribe(session, Subscription(endpoint, json.dumps(kept)))

    @contextlib.asynccontextmanager
    async def running(self) -> AsyncIterator[None]:
        """Push while the application runs."""
        pushing = asyncio.create_task(self._pushing(), name="pushing")
        try:
            yield
        finally:
            pushing.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await pushing

    async def _pushing(self) -> None:
        told = (await run_in_threadpool(self._newest, 1)) or []
        last = told[0].id if told else 0
        while True:
            async with self.watch.changed:
                await self.watch.changed.wait()
            newest = await run_in_threadpool(self._newest, _AT_ONCE)
            fresh = [m for m in reversed(newest) if m.id > last]
            last = max((m.id for m in newest), default=last)
            devices = self.keyring.subscriptions()
            if devices and fresh:
                await self._push(fresh, devices)

    def _newest(self, limit: int) -> list[Message]:
        with self.watch.book.store.reading() as session:
            return outbox.newest(session, limit)

    async def _push(self, fresh: Sequence[Message], devices: Sequence[Subscription]) -> None:
        for message in once(m for m in fresh if m.urgent):
            said = {"title": message.title, "body": message.body, "tag": message.short_id}
            await asyncio.gather(*(run_in_threadpool(self.send, d, said) for d in devices))

    def send(self, device: Subscription, said: dict[str, str]) -> None:
        """Send one push, encrypted for its device; one that is gone is forgotten. Blocking."""
        from pywebpush import WebPushException, webpush  # noqa: PLC0415

        try:
            webpush(
                {"endpoint": device.endpoint, "keys": json.loads(device.keys)},
                json.dumps(said),
                vapid_private_key=self._vapid,
                vapid_claims={"sub": _subject(self.contact)},
                ttl=_GOOD_FOR_S,
                timeout=_TIMEOUT_S,
                headers={"Urgency": "high"},
            )
        except WebPushException as error:
            status = error.response.status_code if error.response is not None else None
            if status in _GONE:
                self.keyring.unsubscribe(device.endpoint)
            log.warning("push refused", status=status)
        except Exception as error:  # the network's errors: never the watch's trouble
            log.warning("push failed", why=type(error).__name__)


def _derived(secret: bytes) -> bytes:
    return hmac.digest(secret, b"vapid", hashlib.sha512)


def _subject(contact: str) -> str:
    return f"mailto:{contact}" if "@" in contact and "://" not in contact else contact


def _is_public(endpoint: str) -> bool:
    """Whether an address is reached by https and lies outside this machine and its network."""
    parts = urlsplit(endpoint)
    if parts.scheme != "https" or not parts.hostname:
        return False
    try:
        found = socket.getaddrinfo(parts.hostname, parts.port or 443, proto=socket.IPPROTO_TCP)
    except (OSError, ValueError):
        return False
    return all(ipaddress.ip_address(address[4][0]).is_global for address in found)
