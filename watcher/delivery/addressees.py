"""Who may hear of things: the farm file's recipients, and the devices that asked for pushes."""

import base64
import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Protocol

from watcher.farm import Farm
from watcher.farm.models import Recipient, Topic
from watcher.i18n.language import Language, language

_DEVICE = "device:"
"""No name of the farm file has a colon."""


@dataclass(frozen=True)
class Subscription:
    """A device that takes pushes: the address of its push service, and its keys as JSON."""

    endpoint: str
    keys: str
    language: str = ""
    """Code of the language it is written to in; empty for the farm's."""
    user: str = ""
    """Whose device it is."""

    @property
    def name(self) -> str:
        """What the outbox calls it: the address itself is a secret."""
        digest = hashlib.blake2s(self.endpoint.encode(), digest_size=5).digest()
        return _DEVICE + base64.b32encode(digest).decode()


class SubscribedDevices(Protocol):
    """The devices that take pushes now. Never waits: alerts are written while it is asked."""

    @property
    def devices(self) -> Mapping[str, Subscription]:
        """By name."""

    def end(self, name: str, why: str) -> None:
        """Note that a device takes no more pushes, and why. Blocking."""


@dataclass(frozen=True)
class Addressees:
    """Everybody who may hear of something, by name."""

    farm: Farm
    subscribed: SubscribedDevices | None = None

    @property
    def devices(self) -> Mapping[str, Subscription]:
        """The devices that take pushes now."""
        return self.subscribed.devices if self.subscribed is not None else {}

    def known(self) -> set[str]:
        """Return everybody's name."""
        return {*self.farm.config.recipients, *self.devices}

    def get(self, name: str) -> Recipient | None:
        """Return how somebody is reached; None for who is not known, or not any more."""
        device = self.devices.get(name)
        if device is None:
            return self.farm.config.recipients.get(name)
        return Recipient(hears=(Topic.JOB,), language=device.language or None)

    def hearers(self, topic: Topic, *, urgent: bool) -> list[str]:
        """Return who hears of a topic. Devices hear what is urgent, whatever it is about.

        Where the farm file names nobody they hear the briefs as well, for nobody else would.
        """
        recipients = self.farm.config.recipients.items()
        alone = topic is Topic.BRIEF and not recipients
        hear = self._pushed_to(urgent or alone)
        return [name for name, who in recipients if topic in who.hears] + hear

    def everyone(self, *, urgent: bool) -> list[str]:
        """Return who hears what all must hear."""
        return [*self.farm.config.recipients, *self._pushed_to(urgent)]

    def _pushed_to(self, urgent: bool) -> list[str]:
        return list(self.devices) if urgent else []

    def language_of(self, name: str) -> Language:
        """Return the language somebody is written to in; the farm's for who is not known."""
        who = self.get(name)
        return language(who.language) if who and who.language else self.farm.language


def is_device(recipient: str) -> bool:
    """Return whether a recipient of the outbox is a device that takes, or took, pushes."""
    return recipient.startswith(_DEVICE)
