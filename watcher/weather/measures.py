"""A quantity as a source gives it: in a unit of its own, and rain reported as an amount."""

import re
from dataclasses import dataclass
from typing import Literal

from watcher.i18n.message import say
from watcher.units import Kind, UnreadableQuantityError, convert
from watcher.weather.quantities import BY_NAME
from watcher.weather.quantity import Quantity

ReportedAs = Literal["rate", "amount", "total"]
"""How rain is reported: as a rate, as what fell since the reading before, or as a count that only
grows and now and then begins anew (of a day, of a season, of all tips)."""

RAIN_FELL, RAIN_TOTAL = "rain fell", "rain total"
"""Columns of rain that is no rate: what fell since the reading before, and what was counted."""

_COLUMNS = {"amount": RAIN_FELL, "total": RAIN_TOTAL}
_STEP = re.compile(r"\s*([0-9]+(?:\.[0-9]*)?|\.[0-9]+)\s*([^\s0-9.].*)")
_MM = 1000.0


@dataclass(frozen=True)
class Measure:
    """A quantity as a source gives it. Without a unit every value carries its own.

    A unit may begin with a number: "0.2 mm" is what one tip of a rain gauge is.
    """

    quantity: Quantity
    unit: str | None = None
    reported_as: ReportedAs = "rate"

    @classmethod
    def of(cls, name: str, unit: str | None, reported_as: ReportedAs = "rate") -> "Measure":
        """Return a quantity by its name in the farm file; ``ValueError`` names what cannot be."""
        if name not in BY_NAME:
            raise ValueError(f"quantities.{name} is not known; use {', '.join(BY_NAME)}")
        if reported_as != "rate" and name != "rain":
            raise ValueError(f"quantities.{name}.reported_as: only rain can be {reported_as!r}")
        measure = cls(BY_NAME[name], unit, reported_as)
        if unit is not None:
            try:
                measure.si(1.0)
            except ValueError as error:
                raise ValueError(f"quantities.{name}.unit: {error}") from error
        return measure

    @property
    def column(self) -> str:
        """The name its values have in a row: that of ``WeatherSeries``, or one of rain amounts."""
        return _COLUMNS.get(self.reported_as, self.quantity.column)

    @property
    def kind(self) -> Kind:
        """What units fit it."""
        return self.quantity.kind if self.reported_as == "rate" else Kind.SMALL_LENGTH

    def si(self, value: float) -> float:
        """Return a number of its unit in the unit used inside, rain amounts in mm.

        ``UnreadableQuantityError`` where no unit is given, or one that does not fit.
        """
        if self.unit is None:
            raise UnreadableQuantityError(value, self.kind, say("a bare number has no unit"))
        step, unit = 1.0, self.unit
        counted = _STEP.fullmatch(self.unit)
        if counted is not None:
            step, unit = float(counted[1]), counted[2]
        return self.inside(convert(value * step, unit, self.kind))

    def inside(self, value: float) -> float:
        """Return a value of the unit that its kind has inside as it stands in a row."""
        return value if self.reported_as == "rate" else value * _MM
