"""Quantities and their units: the spellings against the units library, values against constants."""

from typing import Annotated

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import BaseModel, ValidationError

from watcher.units import (
    Kind,
    Speed,
    System,
    UnreadableQuantityError,
    Written,
    amount,
    convert,
    read,
)

UNITS = pint.UnitRegistry()
UNITS.define("acre = 4046.8564224 * meter ** 2")  # international; the library's is the survey acre
IN_PINT = {
    "°C": "degC",
    "C": "degC",
    "Cel": "degC",
    "K": "kelvin",
    "°F": "degF",
    "F": "degF",
    "%": "percent",
    "pct": "percent",
    "°": "degree",
    "ac": "acre",
    "gpa": "gal/acre",
    "gpm": "gal/min",
    "kts": "knot",
    "in": "inch",
    "mb": "millibar",
    "d": "day",
    "min": "minute",
    "h": "hour",
    "m2": "m**2",
    "m3": "m**3",
    "W/m2": "W/m**2",
    "W/m²": "W/m**2",
    "W/m^2": "W/m**2",
}
INSIDE = {"%": "percent", "ha": "hectare", "L/ha": "L/hectare", "m2": "m**2", "W/m2": "W/m**2"}
SPELLINGS = [(kind, unit) for kind in Kind for unit in kind.units]
SYSTEMS: tuple[System, ...] = ("us", "metric")


def _pint(unit: str) -> str:
    return "/".join(IN_PINT.get(part, part) for part in IN_PINT.get(unit, unit).split("/"))


def _by_pint(number: float, unit: str, kind: Kind) -> float:
    unit, inside = _pint(unit), INSIDE.get(kind.inside, kind.inside)
    if kind is Kind.TEMPERATURE_STEP:
        unit = {"degC": "delta_degC", "degF": "delta_degF", "kelvin": "delta_degC"}.get(unit, unit)
        inside = "delta_degC"
    return float(UNITS.Quantity(number, unit).to(inside).magnitude)


@pytest.mark.parametrize(("kind", "unit"), SPELLINGS, ids=lambda v: getattr(v, "name", v))
def test_every_unit_means_what_a_general_unit_library_says(kind: Kind, unit: str) -> None:
    for number in (0.0, 1.0, 37.5):
        assert convert(number, unit, kind) == pytest.approx(
            _by_pint(number, unit, kind), rel=1e-9, abs=1e-9
        )


@given(st.sampled_from(Kind), st.sampled_from(SYSTEMS), st.floats(-500, 5000))
def test_a_number_shown_and_read_again_is_the_same(
    kind: Kind, system: System, inside: float
) -> None:
    text = f"{amount(inside, kind, system)!r} {kind.shown[system]}"
    assert read(text, kind) == pytest.approx(inside, rel=1e-9, abs=1e-9)


@given(st.sampled_from(Kind), st.sampled_from(SYSTEMS), st.floats(0, 5000))
def test_what_is_shown_can_be_read(kind: Kind, system: System, inside: float) -> None:
    last_decimal = kind.scale(kind.shown[system]).factor * 1e-9
    text = kind.show(inside, system, decimals=9)
    assert read(text, kind) == pytest.approx(inside, rel=1e-9, abs=last_decimal)


# domain.md, unit constants and threshold table (exact definitions; [C] where computed).
@pytest.mark.parametrize(
    ("text", "kind", "inside"),
    [
        ("1 mph", Kind.SPEED, 0.44704),
        ("3 mph", Kind.SPEED, 1.341),
        ("10 mph", Kind.SPEED, 4.470),
        ("20 km/h", Kind.SPEED, 5.556),
        ("1 kn", Kind.SPEED, 0.514444),
        ("1 gal", Kind.VOLUME, 3.785411784),
        ("1 acre", Kind.AREA, 4046.8564),
        ("1 gal/acre", Kind.CARRIER, 9.353956),
        ("1 psi", Kind.PRESSURE, 6894.757),
        ("40 psi", Kind.PRESSURE, 275_800),
        ("110 ft", Kind.LENGTH, 33.53),
        ("24 in", Kind.SMALL_LENGTH, 0.6096),
        ("85 degF", Kind.TEMPERATURE, 29.4444),
        ("-40 degF", Kind.TEMPERATURE, -40.0),
        ("300.15 K", Kind.TEMPERATURE, 27.0),
    ],
)
def test_the_trades_constants(text: str, kind: Kind, inside: float) -> None:
    assert read(text, kind) == pytest.approx(inside, rel=2e-4)


@pytest.mark.parametrize("text", ["14.4 degF", "8 K", "8 degC", "8 °C", "8 delta_degC"])
def test_a_temperature_step_has_no_offset_of_32(text: str) -> None:
    assert read(text, Kind.TEMPERATURE_STEP) == pytest.approx(8.0)


def test_delta_t_is_shown_without_the_offset() -> None:
    assert Kind.TEMPERATURE_STEP.show(8.0, "us") == "14.4 °F"
    assert Kind.TEMPERATURE.show(8.0, "us") == "46 °F"


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("10 MPH", Kind.SPEED),
        ("10mph", Kind.SPEED),
        ("  10  mph ", Kind.SPEED),
        ("1e1 mph", Kind.SPEED),
        ("+10. mph", Kind.SPEED),
        ("15 gal / acre", Kind.CARRIER),
        ("15 gallons/acre", Kind.CARRIER),
        ("15 gpa", Kind.CARRIER),
        ("85 F", Kind.TEMPERATURE),
        ("40%", Kind.PERCENT),
        (".5 mm/h", Kind.RAIN_RATE),
    ],
)
def test_growers_spellings_are_read(text: str, kind: Kind) -> None:
    read(text, kind)


@pytest.mark.parametrize(
    ("value", "kind", "said"),
    [
        (10, Kind.SPEED, "a bare number has no unit"),
        (10.5, Kind.SPEED, "a bare number has no unit"),
        ("10", Kind.SPEED, "a bare number has no unit"),
        (True, Kind.SPEED, "not a quantity"),
        (None, Kind.SPEED, "not a quantity"),
        (["10 mph"], Kind.SPEED, "not a quantity"),
        ("", Kind.SPEED, "does not start with a number"),
        ("mph", Kind.SPEED, "does not start with a number"),
        ("ten mph", Kind.SPEED, "does not start with a number"),
        ("nan mph", Kind.SPEED, "does not start with a number"),
        ("inf mph", Kind.SPEED, "does not start with a number"),
        ("1e999 mph", Kind.SPEED, "out of all reason"),
        ("5,5 m/s", Kind.SPEED, "one number and one unit"),
        ("1 000 gal", Kind.VOLUME, "one number and one unit"),
        ("1 h 30 min", Kind.DURATION, "one number and one unit"),
        ("10 mpg", Kind.SPEED, 'did you mean "mph"?'),
        ("10 furlong", Kind.LENGTH, 'unit "furlong" is not known'),
        ("10 psi", Kind.SPEED, 'unit "psi" does not fit here'),
        ("15 in", Kind.CARRIER, 'unit "in" does not fit here'),
        ("10 %", Kind.ANGLE, 'unit "%" does not fit here'),
        ("3 ac", Kind.SPEED, 'unit "ac" does not fit here'),
        ("10 mph; 4", Kind.SPEED, "one number and one unit"),
        ("10 __import__('os')", Kind.SPEED, "is not known"),
    ],
)
def test_what_is_not_a_quantity_is_refused_with_a_mend(
    value: object, kind: Kind, said: str
) -> None:
    with pytest.raises(UnreadableQuantityError) as caught:
        read(value, kind)
    assert said in str(caught.value)
    assert kind.example in str(caught.value)


@given(st.text(max_size=30), st.sampled_from(Kind))
def test_any_text_is_read_or_refused_and_never_not_a_number(text: str, kind: Kind) -> None:
    try:
        inside = read(text, kind)
    except UnreadableQuantityError:
        return
    assert abs(inside) < 1e12


@pytest.mark.parametrize("kind", Kind, ids=lambda kind: kind.name)
def test_every_example_is_readable(kind: Kind) -> None:
    assert read(kind.example, kind) > 0


@pytest.mark.parametrize(
    ("inside", "kind", "system", "text"),
    [
        (4.4704, Kind.SPEED, "us", "10 mph"),
        (4.4704, Kind.SPEED, "metric", "16 km/h"),
        (0.3, Kind.PERCENT, "us", "0%"),
        (90.0, Kind.ANGLE, "metric", "90°"),
        (29.44, Kind.TEMPERATURE, "metric", "29 °C"),
        (500.0, Kind.IRRADIANCE, "us", "500 W/m²"),
        (14_400.0, Kind.DURATION, "us", "4.0 h"),
    ],
)
def test_quantities_are_shown_as_the_grower_reads_them(
    inside: float, kind: Kind, system: System, text: str
) -> None:
    assert kind.show(inside, system) == text


class _Rig(BaseModel):
    speed: Speed = 1.0
    boom: Annotated[float, Written(Kind.LENGTH, 0.5, 70.0)] = 20.0


def test_a_model_holds_si() -> None:
    assert _Rig.model_validate({"speed": "10 mph"}).speed == pytest.approx(4.4704)


@pytest.mark.parametrize("boom", ["900 ft", "-90 ft", "1 in"])
def test_a_quantity_nobody_means_is_refused_in_the_growers_own_unit(boom: str) -> None:
    with pytest.raises(ValidationError, match=rf"to [0-9.e+]+ {boom.split()[1]}"):
        _Rig.model_validate({"boom": boom})


def test_the_bounds_of_belief_are_told_in_the_growers_unit() -> None:
    # 70 m is 229.66 ft, 0.5 m is 1.6404 ft.
    with pytest.raises(ValidationError, match=r"1\.64 ft to 229\.7 ft"):
        _Rig.model_validate({"boom": "900 ft"})
