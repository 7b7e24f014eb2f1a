"""What names and numbers of an unknown station may mean; a guess is marked as one."""

from datetime import UTC, datetime

import pytest

from watcher.sources.learning.guesses import TimeForm, clock_of, quantity_of

MADE_AT = int(datetime(2026, 6, 12, 14, 2, tzinfo=UTC).timestamp())


@pytest.mark.parametrize(
    ("name", "values", "said", "quantity", "unit", "reported_as", "sure"),
    [
        ("wind_speed (km/h)", [12.0], None, "wind", "km/h", "rate", True),
        ("windspeedmph", ["4.5"], None, "wind", "mph", "rate", True),
        ("Wind_Speed", ["4.5"], "m/s", "wind", "m/s", "rate", True),
        ("wind.avg", [3.2], None, "wind", None, "rate", False),
        ("windGust_ms", [3.2], None, "gust", "m/s", "rate", True),
        ("winddir", ["NNW"], None, "wind_from", "deg", "rate", True),
        ("outTemp", [68.0, 71.0], None, "temperature", "degF", "rate", False),
        ("air_temp_c", [18.0], None, "temperature", "degC", "rate", True),
        ("dewptf", [48.0], None, "dew_point", "degF", "rate", True),
        ("RH", [61, 55], None, "humidity", "%", "rate", True),
        ("rh", [0.61, 0.55], None, "humidity", "dimensionless", "rate", False),
        ("baromabsin", [29.1], None, "pressure", "inHg", "rate", False),
        ("dailyrainin", [0.12], None, "rain", "in", "total", True),
        ("rainrate_mm", [0.0], None, "rain", "mm/h", "rate", True),
        ("Rain_mm", [0.0, 0.2, 0.0], None, "rain", "mm", "amount", False),
        ("Rain_mm", [10.0, 10.2, 10.2], None, "rain", "mm", "total", False),
        ("solarradiation", [412.0], None, "solar", "W/m2", "rate", True),
        ("wind_deg", [210], None, "wind_from", "deg", "rate", True),
        ("Wind (°)", ["210"], None, "wind_from", "deg", "rate", True),
        ("spd", [3.1], "m/s", "wind", "m/s", "rate", True),
        ("gst", [5.0], "m/s", "gust", "m/s", "rate", True),
        ("tmp", [12.3], "Cel", "temperature", "degC", "rate", True),
        ("tmpf", [54.0], None, "temperature", "degF", "rate", True),
        ("relh", [66.0], None, "humidity", "%", "rate", True),
    ],
)
def test_a_name_and_its_numbers_tell(
    name: str,
    values: list[object],
    said: str | None,
    quantity: str,
    unit: str | None,
    reported_as: str,
    sure: bool,
) -> None:
    guess = quantity_of(name, values, said)
    assert guess is not None
    assert (guess.quantity, guess.unit, guess.reported_as, guess.sure) == (
        quantity,
        unit,
        reported_as,
        sure,
    )


@pytest.mark.parametrize(
    "name",
    ["tempinf", "humidityin", "soil_temp_c", "battery", "baromrel_hpa", "feelsLike", "rssi", "id"],
)
def test_what_is_none_of_ours_is_left_alone(name: str) -> None:
    assert quantity_of(name, [20.0], None) is None


@pytest.mark.parametrize(
    ("columns", "expected"),
    [
        ({"time": ["2026-06-12T14:01:00Z"]}, TimeForm(("time",), "iso", None)),
        ({"ts": [1781272860000]}, TimeForm(("ts",), "epoch", None)),
        ({"dateutc": ["2026-06-12 14:01:00"]}, TimeForm(("dateutc",), "iso", "UTC")),
        ({"time": ["2026-06-12 09:01"]}, TimeForm(("time",), "iso", "America/Chicago")),
        (
            {"Date": ["12.06.2026"] * 2, "Time": ["859", "901"]},
            TimeForm(("Date", "Time"), "%d.%m.%Y %H%M", "America/Chicago"),
        ),
        (
            {"year": [2026], "doy": [163], "hhmm": [1401], "wind": [3]},
            TimeForm(("year", "doy", "hhmm"), "%Y %j %H%M", "UTC"),
        ),
        (
            {"Year": ["2026"], "Day": ["163"], "Time": ["901"], "wind": ["3"]},
            TimeForm(("Year", "Day", "Time"), "%Y %j %H%M", "America/Chicago"),
        ),
        (
            {"year": [2026], "month": [6], "day": [12], "hour": [9], "minute": [1]},
            TimeForm(
                ("year", "month", "day", "hour", "minute"), "%Y %m %d %H %M", "America/Chicago"
            ),
        ),
        (
            {"date": ["06/12/2026"], "time": ["9:01 AM"]},
            TimeForm(("date", "time"), "%m/%d/%Y %I:%M %p", "America/Chicago"),
        ),
    ],
)
def test_a_clock_is_told_by_its_times(columns: dict[str, list[object]], expected: TimeForm) -> None:
    assert clock_of(columns, made_at=MADE_AT, farm_zone="America/Chicago") == expected


def test_a_clock_nobody_can_tell_is_a_doubt() -> None:
    old = clock_of({"time": ["2024-06-12 09:01"]}, made_at=MADE_AT, farm_zone="America/Chicago")
    assert old is not None
    assert "too old to tell the zone" in str(old.doubts[0])
    both = clock_of({"time": ["05/06/2024 09:01"]}, made_at=MADE_AT, farm_zone="UTC")
    assert both is not None
    assert "may also be of the form" in str(both.doubts[0])
    off = clock_of({"time": ["2026-06-12 16:01"]}, made_at=MADE_AT, farm_zone="America/Chicago")
    assert off is not None
    assert (off.zone, len(off.doubts)) == ("+02:00", 1)


def test_without_a_time_there_is_no_clock() -> None:
    assert clock_of({"wind": [3.0]}, made_at=MADE_AT, farm_zone="UTC") is None
