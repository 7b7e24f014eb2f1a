"""Takes webhooks of any shape on loopback, and a station's posts: what is measured ends here."""

import json
import threading
import time
from collections.abc import Callable
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any, Self

_WAIT_S = 30.0


class Http:
    """A server on a free port of loopback that gives each POST's JSON to ``take``.

    ``show`` is what a GET is answered with.
    """

    def __init__(self, take: Callable[[Any], None], show: Callable[[], str] = str) -> None:
        class Handler(BaseHTTPRequestHandler):
            protocol_version = "HTTP/1.1"

            def do_POST(self) -> None:
                take(json.loads(self.rfile.read(int(self.headers["Content-Length"]))))
                self._answer(b"")

            def do_GET(self) -> None:
                self._answer(show().encode())

            def _answer(self, body: bytes) -> None:
                self.send_response(200)
                self.send_header("Content-Type", "text/plain; version=0.0.4")
                self.send_header("Content-Length", str(len(body)))
                self.end_headers()
                self.wfile.write(body)

            def log_message(self, *_: Any) -> None:
                pass

        self._server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self._server.daemon_threads = True
        self.address = f"127.0.0.1:{self._server.server_port}"
        threading.Thread(target=self._server.serve_forever, args=(0.01,), daemon=True).start()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._server.shutdown()
        self._server.server_close()


class Phone:
    """Notes when it was told that the gust stands over its bound, and that it no longer does."""

    def __init__(self) -> None:
        self._received = threading.Condition()
        self._states: list[tuple[bool, float]] = []

    def tell(self, over: bool) -> None:
        with self._received:
            self._states.append((over, time.monotonic()))
            self._received.notify_all()

    def when(self, *, over: bool, after: float) -> float:
        """Wait until it is told so after a moment; returns when that was. [monotonic s]"""

        def found() -> list[float]:
            return [at for state, at in self._states if state is over and at >= after]

        with self._received:
            assert self._received.wait_for(found, _WAIT_S), "nothing was told"
            return found()[0]
