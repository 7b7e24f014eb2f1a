"""Times as stations write them. Changes of the clock: the United States' in 2026 (March 8, 02:00 to
03:00 CDT; November 1, 02:00 back to 01:00 CST, that is 07:00 UTC), as the tz database has them."""

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from watcher.sources.stations.local_times import LocalTimes, newest_first, zone_of

DATES = (datetime(2000, 1, 1), datetime(2099, 12, 31))  # noqa: DTZ001  # as the clock shows
CHICAGO = zone_of("America/Chicago")


def utc(*parts: int) -> int:
    return int(datetime(*parts, tzinfo=UTC).timestamp())  # type: ignore[misc,arg-type]


def epochs(texts: list[str], form: str = "iso", zone: str = "America/Chicago") -> list[int]:
    """Each text's time, the one before it being the last."""
    times = LocalTimes(form, zone_of(zone))
    found: list[int] = []
    for text in texts:
        found.append(times.epoch(times.read(text), found[-1] if found else None))
    return found


@pytest.mark.parametrize(
    ("text", "form", "zone"),
    [
        ("2026-06-12T09:00:00", "iso", "America/Chicago"),
        ("2026-06-12 09:00", "iso", "America/Chicago"),
        ("2026-06-12T14:00:00Z", "iso", "America/Chicago"),
        ("2026-06-12T16:00:00+02:00", "iso", "America/Chicago"),
        ("12.06.26 16:00", "%d.%m.%y %H:%M", "Europe/Berlin"),
        ("20260612 1400", "%Y%m%d %H%M", "UTC"),
        ("06/12/2026 02:00 PM", "%m/%d/%Y %I:%M %p", "UTC"),
        ("12/Jun/2026:08:00:00 -0600", "%d/%b/%Y:%H:%M:%S %z", "UTC"),
        ("2026-06-12 08:00", "iso", "-06:00"),
        ("2026-06-12 19:30", "iso", "+05:30"),
        (str(utc(2026, 6, 12, 14)), "epoch", "America/Chicago"),
        (f"{utc(2026, 6, 12, 14)}.0", "epoch", "America/Chicago"),
        (f"{utc(2026, 6, 12, 14)}000", "epoch", "America/Chicago"),
        (f"{utc(2026, 6, 12, 14)}000000000", "epoch", "America/Chicago"),
        ("2026 163 1400", "%Y %j %H%M", "UTC"),
        ("2026163 14:00", "%Y%j %H:%M", "UTC"),
        ("06/12/2026 2:00 pm", "%m/%d/%Y %I:%M %p", "UTC"),
        ("6/12/2026 2:00 p.m.", "%m/%d/%Y %I:%M %p", "UTC"),
        ("6/12/2026 2:00p", "%m/%d/%Y %I:%M%p", "UTC"),
        ("6/12/2026 2:00 PM", "%m/%d/%Y %H:%M %p", "UTC"),
        ("6/12/2026 14:00 PM", "%m/%d/%Y %H:%M %p", "UTC"),
    ],
)
def test_a_time_is_read_in_its_form_and_zone(text: str, form: str, zone: str) -> None:
    assert epochs([text], form, zone) == [utc(2026, 6, 12, 14)]


@pytest.mark.parametrize(
    ("text", "form"),
    [
        ("", "iso"),
        ("2026-06-12", "iso"),
        ("---", "iso"),
        ("2026-13-01 00:00", "iso"),
        ("12.06.26", "%d.%m.%y %H:%M"),
        ("12.06.26 14:00 x", "%d.%m.%y %H:%M"),
        ("noon", "epoch"),
        ("178127280000", "epoch"),
        ("nan", "epoch"),
        ("2026-06-12 24:01", "iso"),
        ("2026-06-12 24:01", "%Y-%m-%d %H:%M"),
        ("2026-06-12 2530", "%Y-%m-%d %H%M"),
        ("2026-06-12 930 x", "%Y-%m-%d %H%M"),
        ("2026-06-12 20930", "%Y-%m-%d %H%M"),
    ],
)
def test_what_is_no_such_time_is_refused(text: str, form: str) -> None:
    with pytest.raises(ValueError, match=r"\w"):
        LocalTimes(form, UTC).read(text)


def test_the_hour_shown_twice_is_told_apart_by_the_rows_order() -> None:
    shown = [
        f"2026-11-01 {hour}:{minute:02}" for hour in ("00", "01", "01", "02") for minute in (0, 30)
    ]
    steps = [utc(2026, 11, 1, 5) + 1800 * n for n in range(8)]
    assert epochs(shown) == steps


def test_a_row_written_twice_is_not_an_hour_later() -> None:
    assert epochs(["2026-11-01 01:30", "2026-11-01 01:30"]) == [utc(2026, 11, 1, 6, 30)] * 2


def test_without_a_row_before_it_the_earlier_of_two_hours_is_taken() -> None:
    assert epochs(["2026-11-01 01:30"]) == [utc(2026, 11, 1, 6, 30)]


def test_the_second_hour_goes_on_from_the_row_before() -> None:
    times = LocalTimes("iso", CHICAGO)
    last = utc(2026, 11, 1, 7, 20)
    assert times.epoch(times.read("2026-11-01 01:30"), last) == utc(2026, 11, 1, 7, 30)


def test_a_time_that_was_skipped_is_refused_with_the_mend() -> None:
    with pytest.raises(ValueError, match="-06:00"):
        epochs(["2026-03-08 02:30"])


def test_a_clock_that_never_changes_has_no_such_hours() -> None:
    assert epochs(["2026-03-08 02:30", "2026-11-01 01:30"], zone="-06:00") == [
        utc(2026, 3, 8, 8, 30),
        utc(2026, 11, 1, 7, 30),
    ]


def test_every_ten_minutes_of_the_year_come_back_as_they_were() -> None:
    start = utc(2026, 1, 1, 6)
    real = [start + 600 * n for n in range(365 * 144)]
    shown = [datetime.fromtimestamp(t, CHICAGO).strftime("%Y-%m-%d %H:%M") for t in real]
    assert epochs(shown) == real


def test_files_written_newest_first_are_warn_from_a_clock_set_back() -> None:
    first = datetime(2026, 11, 1, 1, 40)  # noqa: DTZ001 - as a station writes it
    rising = [first + timedelta(minutes=10 * n) for n in range(5)]
    set_back = [first, first + timedelta(minutes=10), first - timedelta(minutes=40)]
    assert newest_first(rising[::-1])
    assert not newest_first(rising)
    assert not newest_first(set_back)
    assert not newest_first(rising[1::-1])


@pytest.mark.parametrize(
    ("text", "hour", "minute"),
    [("0", 0, 0), ("5", 0, 5), ("15", 0, 15), ("105", 1, 5), ("930", 9, 30), ("1005", 10, 5)],
)
def test_hours_and_minutes_may_lack_the_zeros_in_front(text: str, hour: int, minute: int) -> None:
    read = epochs([f"2026-06-12 {text}"], "%Y-%m-%d %H%M", "UTC")
    assert read == [utc(2026, 6, 12, hour, minute)]


@given(st.datetimes(*DATES), st.integers(0, 3))
def test_numbers_in_a_row_read_the_same_without_their_zeros(time: datetime, zeros: int) -> None:
    whole = time.strftime("%m%d%H%M")
    bare = whole[: zeros + 1].lstrip("0") + whole[zeros + 1 :]
    form = "%Y %m%d%H%M"
    assert epochs([f"{time.year} {bare}"], form, "UTC") == epochs(
        [f"{time.year} {whole}"], form, "UTC"
    )


@pytest.mark.parametrize(
    ("text", "form"),
    [
        ("2026-06-12 24:00", "iso"),
        ("2026-06-12T24:00:00", "iso"),
        ("2026-06-12T24:00Z", "iso"),
        ("2026-06-12T24:00:00+00:00", "iso"),
        ("12.06.26 24:00", "%d.%m.%y %H:%M"),
        ("2026 163 2400", "%Y %j %H%M"),
    ],
)
def test_twenty_four_hundred_ends_its_day(text: str, form: str) -> None:
    assert epochs([text], form, "UTC") == [utc(2026, 6, 13, 0)]


@pytest.mark.parametrize(("text", "hour"), [("12:00 AM", 0), ("12:30 am", 0), ("12:00 PM", 12)])
def test_noon_and_midnight_of_a_twelve_hour_clock(text: str, hour: int) -> None:
    (read,) = epochs([f"2026-06-12 {text}"], "%Y-%m-%d %H:%M %p", "UTC")
    assert (read - utc(2026, 6, 12)) // 3600 == hour


def test_a_form_with_what_is_not_read_says_so() -> None:
    with pytest.raises(ValueError, match="%U, which is not read"):
        epochs(["2026 24"], "%Y %U", "UTC")


def test_without_a_zone_only_times_that_tell_theirs_are_taken() -> None:
    times = LocalTimes("iso", None)
    assert times.epoch(times.read("2026-06-12T14:00Z"), None) == utc(2026, 6, 12, 14)
    with pytest.raises(ValueError, match="no time zone"):
        times.epoch(times.read("2026-06-12T14:00"), None)
