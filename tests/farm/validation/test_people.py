"""People who would never hear what they are meant to."""

from typing import Any

import pytest


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
