"""The phones: a push receiver on loopback that shows what a lock screen would."""

import json
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler
from typing import Any

from pydantic import SecretStr

from demo.loopback import HOST, serving


@dataclass(frozen=True)
class Push:
    """A message as it arrived on somebody's phone, and when. [epoch seconds]"""

    to: str
    title: str
    body: str
    at: int


@dataclass
class Phones:
    """Everybody's phones behind one port, and what has arrived on them."""

    port: int
    arrived: list[Push] = field(default_factory=list)

    def url(self, who: str) -> SecretStr:
        """Return the address messages to somebody go to, as apprise writes it."""
        return SecretStr(f"json://{HOST}:{self.port}/{who}")


@contextmanager
def phones(now: Callable[[], int], show: Callable[[Push], None]) -> Iterator[Phones]:
    """Receive messages until the block ends; each is handed to ``show`` as it arrives."""

    class Phone(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            said = json.loads(self.rfile.read(int(self.headers["Content-Length"])))
            push = Push(self.path.strip("/"), said["title"], said["message"], now())
            show(push)
            found.arrived.append(push)
            self.send_response(200)
            self.send_header("Content-Length", "0")
            self.end_headers()

        def log_message(self, *_: Any) -> None:
            pass

    with serving(Phone) as port:
        found = Phones(port)
        yield found
