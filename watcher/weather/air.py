"""Moist air: vapour pressure, dew point, humidity, wet bulb, Delta T, density, pressure.

One formula family throughout, that of WMO-No. 8 (Guide to Instruments and Methods of Observation),
Annex 4.B: it is the one weather stations themselves report by, it has a closed inverse, so that dew
point and humidity undo each other exactly, and its psychrometer equation takes station pressure.

Every function is keyword-only, broadcasts its arguments and gives NaN wherever an argument is NaN
or outside the stated range: -45 to 60 degC, 0 to 100 % humidity, 50 000 to 110 000 Pa. Humidity is
over liquid water below freezing too, as stations and forecasts report it.
"""

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

TEMP_RANGE_C = (-45.0, 60.0)
DEW_POINT_RANGE_C = (-100.0, 60.0)
HUMIDITY_RANGE_PCT = (0.0, 100.0)
PRESSURE_RANGE_PA = (50_000.0, 110_000.0)
ELEVATION_RANGE_M = (-500.0, 11_000.0)

# Magnus form over water: E0 exp(A t / (B + t)), WMO-No. 8 Annex 4.B.
_E0, _A, _B = 611.2, 17.62, 243.12
_A_ICE, _B_ICE = 22.46, 272.62
# Psychrometer coefficient of a ventilated wet bulb covered with water, same annex.
_PSYCHROMETER, _PSYCHROMETER_SLOPE = 6.53e-4, 9.44e-4

_KELVIN = 273.15
_GAS_DRY, _GAS_VAPOUR = 287.05, 461.5  # J/(kg K)
# A dew point reported in tenths may round to just above the temperature: still saturated air.
_ROUNDING_K = 0.05
_BLOCK = 8192


def saturation_vapour_pressure(*, temp_c: ArrayLike) -> Floats:
    """Return the saturation vapour pressure over liquid water, Pa.

    Valid -45 to 60 degC, over supercooled water below 0. Source: WMO-No. 8 Annex 4.B.
    """
    return _over_water(_within(temp_c, TEMP_RANGE_C))


def saturation_vapour_pressure_over_ice(*, temp_c: ArrayLike) -> Floats:
    """Return the saturation vapour pressure over ice, Pa.

    Valid -65 to 0 degC. Source: WMO-No. 8 Annex 4.B.
    """
    t = _within(temp_c, (-65.0, 0.0))
    return _E0 * np.exp(_A_ICE * t / (_B_ICE + t))


def dew_point(*, temp_c: ArrayLike, humidity_pct: ArrayLike) -> Floats:
    """Return the dew point, degC: the exact inverse of ``saturation_vapour_pressure``.

    Humidity of 0 has no dew point: NaN. Results below -45 degC extrapolate the same formula, so
    that ``humidity`` leads back. Source: WMO-No. 8 Annex 4.B.
    """
    t = _within(temp_c, TEMP_RANGE_C)
    h = _within(humidity_pct, HUMIDITY_RANGE_PCT)
    exponent = np.log(np.where(h > 0, h, np.nan) / 100.0) + _A * t / (_B + t)
    return _B * exponent / (_A - exponent)


def humidity(*, temp_c: ArrayLike, dew_point_c: ArrayLike) -> Floats:
    """Return the relative humidity over water, %, of air with this dew point (-100 to 60 degC).

    A dew point above the temperature is NaN; up to 0.05 K above (rounding of a report) is 100 %.
    """
    t = _within(temp_c, TEMP_RANGE_C)
    td = _within(dew_point_c, DEW_POINT_RANGE_C)
    td = np.where(td <= t + _ROUNDING_K, np.minimum(td, t), np.nan)
    return 100.0 * np.exp(_A * td / (_B + td) - _A * t / (_B + t))


def vapour_pressure_deficit(*, temp_c: ArrayLike, humidity_pct: ArrayLike) -> Floats:
    """Return by how much the vapour pressure falls short of saturation over water, Pa."""
    dryness = 1.0 - _within(humidity_pct, HUMIDITY_RANGE_PCT) / 100.0
    return dryness * saturation_vapour_pressure(temp_c=temp_c)


def wet_bulb(*, temp_c: ArrayLike, humidity_pct: ArrayLike, pressure_pa: ArrayLike) -> Floats:
    """Return the wet-bulb temperature, degC; ``pressure_pa`` is the station's, not sea level's.

    Solves the psychrometer equation of WMO-No. 8 Annex 4.B (ventilated bulb) to better than
    1e-4 K. The bulb is covered with liquid water, supercooled below 0 degC: that is what a drop of
    spray is, it leaves no step at 0, and saturated air has wet bulb = temperature at any
    temperature. A bulb coated with ice (same annex) reads -0.15 to +0.35 K beside it.
    """
    return np.asarray(temp_c) - delta_t(
        temp_c=temp_c, humidity_pct=humidity_pct, pressure_pa=pressure_pa
    )


def delta_t(*, temp_c: ArrayLike, humidity_pct: ArrayLike, pressure_pa: ArrayLike) -> Floats:
    """Return Delta T, the wet-bulb depression, K: temperature less ``wet_bulb``, never negative."""
    return _in_blocks(_depression, temp_c, humidity_pct, pressure_pa)


def air_density(*, temp_c: ArrayLike, humidity_pct: ArrayLike, pressure_pa: ArrayLike) -> Floats:
    """Return the density of moist air, kg/m3: ideal gases, dry air and vapour side by side."""
    kelvin = _within(temp_c, TEMP_RANGE_C) + _KELVIN
    vapour = saturation_vapour_pressure(temp_c=temp_c) * (
        _within(humidity_pct, HUMIDITY_RANGE_PCT) / 100.0
    )
    dry = _within(pressure_pa, PRESSURE_RANGE_PA) - vapour
    return dry / (_GAS_DRY * kelvin) + vapour / (_GAS_VAPOUR * kelvin)


def pressure_at(*, elevation_m: ArrayLike) -> Floats:
    """Return the standard atmosphere's pressure, Pa, at -500 to 11 000 m above sea level.

    For a source that gives none: being 4 % off, about as far as weather goes (from memory), moves
    a wet bulb by 0.35 K at most, up to 45 degC. Source: ICAO standard atmosphere, ISO 2533.
    """
    z = _within(elevation_m, ELEVATION_RANGE_M)
    return 101_325.0 * (1.0 - 0.0065 * z / 288.15) ** 5.25588


def _within(value: ArrayLike, bounds: tuple[float, float]) -> Floats:
    x = np.asarray(value, dtype=np.float64)
    return np.where((x >= bounds[0]) & (x <= bounds[1]), x, np.nan)


def _over_water(t: Floats) -> Floats:
    return _E0 * np.exp(_A * t / (_B + t))


def _depression(temp_c: Floats, humidity_pct: Floats, pressure_pa: Floats) -> Floats:
    """Solve e_s(tw) - e = k (t - tw) for t - tw, k = the psychrometer coefficient times pressure.

    Newton's method in Halley's form, cubic, started from the dry bulb. Three steps leave less than
    1e-5 K everywhere in the stated range (a fourth moves nothing above rounding).
    """
    t = _within(temp_c, TEMP_RANGE_C)
    pressure = _within(pressure_pa, PRESSURE_RANGE_PA)
    # The annex multiplies both vapour pressures by the enhancement factor; dividing k is the same.
    enhancement = 1.0016 + 3.15e-8 * pressure - 7.4 / pressure
    per_kelvin = _PSYCHROMETER * pressure / enhancement
    curve = per_kelvin * _PSYCHROMETER_SLOPE
    vapour = _over_water(t) * (_within(humidity_pct, HUMIDITY_RANGE_PCT) / 100.0)
    depression = np.zeros_like(t)
    for _ in range(3):
        tw = t - depression
        inverse = 1.0 / (_B + tw)
        saturation = _E0 * np.exp(_A * tw * inverse)
        growth = _A * _B * inverse * inverse  # d ln e_s / dt
        k = per_kelvin + curve * tw
        excess = saturation - vapour - k * depression
        slope = saturation * growth + k - curve * depression
        half_bend = saturation * growth * (0.5 * growth - inverse) + curve
        depression = depression + excess * slope / (slope * slope - excess * half_bend)
    return np.maximum(depression, 0.0)


def _in_blocks(solve: Callable[..., Floats], *arguments: ArrayLike) -> Floats:
    """Apply ``solve`` block by block: its scratch arrays then stay in the processor's cache."""
    whole = np.broadcast_arrays(*(np.asarray(a, dtype=np.float64) for a in arguments))
    if whole[0].size <= _BLOCK:
        return solve(*whole)
    flat = [a.reshape(-1) for a in whole]
    out = np.empty(whole[0].size)
    for start in range(0, out.size, _BLOCK):
        part = slice(start, start + _BLOCK)
        out[part] = solve(*(a[part] for a in flat))
    return out.reshape(whole[0].shape)
