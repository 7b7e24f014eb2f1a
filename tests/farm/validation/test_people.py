"""People who would never hear what they are meant to."""

from typing import Any

import pytest

from watcher.farm.load import load


@pytest.mark.parametrize(
    ("was", "now", "key"),
    [
        ("end = 05:00:00", "end = 21:30:00", "recipients.grower.quiet_hours"),
        ("[recipients.grower]", "[recipients.grower]\nhears = []", "recipients.grower.hears"),
        (
            "[recipients.grower]",
            '[recipients.grower]\nhears = ["jobs"]',
            'recipients.grower.hears (item 1) = "jobs"',
        ),
        ("[recipients.grower]", "[brief]\nevening = 05:30:00\n[recipients.grower]",
         "brief.evening = 05:30:00"),
        ("[recipients.grower]", "[brief]\nevening = 05:00:00\n[recipients.grower]",
         "brief.evening = 05:00:00"),
        (
            "[recipients.grower]",
            '[recipients.grower]\nlanguage = "spanish"',
            'recipients.grower.language = "spanish"',
        ),
    ],
)  # fmt: skip
def test_a_slip_about_people_is_told(farm: Any, was: str, now: str, key: str) -> None:
    assert farm.edit(was, now).problem().key == key


def test_an_evening_a_minute_after_the_morning_and_quiet_nights_are_taken(farm: Any) -> None:
    load(farm.add("\n[brief]\nevening = 05:31:00\n").write())
