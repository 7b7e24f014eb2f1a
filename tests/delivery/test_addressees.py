"""Who hears what: devices what is urgent, and the briefs where the farm file names nobody."""

from collections.abc import Mapping
from typing import Any

from tests.support.farms import build, watched_tables
from watcher.delivery.addressees import Addressees, Subscription
from watcher.farm.models import Topic

DEVICE = Subscription("https://push.example/a", "{}")


class Devices:
    """One device."""

    devices: Mapping[str, Subscription] = {DEVICE.name: DEVICE}

    def end(self, name: str, why: str) -> None:
        raise AssertionError(name, why)


def people(**changes: Any) -> Addressees:
    return Addressees(build(watched_tables() | changes), Devices())


def test_a_device_hears_what_is_urgent() -> None:
    assert people().hearers(Topic.JOB, urgent=True) == ["grower", "operator", DEVICE.name]
    assert people().hearers(Topic.BRIEF, urgent=False) == ["grower"]


def test_where_the_farm_file_names_nobody_devices_hear_the_briefs_and_no_more() -> None:
    alone = people(recipients={})
    assert alone.hearers(Topic.BRIEF, urgent=False) == [DEVICE.name]
    assert alone.hearers(Topic.SOURCES, urgent=False) == []
