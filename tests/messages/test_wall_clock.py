"""When daily messages are due, across both clock changes and in a half-hour zone.

Transitions are the IANA database's, checked against published ones: US 2026-03-08 and 2026-11-01
at 02:00 local; Lord Howe changes by half an hour, at 02:00 on 2026-04-05 and 2026-10-04; Adelaide
is half an hour off the full hour.
"""

from datetime import UTC, date, datetime, time
from zoneinfo import ZoneInfo

import pytest

from watcher.messages.wall_clock import due, wall_instant

CHICAGO, LORD_HOWE = ZoneInfo("America/Chicago"), ZoneInfo("Australia/Lord_Howe")
ADELAIDE, SANTIAGO = ZoneInfo("Australia/Adelaide"), ZoneInfo("America/Santiago")


def _utc(at: int) -> str:
    return datetime.fromtimestamp(at, UTC).strftime("%Y-%m-%d %H:%M")


@pytest.mark.parametrize(
    ("day", "wall", "zone", "instant"),
    [
        # An ordinary day, CDT is UTC-5, CST UTC-6.
        (date(2026, 6, 10), time(5, 30), CHICAGO, "2026-06-10 10:30"),
        (date(2026, 12, 10), time(5, 30), CHICAGO, "2026-12-10 11:30"),
        # 02:00 to 03:00 does not exist: the first instant after the gap is 03:00 CDT.
        (date(2026, 3, 8), time(2, 30), CHICAGO, "2026-03-08 08:00"),
        (date(2026, 3, 8), time(2, 0), CHICAGO, "2026-03-08 08:00"),
        (date(2026, 3, 8), time(3, 0), CHICAGO, "2026-03-08 08:00"),
        (date(2026, 3, 8), time(5, 30), CHICAGO, "2026-03-08 10:30"),
        # 01:00 to 02:00 comes twice: the first is CDT.
        (date(2026, 11, 1), time(1, 30), CHICAGO, "2026-11-01 06:30"),
        (date(2026, 11, 1), time(5, 30), CHICAGO, "2026-11-01 11:30"),
        # Lord Howe: +11 in summer, +10:30 in winter; 02:00-02:30 skipped, 01:30-02:00 repeated.
        (date(2026, 10, 4), time(2, 15), LORD_HOWE, "2026-10-03 15:30"),
        (date(2026, 4, 5), time(1, 45), LORD_HOWE, "2026-04-04 14:45"),
        (date(2026, 4, 5), time(5, 30), LORD_HOWE, "2026-04-04 19:00"),
        # Adelaide: +9:30 in winter, +10:30 in summer.
        (date(2026, 7, 1), time(5, 30), ADELAIDE, "2026-06-30 20:00"),
        (date(2026, 10, 4), time(2, 30), ADELAIDE, "2026-10-03 16:30"),
        # Santiago changes at midnight: the day begins at 01:00 (-3).
        (date(2026, 9, 6), time(0, 0), SANTIAGO, "2026-09-06 04:00"),
    ],
)
def test_wall_time_is_the_instant_the_clock_shows_it(day, wall, zone, instant):
    assert _utc(wall_instant(day, wall, zone)) == instant


def test_every_local_day_of_a_year_has_one_due_instant_and_never_two():
    half_past_two = time(2, 30)
    for zone in (CHICAGO, LORD_HOWE, ADELAIDE, SANTIAGO):
        begin = int(datetime(2026, 1, 1, 12, tzinfo=UTC).timestamp())
        seen = {
            due(now=now, wall=half_past_two, zone=zone, within_s=3600)
            for now in range(begin, begin + 365 * 86400, 600)
        } - {None}
        days = {datetime.fromtimestamp(at, zone).date() for at in seen}
        assert len(seen) == len(days) == 365


def test_a_brief_is_due_from_its_wall_time_until_it_is_not_worth_having_any_more():
    at = wall_instant(date(2026, 6, 10), time(5, 30), CHICAGO)
    asked = {"wall": time(5, 30), "zone": CHICAGO, "within_s": 3 * 3600}
    assert due(now=at - 1, **asked) is None
    assert due(now=at, **asked) == at
    assert due(now=at + 3 * 3600 - 1, **asked) == at
    assert due(now=at + 3 * 3600, **asked) is None


def test_a_message_due_before_midnight_is_still_due_after_it():
    at = wall_instant(date(2026, 6, 10), time(23, 30), CHICAGO)
    assert due(now=at + 3600, wall=time(23, 30), zone=CHICAGO, within_s=3 * 3600) == at
