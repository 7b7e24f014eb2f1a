"""What was typed or sent, while what it comes to is looked at: in memory, never in a page."""

import secrets
from collections import OrderedDict
from collections.abc import Callable

from pydantic import SecretStr

from watcher.web.auth.authenticator import Visitor

HELD_S = 900
"""So long somebody may look at a change before it is kept."""


class HeldEntries:
    """What was typed or sent lately, each for the device that did. Epoch seconds."""

    def __init__(self, now: Callable[[], int], *, most: int = 50) -> None:
        """Hold so many ``most``; the oldest goes first."""
        self._now, self._most = now, most
        self._held: OrderedDict[str, tuple[str, SecretStr, int]] = OrderedDict()

    def hold(self, visitor: Visitor, typed: str) -> str:
        """Hold a text; returns the ticket it is had back for."""
        ticket = secrets.token_urlsafe(12)
        self._held[ticket] = visitor.token, SecretStr(typed), self._now() + HELD_S
        while len(self._held) > self._most:
            self._held.popitem(last=False)
        return ticket

    def held(self, visitor: Visitor, ticket: str) -> str | None:
        """Return what came from this device; None for what is held no longer."""
        token, typed, until = self._held.get(ticket, ("", SecretStr(""), 0))
        if until < self._now():
            self._held.pop(ticket, None)
            return None
        return typed.get_secret_value() if token == visitor.token else None

    def let_go(self, ticket: str) -> None:
        """Forget it."""
        self._held.pop(ticket, None)
