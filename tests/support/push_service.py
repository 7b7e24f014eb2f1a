"""A push service on loopback, and a device with keys of its own that reads what it is sent."""

import base64
import contextlib
import json
from collections.abc import Callable
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from threading import Condition, Thread

import http_ece
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric import ec

from watcher.delivery.addressees import Subscription

_AUTH = bytes(range(16))


@dataclass(frozen=True)
class Got:
    """A push as it came to the service: nothing of it can be read there."""

    path: str
    headers: dict[str, str]
    """By name in small letters."""
    body: bytes


class PushService(ThreadingHTTPServer):
    """Keeps what it is given; answers 201 unless ``answers`` has other statuses first."""

    daemon_threads = True

    def __init__(self, status: int = 201) -> None:
        self.got: list[Got] = []
        self.answers: list[tuple[int, dict[str, str]]] = []
        self.status = status
        self.before_answer: Callable[[], None] = lambda: None
        self._arrived = Condition()
        service = self

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                body = self.rfile.read(int(self.headers["Content-Length"]))
                status, headers = (
                    service.answers.pop(0) if service.answers else (service.status, {})
                )
                service.before_answer()
                # Kept first: whoever has its answer may look at once.
                got = Got(self.path, {k.lower(): v for k, v in self.headers.items()}, body)
                with service._arrived:
                    service.got.append(got)
                    service._arrived.notify_all()
                self.send_response(status)
                for name, value in {**headers, "Content-Length": "0"}.items():
                    self.send_header(name, value)
                with contextlib.suppress(ConnectionError):
                    self.end_headers()

            def log_message(self, *_: object) -> None:
                pass

        super().__init__(("127.0.0.1", 0), Handler)
        Thread(target=self.serve_forever, args=(0.01,), daemon=True).start()

    def endpoint(self, path: str = "device") -> str:
        """Where a device of this service is reached."""
        return f"http://127.0.0.1:{self.server_port}/{path}"

    def wait_for(self, count: int = 1, timeout_s: float = 15.0) -> list[Got]:
        """Wait until so many pushes have come."""
        with self._arrived:
            came = self._arrived.wait_for(lambda: len(self.got) >= count, timeout_s)
            assert came, f"{len(self.got)} of {count} pushes came"
            return list(self.got)

    def stop(self) -> None:
        self.shutdown()
        self.server_close()


def _key() -> ec.EllipticCurvePrivateKey:
    return ec.generate_private_key(ec.SECP256R1())


@dataclass(frozen=True)
class Device:
    """A device with keys of its own."""

    key: ec.EllipticCurvePrivateKey = field(default_factory=_key)

    @property
    def keys(self) -> dict[str, str]:
        """What it gives away when it subscribes."""
        form = serialization.PublicFormat.UncompressedPoint
        point = self.key.public_key().public_bytes(serialization.Encoding.X962, form)
        return {"p256dh": _text(point), "auth": _text(_AUTH)}

    def subscription(self, endpoint: str, language: str = "") -> Subscription:
        return Subscription(endpoint, json.dumps(self.keys), language)

    def read(self, got: Got) -> dict[str, str]:
        """What a push says, for this device alone to read."""
        said: dict[str, str] = json.loads(
            http_ece.decrypt(got.body, private_key=self.key, auth_secret=_AUTH)
        )
        return said


def _text(raw: bytes) -> str:
    return base64.urlsafe_b64encode(raw).decode().rstrip("=")
