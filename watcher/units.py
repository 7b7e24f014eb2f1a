"""Quantities written with their unit ("10 mph") ⇄ SI floats.

SI inside, the grower's units at every edge: this module is the edge. Everything else in the
package handles bare floats whose unit is in their name (``wind_m_s``, ``carrier_l_ha``).
"""

import re
from dataclasses import dataclass
from enum import Enum
from typing import Annotated, Any, Literal

import pint
from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import core_schema

System = Literal["us", "metric"]

_NUMBER_AND_UNIT = re.compile(r"\s*([-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)\s*(\S.*?)?\s*")
_STEP_UNITS = {"degC": "delta_degC", "degF": "delta_degF", "K": "delta_degC"}
_SPELLINGS = {"°C": "degC", "°F": "degF", "°": "deg", "%": "percent", "hPa": "hectopascal"}


class Kind(Enum):
    """A quantity a grower writes: the unit used inside, examples, and the units shown."""

    def __init__(self, inside: str, us: str, metric: str, decimals: int, example: str) -> None:
        self.inside = inside
        self.shown: dict[str, str] = {"us": us, "metric": metric}
        self.decimals = decimals
        self.example = example

    SPEED = ("m/s", "mph", "km/h", 0, "10 mph")
    TEMPERATURE = ("degC", "degF", "degC", 0, "85 degF")
    # A difference has no offset of 32: kept apart from TEMPERATURE on purpose.
    TEMPERATURE_STEP = ("delta_degC", "delta_degF", "delta_degC", 1, "8 delta_degC")
    LENGTH = ("m", "ft", "m", 0, "30 ft")
    SMALL_LENGTH = ("m", "in", "cm", 0, "20 in")
    AREA = ("m**2", "acre", "hectare", 0, "40 acre")
    VOLUME = ("L", "gal", "L", 0, "1000 gal")
    CARRIER = ("L/hectare", "gal/acre", "L/hectare", 0, "15 gal/acre")
    FLOW = ("L/min", "gal/min", "L/min", 2, "0.4 gal/min")
    DURATION = ("s", "h", "h", 1, "4 h")
    ANGLE = ("deg", "deg", "deg", 0, "30 deg")
    PRESSURE = ("Pa", "psi", "bar", 0, "40 psi")
    RAIN_RATE = ("mm/h", "in/h", "mm/h", 2, "0.5 mm/h")
    PERCENT = ("percent", "percent", "percent", 0, "40 %")
    IRRADIANCE = ("W/m**2", "W/m**2", "W/m**2", 0, "500 W/m**2")


@dataclass(frozen=True)
class UnreadableQuantityError(ValueError):
    """The text is not a number with a fitting unit; says what would be."""

    value: object
    kind: Kind
    reason: str

    def __str__(self) -> str:
        return f'{self.reason}; write a number with its unit, for example "{self.kind.example}"'


def _registry() -> pint.UnitRegistry[Any]:
    registry: pint.UnitRegistry[Any] = pint.UnitRegistry()
    # Fields are measured in international acres; the library's default is the US survey acre
    # (4 parts in a million larger).
    registry.define("acre = 4046.8564224 * meter ** 2")
    return registry


_units = _registry()


def read(value: object, kind: Kind) -> float:
    """Return ``value`` ("10 mph") in the unit used inside for ``kind`` (m/s for a speed).

    Raises ``UnreadableQuantityError`` for a bare number, an unknown unit or a unit of another kind.
    """
    if not isinstance(value, str):
        raise UnreadableQuantityError(value, kind, "a bare number has no unit")
    match = _NUMBER_AND_UNIT.fullmatch(value)
    if match is None:
        raise UnreadableQuantityError(value, kind, "this does not start with a number")
    number, unit = match.groups()
    if unit is None:
        raise UnreadableQuantityError(value, kind, "a bare number has no unit")
    return convert(float(number), unit, kind)


def convert(number: float, unit: str, kind: Kind) -> float:
    """Return ``number`` of ``unit`` in the unit used inside for ``kind``.

    Raises ``UnreadableQuantityError`` when the unit is unknown or of another kind.
    """
    unit = _SPELLINGS.get(unit, unit)
    if kind is Kind.TEMPERATURE_STEP:
        unit = _STEP_UNITS.get(unit, unit)
    try:
        return float(_units.Quantity(number, unit).to(kind.inside).magnitude)
    except (pint.UndefinedUnitError, pint.DefinitionSyntaxError, ValueError) as error:
        raise UnreadableQuantityError(unit, kind, f'unit "{unit}" is not known') from error
    except pint.DimensionalityError as error:
        raise UnreadableQuantityError(unit, kind, f'unit "{unit}" does not fit here') from error
    except Exception as error:  # the parser raises bare token errors on stray signs
        raise UnreadableQuantityError(unit, kind, f'unit "{unit}" is not readable') from error


def amount(inside: float, kind: Kind, system: System) -> float:
    """Return a value held inside (SI) as a number of the unit shown in ``system``."""
    shown = kind.shown[system]
    return float(_units.Quantity(inside, kind.inside).to(shown).magnitude)


_WORDS = {
    "degF": "°F",
    "degC": "°C",
    "delta_degF": "°F",
    "delta_degC": "°C",
    "percent": "%",
    "deg": "°",
    "hectare": "ha",
    "L/hectare": "L/ha",
    "W/m**2": "W/m²",
}


def show(inside: float, kind: Kind, system: System, decimals: int | None = None) -> str:
    """Return a value held inside (SI) as the grower reads it: ``"10 mph"``, ``"85 °F"``."""
    shown = kind.shown[system]
    places = kind.decimals if decimals is None else decimals
    word = _WORDS.get(shown, shown)
    gap = "" if word in {"%", "°", "°F", "°C"} else " "
    return f"{amount(inside, kind, system):.{places}f}{gap}{word}"


@dataclass(frozen=True)
class Written:
    """Pydantic annotation: the value is written as text with a unit and held as an SI float."""

    kind: Kind

    def __get_pydantic_core_schema__(
        self, source: object, handler: GetCoreSchemaHandler
    ) -> core_schema.CoreSchema:
        return core_schema.no_info_plain_validator_function(lambda value: read(value, self.kind))

    def __get_pydantic_json_schema__(
        self, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        return {
            "type": "string",
            "pattern": r"^\s*[-+]?[0-9.]+([eE][-+]?[0-9]+)?\s*[^0-9\s].*$",
            "examples": [self.kind.example],
        }


# What a farm file's models are made of.
Speed = Annotated[float, Written(Kind.SPEED)]
Temperature = Annotated[float, Written(Kind.TEMPERATURE)]
TemperatureStep = Annotated[float, Written(Kind.TEMPERATURE_STEP)]
Length = Annotated[float, Written(Kind.LENGTH)]
SmallLength = Annotated[float, Written(Kind.SMALL_LENGTH)]
Volume = Annotated[float, Written(Kind.VOLUME)]
Carrier = Annotated[float, Written(Kind.CARRIER)]
Flow = Annotated[float, Written(Kind.FLOW)]
Duration = Annotated[float, Written(Kind.DURATION)]
Angle = Annotated[float, Written(Kind.ANGLE)]
Pressure = Annotated[float, Written(Kind.PRESSURE)]
Percent = Annotated[float, Written(Kind.PERCENT)]
RainRate = Annotated[float, Written(Kind.RAIN_RATE)]
