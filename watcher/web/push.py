"""Alerts of a running job pushed to devices that asked for it, by Web Push (RFC 8030, 8291, 8292).

Besides what apprise delivers, not in its place: a push is tried once, when its alert is written.
"""

import asyncio
import base64
import contextlib
import hashlib
import hmac
import json
import time
from collections.abc import AsyncIterator, Callable, Sequence
from functools import cached_property, partial
from typing import TYPE_CHECKING, TypeVar

import anyio.to_thread
import httpx
from anyio import CapacityLimiter

from watcher.delivery import news
from watcher.service.watch import Watch
from watcher.store.errors import LogError
from watcher.web.auth.sessions import SessionStore, SessionStoreError, Subscription
from watcher.web.push_address import Destination, NowhereError, destination
from watcher.web.seldom import Seldom

if TYPE_CHECKING:
    from py_vapid import Vapid

T = TypeVar("T")

_GOOD_FOR_S = 900
_SIGNED_FOR_S = 12 * 3600
_TIMEOUT_S = 10.0
_AT_ONCE = 50
_SENT_AT_ONCE, _MOST_UNDER_WAY = 8, 512
_THREADS = 4
"""Of their own: a name that nobody answers for must keep neither pages nor alerts waiting."""
_MOST_KEY = 200
_GONE = {404, 410}
# Order of the curve P-256 (FIPS 186-4).
_ORDER = 0xFFFFFFFF00000000FFFFFFFFFFFFFFFFBCE6FAADA7179E84F3B9CAC2FC632551


class BadSubscriptionError(ValueError):
    """This is no subscription of a device that can be pushed to. The text says why."""


class Pusher:
    """Pushes urgent messages to every subscribed device as soon as they are written."""

    def __init__(
        self,
        watch: Watch,
        keyring: SessionStore,
        contact: str,
        *,
        anywhere: bool = False,
        timeout_s: float = _TIMEOUT_S,
    ) -> None:
        """``contact`` is given to push services; ``anywhere`` takes services on this machine too.

        One push may take ``timeout_s`` in all.
        """
        self.watch, self.keyring, self.contact = watch, keyring, contact
        self._anywhere, self._timeout_s = anywhere, timeout_s
        self._sending = asyncio.Semaphore(_SENT_AT_ONCE)
        self._threads = CapacityLimiter(_THREADS)
        self._under_way: set[asyncio.Task[None]] = set()
        self._seldom = Seldom()

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

    async def subscribe(self, session: int, body: bytes) -> None:
        """Keep a device's subscription, as its browser gives it. Raises BadSubscriptionError."""
        try:
            given = json.loads(body)
            endpoint, keys = str(given["endpoint"]), given["keys"]
            kept = {name: str(keys[name])[:_MOST_KEY] for name in ("p256dh", "auth")}
        except (ValueError, KeyError, TypeError, RecursionError) as error:
            raise BadSubscriptionError("this is not what a browser subscribes with") from error
        try:
            async with asyncio.timeout(self._timeout_s):
                await self._in_thread(partial(destination, endpoint, anywhere=self._anywhere))
        except TimeoutError:
            raise BadSubscriptionError("nobody knows the host of the push service") from None
        except NowhereError as error:
            raise BadSubscriptionError(str(error)) from error
        device = Subscription(endpoint, json.dumps(kept))
        await self._in_thread(partial(self.keyring.subscribe, session, device))

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
            for task in self._under_way:
                task.cancel()
            await asyncio.gather(*self._under_way, return_exceptions=True)
            if "_client" in vars(self):
                await self._client.aclose()

    async def _pushing(self) -> None:
        last: int | None = None
        while True:
            found = await self._news(last)
            if found is not None:  # what comes after a log that was gone is pushed again
                last, said = found
                if said:
                    await self._push(said)
            async with self.watch.changed:
                await self.watch.changed.wait()

    async def _news(self, last: int | None) -> tuple[int, list[dict[str, str]]] | None:
        """The newest message's number and what is to be pushed of those after ``last``.

        None while the log cannot be read, which others tell of.
        """

        def found() -> tuple[int, list[dict[str, str]]]:
            with self.watch.book.store.reading() as session:
                newest, fresh = news.urgent_after(session, last, _AT_ONCE)
                said = [
                    {"title": m.title, "body": m.body, "tag": m.short_id, "to": news.page_of(m)}
                    for m in fresh
                ]
                return newest, said

        try:
            return await self._in_thread(found)
        except LogError:
            return None

    async def _push(self, said: Sequence[dict[str, str]]) -> None:
        try:
            devices = await self._in_thread(self.keyring.subscriptions)
        except SessionStoreError as error:
            self._seldom.warn("nothing is pushed", why=str(error))
            return
        # Not waited for: the next alert must not wait for devices that do not answer.
        for push in [self.send(device, one) for one in said for device in devices]:
            if len(self._under_way) >= _MOST_UNDER_WAY:
                self._seldom.warn("push not sent", "too many are under way")
                push.close()
                continue
            task = asyncio.create_task(push)
            self._under_way.add(task)
            task.add_done_callback(self._under_way.discard)

    async def send(self, device: Subscription, said: dict[str, str]) -> None:
        """Send one push, encrypted for its device; one that is gone is forgotten. Never raises."""
        try:
            async with self._sending, asyncio.timeout(self._timeout_s):
                status = await self._post(device, said)
        except NowhereError as error:
            self._seldom.warn("push not sent", str(error))
        except Exception as error:  # the network's errors: never the watch's trouble
            self._seldom.warn("push failed", type(error).__name__)
        else:
            if status in _GONE:
                with contextlib.suppress(SessionStoreError):
                    await self._in_thread(partial(self.keyring.unsubscribe, device.endpoint))
            if not httpx.codes.is_success(status):
                self._seldom.warn("push refused", str(status))

    async def _post(self, device: Subscription, said: dict[str, str]) -> int:
        """Post one push; returns the status, and reads no more of the answer."""
        to, headers, body = await self._in_thread(partial(self._sealed, device, said))
        posting = self._client.stream(
            "POST",
            to.url,
            content=body,
            headers=headers | {"Host": to.host},
            extensions={"sni_hostname": to.name},
        )
        async with posting as answer:
            return answer.status_code

    @cached_property
    def _client(self) -> httpx.AsyncClient:
        # No redirects, no proxy of the environment's, and no connection kept: the next push to
        # the same address may be for another name.
        return httpx.AsyncClient(
            follow_redirects=False,
            trust_env=False,
            timeout=self._timeout_s,
            limits=httpx.Limits(max_keepalive_connections=0),
        )

    def _sealed(
        self, device: Subscription, said: dict[str, str]
    ) -> tuple[Destination, dict[str, str], bytes]:
        """Where a push goes, its headers, and its content for the device alone to read."""
        from pywebpush import WebPusher  # noqa: PLC0415

        _ = self._client  # made here, in a thread: it reads the certificates
        to = destination(device.endpoint, anywhere=self._anywhere)
        info = {"endpoint": device.endpoint, "keys": json.loads(device.keys)}
        body: bytes = WebPusher(info).encode(json.dumps(said).encode())["body"]
        claims = {
            "aud": f"{httpx.URL(to.url).scheme}://{to.host}",
            "sub": _subject(self.contact),
            "exp": int(time.time()) + _SIGNED_FOR_S,
        }
        headers: dict[str, str] = self._vapid.sign(claims)
        headers |= {
            "Content-Encoding": "aes128gcm",
            "TTL": str(_GOOD_FOR_S),
            "Urgency": "high",
        }
        return to, headers, body

    async def _in_thread(self, work: Callable[[], T]) -> T:
        # What is waited for no longer goes on by itself: no thread can be stopped.
        return await anyio.to_thread.run_sync(work, abandon_on_cancel=True, limiter=self._threads)


def _derived(secret: bytes) -> bytes:
    return hmac.digest(secret, b"vapid", hashlib.sha512)


def _subject(contact: str) -> str:
    return f"mailto:{contact}" if "@" in contact and "://" not in contact else contact
