"""Times of the day as labels write them: by the sun or by the clock."""

from datetime import time

import pytest

from watcher.farm.rules.day_time import DayTime, UnreadableDayTimeError


@pytest.mark.parametrize(
    ("text", "read", "morning"),
    [
        ("sunrise", DayTime("sunrise", 0.0), True),
        ("1 h after sunrise", DayTime("sunrise", 3600.0), True),
        ("30 min before sunset", DayTime("sunset", -1800.0), False),
        ("90 min before sunrise", DayTime("sunrise", -5400.0), True),
        ("11:59", DayTime(None, 0.0, time(11, 59)), True),
        ("12:00", DayTime(None, 0.0, time(12)), False),
        ("23:59", DayTime(None, 0.0, time(23, 59)), False),
        ("00:00", DayTime(None, 0.0, time(0)), True),
    ],
)
def test_it_is_read_and_written_the_same(text: str, read: DayTime, morning: bool) -> None:
    assert DayTime.read(f" {text} ") == read
    assert str(read) == text
    assert read.in_the_morning == morning


def test_whole_hours_are_written_as_hours() -> None:
    assert str(DayTime.read("120 min after sunset")) == "2 h after sunset"


@pytest.mark.parametrize("text", ["24:00", "7:00", "12:60", "noon", "after sunset", "1 h sunset"])
def test_what_is_no_time_of_the_day_is_told(text: str) -> None:
    with pytest.raises(UnreadableDayTimeError, match=r"."):
        DayTime.read(text)


@pytest.mark.parametrize(("away", "good"), [("12 h", True), ("12.1 h", False)])
def test_it_is_at_most_twelve_hours_from_the_sun(away: str, good: bool) -> None:
    if good:
        assert DayTime.read(f"{away} after sunrise").after_s == 43_200.0
        return
    with pytest.raises(UnreadableDayTimeError, match="more than 12 h"):
        DayTime.read(f"{away} after sunrise")
