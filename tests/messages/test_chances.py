"""A chance in words."""

from zoneinfo import ZoneInfo

import pytest

from tests.support.english import english
from watcher.messages.chances import basis, holds_until, tenths

NOON = 1_781_107_200  # 2026-06-10 11:00 in Chicago's zone
ZONE = ZoneInfo("America/Chicago")


@pytest.mark.parametrize(
    ("chance", "said"),
    [
        (None, "chance not known"),
        (0.0, "less than 1 in 10"),
        (0.04, "less than 1 in 10"),
        (0.61, "6 in 10"),
        (0.99, "9 in 10 or better"),
    ],
)
def test_a_chance_is_said_in_tenths_and_never_as_certain(chance: float | None, said: str) -> None:
    assert english(tenths(chance)) == said


def test_it_says_until_when_and_from_what() -> None:
    assert english(holds_until(0.61, NOON + 4 * 3600, NOON, ZONE)) == "6 in 10 until 15:00"
    assert english(holds_until(None, NOON, NOON, ZONE)) == "chance not known"
    assert english(basis(41)) == "from 41 past forecasts here"
    assert english(basis(5)) == "mostly general experience"
