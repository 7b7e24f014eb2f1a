"""Values that look, after three readings, as if they were sent in another unit than stated.

A hint for whoever sets a station up, in the answer to its first posts: they may lie within every
range (20 degrees Celsius taken for Fahrenheit make a plausible frost). What is not believed any
more is decided by ``unit_suspicion``, from a day of it and against every witness.
"""

from collections.abc import Mapping

import numpy as np

from watcher.i18n.message import Message, say
from watcher.weather.series import Floats, WeatherSeries

LEAST_VALUES = 3
"""Fewer values are a hiccup, as for findings."""
_NEAR_K, _FAR_K = 4.0, 8.0
"""How close to what is expected the other unit brings a temperature, and how far from it the stated
one is (common practice, no source)."""
_EXPECTED_AS = {"temp_c": "temp_c", "temp_upper_c": "temp_c", "dew_point_c": "dew_point_c"}
_PRESSURE_UNITS = {"hPa": 100.0, "kPa": 1000.0, "inHg": 3386.39, "mmHg": 133.322}
_PRESSURES_PA = (56_800.0, 110_000.0)
"""Station pressure where people farm, as quality control has it. [Pa]"""


def suspected(recent: WeatherSeries, expected: Mapping[str, float]) -> dict[str, Message]:
    """Return the quantities of raw recent readings that seem to be in another unit, with the unit.

    ``expected`` is what a witness says of now, by quantity, NaN or left out where there is none.
    """
    found: dict[str, Message] = {}
    for name, values in recent.quantities().items():
        given = values[np.isfinite(values)]
        if given.size < LEAST_VALUES:
            continue
        if name in {"humidity_pct", "cloud_pct"} and _is_share(name, given):
            found[name] = say("a fraction from 0 to 1, not %")
        if name == "pressure_pa":
            found |= _pressure(given)
        if name in _EXPECTED_AS:
            found |= _temperature(name, given, expected.get(_EXPECTED_AS[name], np.nan))
    return found


def _is_share(name: str, given: Floats) -> bool:
    """Air of one per cent humidity is found nowhere; a clear sky is 0 % cloud often."""
    in_parts = name == "humidity_pct" or bool(np.any((given > 0.0) & (given < 1.0)))
    return in_parts and bool(given.max() <= 1.0 and given.min() >= 0.0)


def _pressure(given: Floats) -> dict[str, Message]:
    low, high = _PRESSURES_PA
    middle = float(np.median(given))
    if low <= middle <= high:
        return {}
    fits = [unit for unit, pa in _PRESSURE_UNITS.items() if low <= middle * pa <= high]
    return {"pressure_pa": say("{unit}, not Pa", unit=fits[0])} if fits else {}


def _temperature(name: str, given: Floats, expected: float) -> dict[str, Message]:
    middle = float(np.median(given))
    if not abs(middle - expected) > _FAR_K:  # also where nobody says what to expect
        return {}
    if abs((middle - 32.0) / 1.8 - expected) < _NEAR_K:
        return {name: say("°F sent as °C")}
    if abs(middle * 1.8 + 32.0 - expected) < _NEAR_K:
        return {name: say("°C sent as °F")}
    if abs(middle - 273.15 - expected) < _NEAR_K:
        return {name: say("K sent as °C")}
    return {}
