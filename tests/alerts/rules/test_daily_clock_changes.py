"""The morning brief and quiet hours over the nights in which the clocks change, and over jumps."""

from datetime import UTC, datetime, time, timedelta
from types import SimpleNamespace
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from watcher.alerts.conditions import ConditionKey, ConditionState, TransitionKind, advance
from watcher.alerts.quiet_hours import due_at
from watcher.alerts.rules import daily
from watcher.farm.models import QuietHours

NIGHTS = [
    ("America/Chicago", datetime(2026, 3, 8, tzinfo=UTC)),
    ("America/Chicago", datetime(2026, 11, 1, tzinfo=UTC)),
    ("Europe/Berlin", datetime(2026, 3, 29, tzinfo=UTC)),
    ("Europe/Berlin", datetime(2026, 10, 25, tzinfo=UTC)),
]
QUIET = SimpleNamespace(quiet_hours=QuietHours(start=time(21, 0), end=time(5, 30)))


def context(zone: ZoneInfo, now: int) -> Any:
    found = SimpleNamespace(brief=SimpleNamespace(morning=time(5, 30), evening=None))
    return SimpleNamespace(
        now=now, begun=None, speaker=SimpleNamespace(farm=SimpleNamespace(zone=zone, config=found))
    )


def briefs_of(zone: ZoneInfo, moments: list[int]) -> list[int]:
    """Return when the morning brief is news, one cycle a moment."""
    states: dict[ConditionKey, ConditionState] = {}
    found = []
    for now in moments:
        states, transitions = advance(daily.evaluate(context(zone, now), states), states, now)
        found += [now for n in transitions if n.change is TransitionKind.RAISED]
    return found


@pytest.mark.parametrize(("name", "day"), NIGHTS)
def test_the_brief_comes_once_each_morning_at_its_wall_time(name: str, day: datetime) -> None:
    zone = ZoneInfo(name)
    first = int((day - timedelta(days=1)).replace(tzinfo=UTC).timestamp())
    found = briefs_of(zone, list(range(first, first + 3 * 86_400, 300)))
    local = [datetime.fromtimestamp(at, zone) for at in found]
    assert [at.time() for at in local] == [time(5, 30)] * len(local)
    assert len({at.date() for at in local}) == len(local) == 3


@pytest.mark.parametrize(("name", "day"), NIGHTS)
def test_quiet_hours_end_at_their_wall_time_and_hold_back_nothing_after(
    name: str, day: datetime
) -> None:
    zone = ZoneInfo(name)
    end = int(day.replace(hour=5, minute=30, tzinfo=zone).timestamp())
    begin = int((day - timedelta(days=1)).replace(hour=21, tzinfo=zone).timestamp())
    assert end - begin in {int(7.5 * 3600), int(9.5 * 3600)}
    for now in range(begin, end, 600):
        assert due_at(daily.MORNING, QUIET, zone, now) == end  # type: ignore[arg-type]
    for now in (begin - 1, end):
        assert due_at(daily.MORNING, QUIET, zone, now) == now  # type: ignore[arg-type]
