"""Devices as a test has them, and the way to them."""

from collections.abc import Mapping

from pydantic import SecretStr

from watcher.delivery.acknowledgement import Links
from watcher.delivery.addressees import Subscription
from watcher.delivery.web_push import WebPush


class Roll:
    """The devices that take pushes, without a file; ``ended`` are those that take none any more."""

    def __init__(self, *devices: Subscription) -> None:
        self.devices: Mapping[str, Subscription] = {d.name: d for d in devices}
        self.ended: list[tuple[str, str]] = []

    def end(self, name: str, why: str) -> None:
        self.devices = {n: d for n, d in self.devices.items() if n != name}
        self.ended.append((name, why))


def pushes_to(roll: Roll, timeout_s: float = 10.0, *, anywhere: bool = True) -> WebPush:
    """The way to these devices."""
    answers = Links(SecretStr("x" * 32), "")
    return WebPush(
        roll, b"s" * 32, "me@farm.example", answers, anywhere=anywhere, timeout_s=timeout_s
    )
