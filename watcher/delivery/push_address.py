"""Where a push may go: by https to the open network, and to the very address that was looked at.

A subscription is what somebody logged in says it is. The name in it is asked for anew at every
push, and the push goes to the address found then: a name that leads elsewhere the next moment, into
this machine's own network, leads nobody there.
"""

import socket
from dataclasses import dataclass
from urllib.parse import urlsplit

from watcher.addresses import is_public

MOST_CHARACTERS = 2048


class NowhereError(ValueError):
    """Nothing is sent to this address. The text says why."""


@dataclass(frozen=True)
class Destination:
    """A push service as it is reached: its address in numbers, and the name it must prove."""

    url: str
    host: str
    """For the Host header."""
    name: str
    """For TLS."""


def destination(endpoint: str, *, anywhere: bool = False) -> Destination:
    """Look up where an endpoint leads. Blocking.

    ``anywhere`` takes addresses of this machine and plain http too, for tests. Raises NowhereError.
    """
    if len(endpoint) > MOST_CHARACTERS:
        raise NowhereError("its address is too long")
    try:
        parts = urlsplit(endpoint)
        port = parts.port or (443 if parts.scheme == "https" else 80)
    except ValueError:
        raise NowhereError("its address is none") from None
    name = parts.hostname
    if not name or parts.username is not None:
        raise NowhereError("its address is none")
    if parts.scheme != "https" and not (anywhere and parts.scheme == "http"):
        raise NowhereError("the push service must be reached by https")
    try:
        found = socket.getaddrinfo(name, port, type=socket.SOCK_STREAM)
    except (OSError, UnicodeError):
        raise NowhereError("nobody knows its host") from None
    addresses = [str(one[4][0]) for one in found]
    if not addresses or not (anywhere or all(map(is_public, addresses))):
        raise NowhereError("the push service must be on the open network, by https")
    address = addresses[0]
    shown = f"[{address}]" if ":" in address else address
    path = parts._replace(scheme="", netloc="", fragment="").geturl() or "/"
    host = parts.netloc
    return Destination(f"{parts.scheme}://{shown}:{port}{path}", host, name)
