"""Hours of the day as exact instants."""

from datetime import UTC, datetime
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from watcher.farm.rules.calendar import ClockRule
from watcher.limits.day_time import openings
from watcher.weather.series import Site
from watcher.weather.sun import next_sunrise, next_sunset

ZONE = ZoneInfo("America/Chicago")
SITE = Site(41.0, -96.0)
DAY = datetime(2026, 6, 10, tzinfo=ZONE)


def at(text: str, day: int = 10) -> int:
    hour, minute = map(int, text.split(":"))
    return int(datetime(2026, 6, day, hour, minute, tzinfo=ZONE).timestamp())


def closes(rule: dict[str, Any], *times: int, site: Site = SITE) -> list[float]:
    spans = openings(
        ClockRule.model_validate({"kind": "clock"} | rule), np.array(times), site, ZONE
    )
    return spans.headroom(np.array(times))[0].tolist()


def test_times_by_the_sun_are_rounded_inward() -> None:
    noon = at("12:00")
    sunset = float(next_sunset(times=noon, latitude=41.0, longitude=-96.0))
    (until,) = closes({"closes": "2 h before sunset"}, noon)
    assert until % 60 == 0
    assert 0 <= sunset - 7200 - until < 60


@pytest.mark.parametrize(
    ("time", "until"),
    [("18:00", "09:00"), ("23:30", "09:00"), ("17:59", None), ("09:00", None)],
)
def test_what_is_open_over_midnight_closes_the_next_morning(time: str, until: str | None) -> None:
    (found,) = closes({"opens": "18:00", "closes": "09:00"}, at(time))
    assert np.isnan(found) if until is None else found == at(until, 11)


def test_the_small_hours_belong_to_the_evening_before() -> None:
    assert closes({"opens": "18:00", "closes": "09:00"}, at("08:59")) == [at("09:00")]


def test_after_sunset_until_eleven_at_night() -> None:
    rule = {"opens": "sunset", "closes": "23:00"}
    assert np.isnan(closes(rule, at("14:00"))[0])
    assert closes(rule, at("22:00")) == [at("23:00")]
    assert np.isnan(closes(rule, at("23:00"))[0])


def test_a_side_left_out_reaches_to_the_sun_or_to_midnight() -> None:
    assert np.isnan(closes({"closes": "2 h before sunset"}, at("03:00"))[0])
    assert closes({"closes": "09:00"}, at("03:00")) == [at("09:00")]
    assert closes({"opens": "18:00"}, at("20:00")) == [at("00:00", 11)]


def test_no_night_spans_where_nothing_is_left_of_the_day() -> None:
    rule = {"opens": "11 h after sunrise", "closes": "11 h before sunset"}
    assert np.isnan(closes(rule, at("13:00"))[0])


def test_without_a_sunset_it_is_not_known() -> None:
    midsummer = int(datetime(2026, 6, 21, 12, tzinfo=UTC).timestamp())
    rule = ClockRule.model_validate({"kind": "clock", "closes": "2 h before sunset"})
    spans = openings(rule, np.array([midsummer]), Site(75.0, 20.0), ZoneInfo("Europe/Oslo"))
    until, outside = spans.headroom(np.array([midsummer]))
    assert np.isnan(until).all()
    assert np.isnan(outside).all()


@pytest.mark.parametrize(
    "day", [datetime(2026, 3, 8, tzinfo=ZONE), datetime(2026, 11, 1, tzinfo=ZONE)]
)
def test_the_clock_is_the_farms_also_when_it_is_set(day: datetime) -> None:
    noon = int(day.replace(hour=12).timestamp())
    rule = ClockRule.model_validate({"kind": "clock", "opens": "06:00", "closes": "18:00"})
    until, _ = openings(rule, np.array([noon]), SITE, ZONE).headroom(np.array([noon]))
    assert until[0] == day.replace(hour=18).timestamp()


def outside(rule: dict[str, Any], time: int) -> float:
    spans = openings(
        ClockRule.model_validate({"kind": "clock"} | rule), np.array([time]), SITE, ZONE
    )
    return float(spans.headroom(np.array([time]))[1][0])


@pytest.mark.parametrize(
    ("time", "hours"), [("05:00", 1.0), ("06:00", 0.0), ("17:59", 0.0), ("18:00", 12.0)]
)
def test_outside_it_is_told_how_long_until_it_opens(time: str, hours: float) -> None:
    """Also over midnight, to the opening of the next day."""
    assert outside({"opens": "06:00", "closes": "18:00"}, at(time)) == hours * 3600


def test_minutes_by_the_sun_are_rounded_up_at_the_opening_and_down_at_the_close() -> None:
    rule = {"opens": "1 h after sunrise", "closes": "1 h before sunset"}
    morning, evening = at("04:00"), at("20:30")
    rose = float(next_sunrise(times=morning, latitude=41.0, longitude=-96.0))
    opens = morning + outside(rule, morning)
    assert opens % 60 == 0
    assert 0 <= opens - (rose + 3600) < 60
    assert outside(rule, evening) > 0


def test_a_rule_open_by_the_sun_alone_reaches_to_sunset_and_on_the_clock_to_midnight() -> None:
    noon = at("12:00")
    sunset = float(next_sunset(times=noon, latitude=41.0, longitude=-96.0))
    assert closes({"opens": "1 h after sunrise"}, noon) == [sunset // 60 * 60]
    assert closes({"opens": "06:00"}, noon) == [at("00:00", 11)]


def test_from_sunset_until_sunrise_is_the_night() -> None:
    rule = {"opens": "sunset", "closes": "sunrise"}
    night = at("23:00")
    rose = float(next_sunrise(times=night, latitude=41.0, longitude=-96.0))
    assert closes(rule, night) == [rose // 60 * 60]
    assert np.isnan(closes(rule, at("12:00"))[0])
