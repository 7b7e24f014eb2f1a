"""Wind and weather in sentences of NMEA 0183: MWD, MWV, MDA and XDR; a checksum is required."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import pynmea2

from watcher.sources.stations.rows import number
from watcher.weather.quantities import in_unit

_SPEEDS = {"K": "km/h", "M": "m/s", "N": "kn", "S": "mph"}
_TRANSDUCERS = {
    ("C", "C"): "degC",
    ("H", "P"): "percent",
    ("P", "B"): "bar",
    ("P", "P"): "Pa",
    ("A", "D"): "deg",
    ("S", "K"): "km/h",
    ("S", "M"): "m/s",
    ("S", "N"): "kn",
}
"""Unit by type and unit of a transducer. NMEA 0183's own, but for speeds, which makers add."""

Sample = dict[str, float]


@dataclass(frozen=True)
class Sentences:
    """Reads sentences of one instrument.

    ``mast_points_deg``: where its zero mark points, from true north; None when unknown, and then
    an angle relative to it is no direction. ``transducers``: quantities by the names XDR gives.
    """

    mast_points_deg: float | None = None
    transducers: Mapping[str, str] = field(default_factory=dict)

    def sample(self, line: bytes) -> Sample:
        """Return what a line says of the weather, in SI; nothing if it speaks of other things.

        Raises ``ValueError`` for a line that is no sentence, or damaged.
        """
        try:
            read = pynmea2.parse(line.decode("ascii").strip(), check=True)
        except pynmea2.SentenceTypeError:  # its checksum is right, and it is not for us
            return {}
        match read:
            case pynmea2.MWV():
                values = self._relative_wind(read)
            case pynmea2.MWD():
                values = _true_wind(read)
            case pynmea2.MDA():
                values = _composite(read)
            case pynmea2.XDR():
                values = self._transducers(read)
            case _:
                values = {}
        return {name: value for name, value in values.items() if value is not None}

    def _relative_wind(self, read: pynmea2.MWV) -> dict[str, float | None]:
        # "T" is meant for moving ships: worked out from the ship's speed, and no true direction.
        if read.status != "A" or read.reference != "R":
            return {}
        angle, mast = _number(read.wind_angle), self.mast_points_deg
        return {
            "wind_m_s": _si("wind", read.wind_speed, _SPEEDS.get(read.wind_speed_units)),
            "wind_from_deg": None if angle is None or mast is None else (angle + mast) % 360.0,
        }

    def _transducers(self, read: pynmea2.XDR) -> dict[str, float | None]:
        values = {}
        for index in range(read.num_transducers):
            one = read.get_transducer(index)
            quantity = self.transducers.get(one.id)
            if quantity is not None:
                unit = _TRANSDUCERS.get((one.type, one.units))
                if unit is None:
                    raise ValueError(f"transducer {one.id!a} is of no known type and unit")
                values[in_unit(quantity, unit).quantity.column] = _si(quantity, one.value, unit)
        return values


def _true_wind(read: pynmea2.MWD | pynmea2.MDA) -> dict[str, float | None]:
    metres = _si("wind", read.wind_speed_meters, "m/s" if read.meters == "M" else None)
    knots = _si("wind", read.wind_speed_knots, "kn" if read.knots == "N" else None)
    return {
        "wind_m_s": knots if metres is None else metres,
        "wind_from_deg": _number(read.direction_true) if read.true == "T" else None,
    }


def _composite(read: pynmea2.MDA) -> dict[str, float | None]:
    bar = _si("pressure", read.b_pressure_bar, "bar" if read.bars == "B" else None)
    inches = _si("pressure", read.b_pressure_inch, "inHg" if read.inches == "I" else None)
    return _true_wind(read) | {
        "temp_c": _si("temperature", read.air_temp, "degC" if read.a_celsius == "C" else None),
        "dew_point_c": _si("dew_point", read.dew_point, "degC" if read.d_celsius == "C" else None),
        "humidity_pct": _number(read.rel_humidity),
        "pressure_pa": inches if bar is None else bar,
    }


def _si(quantity: str, text: object, unit: str | None) -> float | None:
    value = _number(text)
    return None if value is None or unit is None else in_unit(quantity, unit).si(value)


def _number(text: object) -> float | None:
    """Return a field's number: the library gives a decimal, text it could not read, or None."""
    return number(str(text))
