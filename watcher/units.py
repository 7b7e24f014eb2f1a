"""Quantities written with their unit ("10 mph") ⇄ SI floats.

SI inside, the grower's units at every edge: this module is the edge. Everything else in the
package handles bare floats whose unit is in their name (``wind_m_s``, ``carrier_l_ha``).

Only the units listed here are read, each where it fits: a general unit parser takes ``"15 in"``
for a carrier (litres a hectare are a length) and ``"3 ac"`` for a speed.
"""

import difflib
import re
from dataclasses import dataclass
from enum import Enum
from functools import cached_property
from typing import Annotated, Any, Literal, NamedTuple

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import core_schema

System = Literal["us", "metric"]

_NUMBER_AND_UNIT = re.compile(r"\s*([-+]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][-+]?[0-9]+)?)(.*)")


class _Scale(NamedTuple):
    """A unit as a straight line: inside = (number - zero) * factor."""

    factor: float
    zero: float = 0.0


_Units = dict[str, _Scale]


def _units(*rows: tuple[float, str], zero: float = 0.0) -> _Units:
    """Return a scale for every spelling; the first of each row is the one suggested."""
    return {name: _Scale(factor, zero) for factor, names in rows for name in names.split()}


def _per(over: _Units, under: _Units, size: float = 1.0) -> _Units:
    """Return units such as "gal/acre"; ``size`` is one unit of the kind in the parts' own."""
    return {
        f"{a}/{b}": _Scale(over[a].factor / under[b].factor / size) for a in over for b in under
    }


# Exact by definition: the foot and so the mile, the acre (international, 43 560 square feet) and
# the knot; the US gallon of 231 cubic inches; the pound-force of psi.
_FOOT = 0.3048
_ACRE = 43_560 * _FOOT**2
_GALLON_L = 3.785411784
_PSI = 0.45359237 * 9.80665 / (_FOOT / 12) ** 2
_INCH_OF_MERCURY = 133.322387415 * 25.4  # the conventional millimetre of mercury

_TIME = _units(
    (1.0, "s sec second seconds"),
    (60.0, "min minute minutes"),
    (3600.0, "h hr hour hours"),
    (86_400.0, "d day days"),
)
_LENGTH = _units(
    (1.0, "m metre metres meter meters"),
    (_FOOT, "ft foot feet"),
    (_FOOT / 12, "in inch inches"),
    (0.01, "cm"),
    (0.001, "mm"),
    (1000.0, "km"),
    (5280 * _FOOT, "mi mile miles"),
    (3 * _FOOT, "yd yard yards"),
)
_AREA = _units((1.0, "m2 m**2"), (_ACRE, "acre ac acres"), (10_000.0, "ha hectare hectares"))
_VOLUME = _units(
    (1.0, "L litre litres liter liters"), (_GALLON_L, "gal gallon gallons"), (1000.0, "m3")
)
_SPEED = _units(
    (1.0, "m/s"),
    (5280 * _FOOT / 3600, "mph mi/h"),
    (1 / 3.6, "km/h kph"),
    (1852 / 3600, "kn kt kts knot knots"),
    (_FOOT, "ft/s"),
)
_STEP = _units(
    (1.0, "K degC delta_degC °C C Cel kelvin"),
    (5 / 9, "degF delta_degF °F F"),
)
_TEMPERATURE = (
    _units((1.0, "degC °C C Cel celsius"))
    | _units((5 / 9, "degF °F F fahrenheit"), zero=32.0)
    | _units((1.0, "K kelvin"), zero=273.15)
)
_PRESSURE = _units(
    (1.0, "Pa"),
    (100.0, "hPa hectopascal mbar mb"),
    (1000.0, "kPa"),
    (1e5, "bar"),
    (_PSI, "psi"),
    (_INCH_OF_MERCURY, "inHg"),
)
_ANGLE = _units((1.0, "deg ° degree degrees"), (57.29577951308232, "rad"))
_PERCENT = _units((1.0, "% percent pct"), (100.0, "dimensionless"))
_IRRADIANCE = _units((1.0, "W/m2 W/m² W/m^2 W/m**2"))


class Kind(Enum):
    """A quantity a grower writes: the units read and shown, and an example. SI inside."""

    def __init__(
        self, inside: str, shown: tuple[str, str], decimals: int, example: str, units: _Units
    ) -> None:
        self.inside = inside
        self.shown: dict[str, str] = dict(zip(("us", "metric"), shown, strict=True))
        self.decimals = decimals
        self.example = example
        self.units = units

    SPEED = ("m/s", ("mph", "km/h"), 0, "10 mph", _SPEED)
    TEMPERATURE = ("degC", ("degF", "degC"), 0, "85 degF", _TEMPERATURE)
    # A difference has no offset of 32: kept apart from TEMPERATURE on purpose.
    TEMPERATURE_STEP = ("K", ("degF", "degC"), 1, "8 K", _STEP)
    LENGTH = ("m", ("ft", "m"), 0, "30 ft", _LENGTH)
    SMALL_LENGTH = ("m", ("in", "cm"), 0, "20 in", _LENGTH)
    AREA = ("m2", ("acre", "ha"), 0, "40 acre", _AREA)
    VOLUME = ("L", ("gal", "L"), 0, "1000 gal", _VOLUME)
    CARRIER = (
        "L/ha",
        ("gal/acre", "L/ha"),
        0,
        "15 gal/acre",
        _per(_VOLUME, _AREA, 1 / 10_000) | _units((10_000 * _GALLON_L / _ACRE, "gpa")),
    )
    FLOW = (
        "L/min",
        ("gal/min", "L/min"),
        2,
        "0.4 gal/min",
        _per(_VOLUME, _TIME, 1 / 60) | _units((_GALLON_L, "gpm")),
    )
    DURATION = ("s", ("h", "h"), 1, "4 h", _TIME)
    ANGLE = ("deg", ("deg", "deg"), 0, "30 deg", _ANGLE)
    PRESSURE = ("Pa", ("psi", "bar"), 0, "40 psi", _PRESSURE)
    RAIN_RATE = ("mm/h", ("in/h", "mm/h"), 2, "0.5 mm/h", _per(_LENGTH, _TIME, 0.001 / 3600))
    PERCENT = ("%", ("%", "%"), 0, "40 %", _PERCENT)
    IRRADIANCE = ("W/m2", ("W/m2", "W/m2"), 0, "500 W/m2", _IRRADIANCE)

    @cached_property
    def _by_spelling(self) -> _Units:
        return {_plain(name): scale for name, scale in self.units.items()}

    def scale(self, unit: str) -> _Scale:
        """Return how a unit, in any case and spacing, relates to the one used inside."""
        try:
            return self._by_spelling[_plain(unit)]
        except KeyError:
            raise UnreadableQuantityError(unit, self, self._refusal(unit)) from None

    def _refusal(self, unit: str) -> str:
        if any(_plain(unit) in other._by_spelling for other in Kind):
            return f'unit "{unit}" does not fit here'
        close = difflib.get_close_matches(_plain(unit), self._by_spelling, n=1)
        return f'unit "{unit}" is not known' + (f' (did you mean "{close[0]}"?)' if close else "")


def _plain(unit: str) -> str:
    return "".join(unit.split()).casefold()


class UnreadableQuantityError(ValueError):
    """The text is not a number with a fitting unit; says what would be."""

    def __init__(self, value: object, kind: Kind, reason: str) -> None:
        super().__init__(value, kind, reason)
        self.value, self.kind, self.reason = value, kind, reason

    @property
    def mend(self) -> str:
        """What to write instead."""
        units = " or ".join(dict.fromkeys([*self.kind.shown.values()]))
        return f'write a number with its unit, such as {units}; for example "{self.kind.example}"'

    def __str__(self) -> str:
        return f"{self.reason}; {self.mend}"


def read(value: object, kind: Kind) -> float:
    """Return ``value`` ("10 mph") in the unit used inside for ``kind`` (m/s for a speed).

    Raises ``UnreadableQuantityError`` for a bare number, an unknown unit or a unit of another kind.
    """
    if isinstance(value, bool) or not isinstance(value, str | int | float):
        raise UnreadableQuantityError(value, kind, "this is not a quantity")
    match = _NUMBER_AND_UNIT.fullmatch(str(value))
    if match is None:
        raise UnreadableQuantityError(value, kind, "this does not start with a number")
    number, unit = match[1], match[2].strip()
    if not unit:
        raise UnreadableQuantityError(value, kind, "a bare number has no unit")
    if re.search("^[,.']|^[0-9]| [0-9]", unit):
        reason = "this is not one number and one unit (decimals take a point)"
        raise UnreadableQuantityError(value, kind, reason)
    inside = convert(float(number), unit, kind)
    if not abs(inside) < 1e12:  # also catches a number too long for a float
        raise UnreadableQuantityError(value, kind, "the number is out of all reason")
    return inside


def convert(number: float, unit: str, kind: Kind) -> float:
    """Return ``number`` of ``unit`` in the unit used inside for ``kind``.

    Raises ``UnreadableQuantityError`` when the unit is unknown or of another kind.
    """
    scale = kind.scale(unit)
    return (number - scale.zero) * scale.factor


def amount(inside: float, kind: Kind, system: System) -> float:
    """Return a value held inside (SI) as a number of the unit shown in ``system``."""
    scale = kind.scale(kind.shown[system])
    return inside / scale.factor + scale.zero


_WORDS = {"degF": "°F", "degC": "°C", "deg": "°", "W/m2": "W/m²"}


def show(inside: float, kind: Kind, system: System, decimals: int | None = None) -> str:
    """Return a value held inside (SI) as the grower reads it: ``"10 mph"``, ``"85 °F"``."""
    shown = kind.shown[system]
    places = kind.decimals if decimals is None else decimals
    word = _WORDS.get(shown, shown)
    gap = "" if word in {"%", "°"} else " "
    return f"{amount(inside, kind, system):.{places}f}{gap}{word}"


@dataclass(frozen=True)
class Written:
    """Pydantic annotation: the value is written as text with a unit and held as an SI float.

    ``least`` and ``most`` (inside units) bound what is believed at all.
    """

    kind: Kind
    least: float
    most: float

    def _read(self, value: object) -> float:
        inside = read(value, self.kind)
        if not self.least <= inside <= self.most:
            raise UnbelievableQuantityError(str(value), self)
        return inside

    def __get_pydantic_core_schema__(
        self, source: object, handler: GetCoreSchemaHandler
    ) -> core_schema.CoreSchema:
        return core_schema.no_info_plain_validator_function(self._read)

    def __get_pydantic_json_schema__(
        self, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        return {
            "type": "string",
            "pattern": r"^\s*[-+]?[0-9.]+([eE][-+]?[0-9]+)?\s*[^0-9\s].*$",
            "examples": [self.kind.example],
            "$comment": self.kind.inside,
        }


@dataclass(frozen=True)
class UnbelievableQuantityError(ValueError):
    """The quantity is readable and cannot be meant."""

    value: str
    written: Written

    def _bound(self, inside: float) -> str:
        match = _NUMBER_AND_UNIT.fullmatch(self.value)
        unit = match[2].strip() if match else self.written.kind.inside
        scale = self.written.kind.scale(unit)
        return f"{inside / scale.factor + scale.zero:.4g} {unit}"

    @property
    def reason(self) -> str:
        """What is wrong with it."""
        w = self.written
        return f"is outside what is believed, {self._bound(w.least)} to {self._bound(w.most)}"

    @property
    def mend(self) -> str:
        """What to do."""
        return "check the number and its unit"

    def __str__(self) -> str:
        return f"{self.reason}; {self.mend}"


# What a farm file's models are made of. The widest bounds are only there to catch a wrong unit or
# a slipped decimal point; where a quantity means something narrower, its model says so.
Speed = Annotated[float, Written(Kind.SPEED, 0, 40)]
Temperature = Annotated[float, Written(Kind.TEMPERATURE, -40, 60)]
TemperatureStep = Annotated[float, Written(Kind.TEMPERATURE_STEP, 0, 40)]
SmallLength = Annotated[float, Written(Kind.SMALL_LENGTH, 0.1, 3)]
Volume = Annotated[float, Written(Kind.VOLUME, 1, 100_000)]
Carrier = Annotated[float, Written(Kind.CARRIER, 15, 1500)]
Duration = Annotated[float, Written(Kind.DURATION, 0, 14 * 86_400)]
Angle = Annotated[float, Written(Kind.ANGLE, 0, 180)]
Pressure = Annotated[float, Written(Kind.PRESSURE, 2e4, 2e6)]
Percent = Annotated[float, Written(Kind.PERCENT, 0, 100)]
