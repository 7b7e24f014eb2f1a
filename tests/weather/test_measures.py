"""A quantity as a source gives it: units of its own, tips of a gauge, counts of rain."""

import pytest

from watcher.units import UnreadableQuantityError
from watcher.weather.measures import RAIN_FELL, RAIN_TOTAL, Measure
from watcher.weather.quantities import in_unit


@pytest.mark.parametrize(
    ("name", "unit", "reported_as", "given", "inside"),
    [
        ("wind", "km/h", "rate", 36.0, 10.0),
        ("temperature", "degF", "rate", 50.0, 10.0),
        ("rain", "mm/h", "rate", 2.5, 2.5),
        ("rain", "mm", "amount", 2.5, 2.5),
        ("rain", "inch", "amount", 1.0, 25.4),
        ("rain", "0.2 mm", "total", 5.0, 1.0),  # what one tip of a gauge is
        ("rain", ".01 inch", "total", 100.0, 25.4),
        ("rain", " 0.5mm", "amount", 3.0, 1.5),
    ],
)
def test_a_number_of_its_unit_inside(
    name: str, unit: str, reported_as: str, given: float, inside: float
) -> None:
    measure = Measure.of(name, unit, reported_as)  # type: ignore[arg-type]
    assert measure.si(given) == pytest.approx(inside)


@pytest.mark.parametrize(
    ("name", "reported_as", "column"),
    [
        ("rain", "rate", "rain_mm_h"),
        ("rain", "amount", RAIN_FELL),
        ("rain", "total", RAIN_TOTAL),
        ("wind", "rate", "wind_m_s"),
    ],
)
def test_rain_that_is_no_rate_has_a_column_of_its_own(
    name: str, reported_as: str, column: str
) -> None:
    assert Measure.of(name, None, reported_as).column == column  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("name", "unit", "reported_as", "said"),
    [
        ("winds", "m/s", "rate", "quantities.winds is not known"),
        ("wind", "m/s", "total", "only rain can be 'total'"),
        ("wind", "degC", "rate", "quantities.wind.unit"),
        ("rain", "mm/h", "amount", "quantities.rain.unit"),
        ("rain", "mm", "rate", "quantities.rain.unit"),
    ],
)
def test_what_cannot_be_is_named(name: str, unit: str, reported_as: str, said: str) -> None:
    with pytest.raises(ValueError, match=said):
        Measure.of(name, unit, reported_as)  # type: ignore[arg-type]


def test_without_a_unit_a_bare_number_is_refused() -> None:
    with pytest.raises(UnreadableQuantityError):
        Measure.of("wind", None).si(3.0)


def test_a_quantity_in_a_unit_that_does_not_fit_is_named() -> None:
    assert in_unit("wind", "km/h").si(36.0) == pytest.approx(10.0)
    for name, unit, said in (("wind", "degC", r"wind\.unit"), ("winds", "m/s", "is not known")):
        with pytest.raises(ValueError, match=said):
            in_unit(name, unit)
