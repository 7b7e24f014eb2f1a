"""How a recipient says that an alert was seen: by a signed link, or by its id.

A link is opened by mail scanners and previews too, so whoever serves it must ask for a second
touch (a button that posts) before it acknowledges.
"""

import base64
import hashlib
import hmac
from dataclasses import dataclass

from pydantic import SecretStr
from sqlalchemy.orm import Session

from watcher.store import outbox
from watcher.store.tables import Outgoing

_GOOD_FOR_S = 24 * 3600
_SIGNATURE_BYTES = 9
"""72 bits: not to be guessed, and short enough for an SMS."""


class BadLinkError(ValueError):
    """The link was not made here, or has been changed."""


@dataclass(frozen=True)
class Seen:
    """What a link says: which message, and who was asked."""

    ref: str
    recipient: str


class Links:
    """Makes and reads the signed links under one address, such as ``https://farm.example/seen``."""

    def __init__(self, secret: SecretStr, address: str) -> None:
        self._secret = secret.get_secret_value().encode()
        self._address = address.rstrip("/")

    def link(self, ref: str, recipient: str) -> str:
        """Return the link by which a recipient acknowledges a message."""
        return f"{self._address}/{self.token(ref, recipient)}"

    def token(self, ref: str, recipient: str) -> str:
        """Return the last part of the link."""
        return f"{ref}.{recipient}.{self._signature(ref, recipient)}"

    def read(self, token: str) -> Seen:
        """Return what a link's last part says. Raises BadLinkError."""
        ref, dot, rest = token.partition(".")
        recipient, other_dot, signature = rest.rpartition(".")
        expected = self._signature(ref, recipient)
        if not (dot and other_dot and hmac.compare_digest(expected.encode(), signature.encode())):
            raise BadLinkError("this link was not made here, or has been changed")
        return Seen(ref, recipient)

    def _signature(self, ref: str, recipient: str) -> str:
        # The lengths keep ("AB", "C") apart from ("A", "BC").
        said = f"{len(ref)}:{ref}:{recipient}".encode()
        digest = hmac.digest(self._secret, said, hashlib.sha256)[:_SIGNATURE_BYTES]
        return base64.urlsafe_b64encode(digest).decode().rstrip("=")


def linked(session: Session, seen: Seen, now: int) -> Outgoing | None:
    """Return the message a link is about; None where none of the last day has that id."""
    return outbox.of_short_id(session, seen.ref.upper(), seen.recipient, since=now - _GOOD_FOR_S)
