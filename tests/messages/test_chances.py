"""A chance in words."""

from datetime import date
from zoneinfo import ZoneInfo

import pytest

from tests.support.english import english
from watcher.judge.best_starts import DayStarts
from watcher.judge.chances import FieldChance
from watcher.messages.chances import (
    basis,
    basis_line,
    best_starts_line,
    holds_until,
    open_from,
    open_until,
    tenths,
)

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


def of(chance: float | None, hours: int = 0, past_forecasts: int = 41) -> FieldChance:
    at = NOON + 3600 * hours
    return FieldChance(chance, chance, at, at + 3600, None, past_forecasts)


@pytest.mark.parametrize(
    ("found", "head"),
    [
        (of(0.46), "likely"),
        (of(0.44), "in the forecast"),
        (of(None), "in the forecast"),
        (None, "in the forecast"),
    ],
)
def test_likely_is_said_only_where_the_chance_says_so(found: FieldChance | None, head: str) -> None:
    at = NOON + 4 * 3600
    assert english(open_until(at, found, NOON, ZONE)) == f"{head} until 15:00"
    assert english(open_from(at, found, NOON, ZONE)) == f"{head} from 15:00"


def test_the_best_starts_are_said_day_by_day_and_what_is_not_known_is_no_no() -> None:
    days = (
        DayStarts(date(2026, 6, 10), of(0.61, 2), NOON + 2 * 3600, NOON + 2 * 3600, known=True),
        DayStarts(date(2026, 6, 11), of(0.72, 20), NOON + 20 * 3600, NOON + 23 * 3600, known=False),
        DayStarts(date(2026, 6, 12), None, 0, 0, known=True),
        DayStarts(date(2026, 6, 13), None, 0, 0, known=False),
    )
    assert english(best_starts_line(days, NOON, ZONE)) == (
        "best starts: 13:00, 6 in 10; tomorrow 07:00 to 10:00, 7 in 10 (not all of that day is "
        "known); Fri no hour in the forecast; Sat not known"
    )
    assert english(best_starts_line(days[2:3], NOON - 86_400, ZONE)).startswith("best starts: Fri")
    assert english(best_starts_line(days[2:3], NOON + 86_400, ZONE)).startswith(
        "best starts: tomorrow no hour"
    )


def test_what_is_shown_rests_on_the_fewest_past_forecasts_of_it() -> None:
    shown = (of(0.6), of(0.5, past_forecasts=25), of(None, past_forecasts=3), None)
    assert english(basis_line(shown)) == "Chances: from 25 past forecasts here."
    assert english(basis_line((None, of(None)))) == "No chances are known yet."
