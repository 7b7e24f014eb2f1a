"""Quantities written with their unit ("10 mph") ⇄ SI floats.

SI inside, the grower's units at every edge: this module is the edge. Everything else in the
package handles bare floats whose unit is in their name (``wind_m_s``, ``carrier_l_ha``).

What a unit is worth and which spellings are read, and where, is listed here: a units library takes
``"15 in"`` for a carrier (litres a hectare are a length) and ``"3 ac"`` for a speed, and costs the
running watch 11 MiB and 0.1 s at the start. The tests hold every spelling against one. Values are
exact by definition (NIST SP 811, appendix B), save for the inch of mercury, which is conventional.
"""

import difflib
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum
from functools import cached_property
from typing import Annotated, Any, Literal, NamedTuple

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import core_schema

from watcher.i18n.message import Message, any_of, joined, say

System = Literal["us", "metric"]

_NUMBER_AND_UNIT = re.compile(r"\s*([-+]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][-+]?[0-9]+)?)(.*)")
_LONGEST = 100
"""Characters of a quantity, or of its unit; to look for what is meant in more takes too long."""


class _Scale(NamedTuple):
    """A unit as a straight line: inside = (number - zero) * factor."""

    factor: float
    zero: float = 0.0


_Units = dict[str, _Scale]
"""From a spelling to its unit on the scale that all units of a table share."""


def _units(*rows: tuple[float, str] | tuple[_Scale, str]) -> _Units:
    """Return what every spelling is worth; each row's first spelling is suggested."""
    return {
        spelling: unit if isinstance(unit, _Scale) else _Scale(unit)
        for unit, spellings in rows
        for spelling in spellings.split()
    }


def _per(over: _Units, under: _Units) -> _Units:
    """Return units such as "gal/acre"."""
    return {f"{a}/{b}": _Scale(over[a].factor / under[b].factor) for a in over for b in under}


_FOOT, _INCH, _MILE = 0.3048, 0.0254, 1609.344
_ACRE = 43_560 * _FOOT**2
"""The international one, in which fields are sold: the US survey one is 4e-6 larger. [m2]"""
_GALLON = 3.785411784
"""Of the US. [L]"""
_GRAVITY = 9.80665

_TIME = _units(
    (1, "s sec second seconds"),
    (60, "min minute minutes"),
    (3600, "h hr hour hours"),
    (86_400, "d day days"),
)
_LENGTH = _units(
    (1, "m metre metres meter meters"),
    (_FOOT, "ft foot feet"),
    (_INCH, "in inch inches"),
    (0.01, "cm"),
    (0.001, "mm"),
    (1000, "km"),
    (_MILE, "mi mile miles"),
    (3 * _FOOT, "yd yard yards"),
)
_AREA = _units(
    (1, "m2 m**2"),
    (_ACRE, "acre ac acres"),
    (10_000, "ha hectare hectares"),
)
_VOLUME = _units(
    (1, "L litre litres liter liters"),
    (_GALLON, "gal gallon gallons"),
    (1000, "m3"),
)
_SPEED = _units(
    (1, "m/s"),
    (_MILE / 3600, "mph mi/h"),
    (1 / 3.6, "km/h kph"),
    (1852 / 3600, "kn kt kts knot knots"),
    (_FOOT, "ft/s"),
)
_STEP = _units(
    (1, "K degC delta_degC °C C Cel kelvin"),
    (5 / 9, "degF delta_degF °F F"),
)
_TEMPERATURE = _units(
    (1, "degC °C C Cel celsius"),
    (_Scale(5 / 9, 32), "degF °F F fahrenheit"),
    (_Scale(1, 273.15), "K kelvin"),
)
_PRESSURE = _units(
    (1, "Pa"),
    (100, "hPa hectopascal mbar mb"),
    (1000, "kPa"),
    (100_000, "bar"),
    (0.45359237 * _GRAVITY / _INCH**2, "psi"),
    (13_595.1 * _GRAVITY * _INCH, "inHg"),
)
_ANGLE = _units((1, "deg ° degree degrees"), (180 / math.pi, "rad"))
_PERCENT = _units((1, "% percent pct"), (100, "dimensionless"))
_IRRADIANCE = _units((1, "W/m2 W/m² W/m^2 W/m**2"))


class Kind(Enum):
    """A quantity a grower writes: the units read and shown, and an example. SI inside."""

    def __init__(
        self, inside: str, shown: tuple[str, str], decimals: int, example: str, units: _Units
    ) -> None:
        self.inside = inside
        self.shown: Mapping[str, str] = {"us": shown[0], "metric": shown[1]}
        self.decimals = decimals
        self.example = example
        self.units = units

    SPEED = ("m/s", ("mph", "km/h"), 0, "10 mph", _SPEED)
    TEMPERATURE = ("degC", ("degF", "degC"), 0, "85 degF", _TEMPERATURE)
    # A difference has no offset of 32: kept apart from TEMPERATURE on purpose.
    TEMPERATURE_STEP = ("K", ("degF", "degC"), 1, "8 K", _STEP)
    LENGTH = ("m", ("ft", "m"), 0, "30 ft", _LENGTH)
    DISTANCE = ("m", ("mi", "km"), 1, "2 mi", _LENGTH)
    SMALL_LENGTH = ("m", ("in", "cm"), 0, "20 in", _LENGTH)
    AREA = ("m2", ("acre", "ha"), 0, "40 acre", _AREA)
    VOLUME = ("L", ("gal", "L"), 0, "1000 gal", _VOLUME)
    CARRIER = (
        "L/ha",
        ("gal/acre", "L/ha"),
        0,
        "15 gal/acre",
        _per(_VOLUME, _AREA) | _units((_GALLON / _ACRE, "gpa")),
    )
    FLOW = (
        "L/min",
        ("gal/min", "L/min"),
        2,
        "0.4 gal/min",
        _per(_VOLUME, _TIME) | _units((_GALLON / 60, "gpm")),
    )
    DURATION = ("s", ("h", "h"), 1, "4 h", _TIME)
    ANGLE = ("deg", ("deg", "deg"), 0, "30 deg", _ANGLE)
    PRESSURE = ("Pa", ("psi", "bar"), 0, "40 psi", _PRESSURE)
    RAIN_RATE = ("mm/h", ("in/h", "mm/h"), 2, "0.5 mm/h", _per(_LENGTH, _TIME))
    RAIN = ("mm", ("in", "mm"), 2, "12 mm", _LENGTH)
    PERCENT = ("%", ("%", "%"), 0, "40 %", _PERCENT)
    IRRADIANCE = ("W/m2", ("W/m2", "W/m2"), 0, "500 W/m2", _IRRADIANCE)

    @cached_property
    def _by_spelling(self) -> _Units:
        one = self.units[self.inside].factor
        return {
            _plain(spelling): _Scale(unit.factor / one, unit.zero)
            for spelling, unit in self.units.items()
        }

    def scale(self, unit: str) -> _Scale:
        """Return how a unit, in any case and spacing, relates to the one used inside."""
        scale = self._by_spelling.get(_plain(unit))
        if scale is None:
            unit = unit[:_LONGEST]
            raise UnreadableQuantityError(unit, self, self._refusal(unit))
        return scale

    def _refusal(self, unit: str) -> Message:
        if any(_plain(unit) in other._by_spelling for other in Kind):
            return say('unit "{unit}" does not fit here', unit=unit)
        close = difflib.get_close_matches(_plain(unit), self._by_spelling, n=1)
        if close:
            return say(
                'unit "{unit}" is not known (did you mean "{close}"?)', unit=unit, close=close[0]
            )
        return say('unit "{unit}" is not known', unit=unit)

    def unit(self, system: System) -> str:
        """Return the unit a grower reads: ``"mph"``, ``"°F"``."""
        return _WORDS.get(self.shown[system], self.shown[system])

    def show(self, inside: float, system: System, decimals: int | None = None) -> str:
        """Return a value held inside (SI) as the grower reads it: ``"10 mph"``, ``"85 °F"``."""
        places = self.decimals if decimals is None else decimals
        word = self.unit(system)
        gap = "" if word in {"%", "°"} else " "
        return f"{amount(inside, self, system):.{places}f}{gap}{word}"


def _plain(unit: str) -> str:
    return "".join(unit.split()).casefold()


class UnreadableQuantityError(ValueError):
    """The text is not a number with a fitting unit; says what would be."""

    def __init__(self, value: object, kind: Kind, reason: Message) -> None:
        super().__init__(value, kind, reason)
        self.value, self.kind, self.reason = value, kind, reason

    @property
    def mend(self) -> Message:
        """What to write instead."""
        return say(
            'write a number with its unit, such as {units}; for example "{example}"',
            units=any_of([joined([unit]) for unit in dict.fromkeys(self.kind.shown.values())]),
            example=self.kind.example,
        )

    def __str__(self) -> str:
        return f"{self.reason}; {self.mend}"


def read(value: object, kind: Kind) -> float:
    """Return ``value`` ("10 mph") in the unit used inside for ``kind`` (m/s for a speed).

    Raises ``UnreadableQuantityError`` for a bare number, an unknown unit or a unit of another kind.
    """
    if isinstance(value, bool) or not isinstance(value, str | int | float):
        raise UnreadableQuantityError(value, kind, say("this is not a quantity"))
    text = str(value)
    if len(text) > _LONGEST:
        reason = say("this is over {count} characters", count=_LONGEST)
        raise UnreadableQuantityError(text[:_LONGEST], kind, reason)
    match = _NUMBER_AND_UNIT.fullmatch(text)
    if match is None:
        raise UnreadableQuantityError(value, kind, say("this does not start with a number"))
    number, unit = match[1], match[2].strip()
    if not unit:
        raise UnreadableQuantityError(value, kind, say("a bare number has no unit"))
    if re.search("^[,.']|^[0-9]| [0-9]", unit):
        reason = say("this is not one number and one unit (decimals take a point)")
        raise UnreadableQuantityError(value, kind, reason)
    inside = convert(float(number), unit, kind)
    if not abs(inside) < 1e12:  # also catches a number too long for a float
        raise UnreadableQuantityError(value, kind, say("the number is out of all reason"))
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
    def reason(self) -> Message:
        """What is wrong with it."""
        return say(
            "is outside what is believed, {least} to {most}",
            least=self._bound(self.written.least),
            most=self._bound(self.written.most),
        )

    @property
    def mend(self) -> Message:
        """What to do."""
        return say("check the number and its unit")

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
