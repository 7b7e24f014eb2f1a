"""Values typed into a record: what is read, what is refused with what to write instead."""

from zoneinfo import ZoneInfo

import pytest

from watcher.records.form import FORM, FormError, label, moment, read, shown, split

CHICAGO = ZoneInfo("America/Chicago")


@pytest.mark.parametrize(
    ("key", "text", "held"),
    [
        ("applicator", "  B. Hand ", "B. Hand"),
        ("area", "40 acre", pytest.approx(161_874.256896)),  # by the acre's definition
        ("pressure", "3 bar", pytest.approx(3e5)),
        ("speed", "18 km/h", pytest.approx(5.0)),
        ("droplets", "very coarse", "very coarse"),
        ("nozzle", "air induction", "air induction"),
        ("rate", "1.5 L/ha", "1.5 L/ha"),
        ("eppo", "ZEAMX", "ZEAMX"),
        ("bbch", "14", "14"),
        ("started", "2026-06-10T11:00", "2026-06-10T11:00:00-05:00"),
        ("started", "2026-06-10T16:00Z", "2026-06-10T11:00:00-05:00"),
        ("started", "2026-01-10T11:00", "2026-01-10T11:00:00-06:00"),
    ],
)
def test_what_is_typed_is_held_in_si_or_as_words(key: str, text: str, held: object) -> None:
    assert read(FORM[key], text, CHICAGO) == held


@pytest.mark.parametrize(
    ("key", "text", "says"),
    [
        ("area", "40", "a bare number has no unit; write a number with its unit, such as acre"),
        ("area", "40 mph", "does not fit here"),
        ("pressure", "4000 bar", "outside what is believed"),
        ("droplets", "big", "is not one of the choices; choices: extremely fine, very fine"),
        ("rate", "22 fl oz", "must be an amount an area; write amount, unit and area"),
        ("eppo", "maize", 'code of the EPPO database; look it up .*; maize is "ZEAMX"'),
        ("bbch", "early", 'does not fit; write it like "14"'),
        ("applicator", "  ", "is empty; write something in it"),
        ("started", "this morning", "no date and time; write started=2026-06-10T11:00"),
    ],
)
def test_what_cannot_be_read_is_refused_with_a_mend(key: str, text: str, says: str) -> None:
    with pytest.raises(FormError, match=says):
        read(FORM[key], text, CHICAGO)


@pytest.mark.parametrize("text", ["2026-11-01T01:30", "2026-03-08T02:30"])
def test_a_time_the_clock_shows_twice_or_never_needs_its_offset(text: str) -> None:
    # Daylight saving time in the United States, 2026: from 8 March to 1 November.
    with pytest.raises(FormError, match="add the offset from UTC"):
        read(FORM["ended"], text, CHICAGO)
    assert moment(read(FORM["ended"], f"{text}-06:00", CHICAGO)) % 1800 == 0


@pytest.mark.parametrize(
    ("key", "says"),
    [
        ("reg", 'no "reg" in a record'),
        ("registratoin", 'did you mean "registration"'),
        ("area.2", "is there once"),
        ("rate.1", "number the second one rate.2"),
        ("rate.x", "number the second one rate.2"),
    ],
)
def test_a_key_that_is_none_is_refused_with_what_there_is(key: str, says: str) -> None:
    with pytest.raises(FormError, match=says):
        split(key)


def test_the_second_product_is_numbered() -> None:
    assert split("rate.2") == (FORM["rate"], 2)
    assert label("rate.2") == "rate (2)"


@pytest.mark.parametrize(
    ("key", "value", "us", "metric"),
    [
        ("area", 161_874.256896, "40.0 acre", "16.2 ha"),
        ("pressure", 3e5, "44 psi", "3.0 bar"),  # 1 bar = 14.5038 psi
        ("carrier", 140.0, "15 gal/acre", "140 L/ha"),
        ("crop", "corn", "corn", "corn"),
        ("crop", None, "–", "–"),
    ],
)
def test_values_are_shown_in_the_growers_units(
    key: str, value: float | str | None, us: str, metric: str
) -> None:
    assert shown(FORM[key], value, "us") == us
    assert shown(FORM[key], value, "metric") == metric


def test_a_moment_is_shown_on_the_farms_clock_and_in_utc() -> None:
    said = shown(FORM["started"], "2026-06-10T22:00:00-05:00", "us")
    assert said == "2026-06-10 22:00:00-05:00 (2026-06-11 03:00 UTC)"
