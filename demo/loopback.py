"""A small HTTP server on a free port of this machine, for whoever plays a part in the demo."""

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

HOST = "127.0.0.1"


@contextmanager
def serving(handler: type[BaseHTTPRequestHandler]) -> Iterator[int]:
    """Serve in a thread until the block ends; yields the port."""
    with ThreadingHTTPServer((HOST, 0), handler) as server:
        thread = threading.Thread(target=server.serve_forever, args=[0.02], name=handler.__name__)
        thread.start()
        try:
            yield server.server_port
        finally:
            server.shutdown()
            thread.join()
