"""Doses as labels state them: an amount of product an area, kept in the label's own units."""

import math
import re
from dataclasses import dataclass
from typing import Annotated, Self

from pydantic import AfterValidator, WithJsonSchema
from pydantic_core import PydanticCustomError

from watcher.i18n.message import say
from watcher.units import Kind

_FILLS_ML = {
    "fl oz": 29.5735295625,
    "pt": 473.176473,
    "qt": 946.352946,
    "gal": 3785.411784,
    "mL": 1.0,
    "L": 1000.0,
}
_WEIGHS_G = {"oz": 28.349523125, "lb": 453.59237, "g": 1.0, "kg": 1000.0}
# US measures, and the avoirdupois pound, as defined by NIST Handbook 44, appendix C.
AMOUNT_UNITS = (*_FILLS_ML, *_WEIGHS_G)
_EXAMPLE = "22 fl oz/acre"
_SIGNIFICANT = 4
_ROUNDED = 1e-3
"""Conversions of one dose into other units are written to three or four figures."""


class UnreadableDoseError(ValueError):
    """The text is not an amount an area; says what would be."""

    mend = say(
        'write amount, unit and area, such as "{example}" or "1.5 L/ha"; units: {units}',
        example=_EXAMPLE,
        units=", ".join(AMOUNT_UNITS),
    )

    def __init__(self, text: str) -> None:
        super().__init__(f'"{text}" is not an amount an area; {self.mend}')


class UnlikeDosesError(ValueError):
    """One dose is a volume and the other a weight: neither is the larger one."""


@dataclass(frozen=True)
class Dose:
    """So much of a product on so much ground."""

    amount: float
    unit: str
    """One of ``AMOUNT_UNITS``."""
    area_m2: float
    """The ground the amount is for: an acre, a hectare."""

    @classmethod
    def read(cls, text: str) -> Self:
        """Read ``"22 fl oz/acre"``. Raises UnreadableDoseError."""
        match = re.fullmatch(r"\s*([0-9]+\.?[0-9]*|\.[0-9]+)\s*([A-Za-z ]+?)\s*/\s*(\S+)\s*", text)
        units = {unit.casefold(): unit for unit in AMOUNT_UNITS}
        if match is None or match[2].casefold() not in units:
            raise UnreadableDoseError(text)
        try:
            area_m2 = Kind.AREA.scale(match[3]).factor
        except ValueError:
            raise UnreadableDoseError(text) from None
        return cls(float(match[1]), units[match[2].casefold()], area_m2)

    def over(self, most: Self) -> bool:
        """Return whether this is more on an area than another dose. Raises UnlikeDosesError."""
        for units in (_FILLS_ML, _WEIGHS_G):
            if self.unit in units and most.unit in units:
                own, other = (d.amount * units[d.unit] / d.area_m2 for d in (self, most))
                return own > other * (1.0 + _ROUNDED)
        raise UnlikeDosesError

    def on(self, area_m2: float) -> str:
        """Return how much an area takes, to four figures: ``"880.0 fl oz"``."""
        total = self.amount * area_m2 / self.area_m2
        figures = math.floor(math.log10(total)) + 1 if total > 0 else 1
        return f"{total:.{max(0, _SIGNIFICANT - figures)}f} {self.unit}"


def _checked(text: str) -> str:
    try:
        Dose.read(text)
    except UnreadableDoseError:
        raise PydanticCustomError("dose", "Input should be an amount an area") from None
    return text


DoseText = Annotated[
    str,
    AfterValidator(_checked),
    WithJsonSchema({"type": "string", "examples": [_EXAMPLE]}),
]
"""A dose as written, checked that it can be read."""
