"""The lines of evidence for a temperature inversion over the ground, each on its own.

Each is published, takes its own quantities and gives a ``Sign``: a finding at every time, with a
stability class where its scheme has one. UNKNOWN where it has nothing to go by. Winds are 10 m
winds. How the lines combine is in ``inversion``.
"""

from dataclasses import dataclass
from enum import IntEnum
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from watcher.weather import sun
from watcher.weather.stability import (
    DRY_LAPSE_K_M,
    Classes,
    Stability,
    direction_class,
    net_radiation_index,
    srdt_class,
    turner_class,
)

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Findings = NDArray[np.int8]


class Finding(IntEnum):
    """What a line of evidence, or all together, says of an inversion."""

    UNKNOWN = -1
    NONE = 0
    POSSIBLE = 1
    LIKELY = 2
    MEASURED = 3


class Sign(NamedTuple):
    """What one line of evidence says at each time."""

    finding: Findings
    stability: Classes | None = None

    def classes(self, count: int) -> Classes:
        """Return the classes of ``count`` times; UNKNOWN where its scheme has none."""
        unknown = np.full(count, Stability.UNKNOWN, dtype=np.int8)
        return unknown if self.stability is None else self.stability


@dataclass(frozen=True)
class Daylight:
    """The sun at each time. ``night`` is Turner's: an hour longer than dark at either end."""

    elevation_deg: Floats
    hours_since_sunrise: Floats
    hours_to_sunset: Floats
    dark: Bools
    night: Bools

    @classmethod
    def of(cls, *, times: ArrayLike, latitude: ArrayLike, longitude: ArrayLike) -> "Daylight":
        """Work the sun out once for all lines; where it does not set, below 10 degrees is night."""
        elevation = sun.elevation(times=times, latitude=latitude, longitude=longitude)
        since = sun.hours_since_sunrise(times=times, latitude=latitude, longitude=longitude)
        to = sun.hours_to_sunset(times=times, latitude=latitude, longitude=longitude)
        dark = elevation < sun.SET_ELEVATION_DEG
        beside = (since <= _TURNER_NIGHT_H) | (to <= _TURNER_NIGHT_H)
        unset = (np.isnan(since) | np.isnan(to)) & (elevation < _LOW_SUN_DEG)
        return cls(elevation, since, to, dark, dark | beside | unset)


# UNKNOWN, A to G. E is slightly stable, F and G are moderately to strongly so.
_OF_CLASS = np.array([-1, 0, 0, 0, 0, 1, 2, 2], dtype=np.int8)

# A wind that stays above 11 km/h mixes the night air, one below 3 km/h is still.
_MIXING_M_S, _STILL_M_S = 11.0 / 3.6, 3.0 / 3.6
_LIGHT_M_S = 2.0  # the lowest wind row of Pasquill's table
_BREAKING_M_S = 1.8  # 3 mph at 2 m over grass is 1.8 m/s at 10 m
_BREAKING_RISE_K = 3.0 / 1.8  # 3 degF

_TURNER_NIGHT_H = 1.0
# Sources differ: from 1-2 h before sunset, or detectable 3-4 h before. Here 2, in light air 3.
_EVENING_H, _EVENING_IN_LIGHT_AIR_H = 2.0, 3.0
_MORNING_LEAST_H, _MORNING_H = 1.0, 2.0
# Twice the longest break time stated (a choice): a morning still cold then is merely cold.
_MORNING_LATEST_H = 4.0
# About where the sun stands an hour from setting (a choice, for where it does not set).
_LOW_SUN_DEG = 10.0

# Net radiation that stands for Turner's clear and cloudy night (common practice, no source: a clear
# night loses 60 to 90 W/m2, an overcast one 10 to 20).
_CLEAR_LOSS_W_M2, _CLOUDY_LOSS_W_M2 = -40.0, -10.0

_BELOW_ALL_K = 1000.0
# What a pair of thermometers may differ by unasked: the accuracy EPA-454/R-99-005 asks of one.
PAIR_UNCERTAINTY_K = 0.1


def gradient(
    *,
    temp_c: ArrayLike,
    temp_upper_c: ArrayLike,
    height_m: ArrayLike,
    upper_height_m: ArrayLike,
    uncertainty_k: float = PAIR_UNCERTAINTY_K,
) -> Sign:
    """Judge by the temperature at two heights: MEASURED where the upper one is warmer at all.

    NONE where it is colder by more than ``uncertainty_k`` and by the dry adiabatic lapse (within
    that uncertainty): well-mixed or overturning air. Between the two the air is stable, though not
    inverted: POSSIBLE. Heights that are missing, or the wrong way round, are UNKNOWN.
    """
    rise = np.asarray(temp_upper_c, dtype=np.float64) - np.asarray(temp_c, dtype=np.float64)
    layer = np.asarray(upper_height_m, dtype=np.float64) - np.asarray(height_m, dtype=np.float64)
    mixed = (rise < -uncertainty_k) & (rise + DRY_LAPSE_K_M * layer <= uncertainty_k)
    known = ~np.isnan(rise) & (layer > 0)
    return _sign([~known, rise > 0, mixed], [Finding.UNKNOWN, Finding.MEASURED, Finding.NONE])


def sky(
    *,
    wind_m_s: ArrayLike,
    cloud_pct: ArrayLike,
    daylight: Daylight,
    ceiling_m: ArrayLike = np.nan,
) -> Sign:
    """Judge by cloud, sun and wind, Turner (1964). A night of unknown cloud is read as clear.

    By day the scheme knows no stable class whatever the cloud, so there the finding needs none. An
    overcast night is neutral under 7000 ft; where the height is not known it counts as cloudy.
    """
    wind, cloud = np.asarray(wind_m_s, np.float64), np.asarray(cloud_pct, np.float64)
    classes = turner_class(
        wind_m_s=wind,
        index=net_radiation_index(
            elevation_deg=daylight.elevation_deg,
            night=daylight.night,
            cloud_pct=np.where(daylight.night & np.isnan(cloud), 0.0, cloud),
            ceiling_m=ceiling_m,
        ),
    )
    by_day = ~daylight.night & ~np.isnan(daylight.elevation_deg) & (wind >= 0)
    return Sign(np.where(by_day, np.int8(Finding.NONE), _OF_CLASS[classes]), classes)


def radiation(
    *, wind_m_s: ArrayLike, solar_w_m2: ArrayLike, net_w_m2: ArrayLike, daylight: Daylight
) -> Sign:
    """Judge by the radiation: net with wind at any hour, else global with wind (SRDT) by day.

    The net radiation takes the place of cloud in Turner's night columns: a loss of 40 W/m2 or more
    is a clear night's, one of 10 or less an overcast one's. By day too: a surface that loses heat
    cools the air, over snow even at noon.
    """
    net = np.asarray(net_w_m2, dtype=np.float64)
    index = np.where(net <= _CLEAR_LOSS_W_M2, -2.0, np.where(net < _CLOUDY_LOSS_W_M2, -1.0, 0.0))
    by_loss = turner_class(wind_m_s=wind_m_s, index=np.where(np.isnan(net), np.nan, index))
    by_day = srdt_class(
        wind_m_s=wind_m_s, night=daylight.night, solar_w_m2=solar_w_m2, difference_k=np.nan
    )
    loses = by_loss > Stability.D
    classes = np.where(loses | daylight.night, by_loss, _where_sun_is_known(by_day, daylight))
    # Without a loss of heat net radiation says no more than "not stable": the class is the sun's.
    gains = (by_loss != Stability.UNKNOWN) & ~loses
    return Sign(np.where(gains, np.int8(Finding.NONE), _OF_CLASS[classes]), classes)


def direction(
    *,
    wind_m_s: ArrayLike,
    wind_spread_deg: ArrayLike,
    height_m: ArrayLike,
    roughness_m: ArrayLike,
    daylight: Daylight,
) -> Sign:
    """Judge by the direction's standard deviation, adjusted by the wind (EPA tables 6-8, 6-9)."""
    classes = direction_class(
        spread_deg=wind_spread_deg,
        wind_m_s=wind_m_s,
        night=daylight.night,
        height_m=height_m,
        roughness_m=roughness_m,
    )
    classes = _where_sun_is_known(classes, daylight)
    return Sign(_OF_CLASS[classes], classes)


def clock(*, wind_m_s: ArrayLike, daylight: Daylight) -> Sign:
    """Judge by the hour and the wind alone, as extension services teach it.

    POSSIBLE under 11 km/h from two hours before sunset (three in light air) to an hour after
    sunrise; LIKELY in the dark under 3 km/h. Where the sun does not set, while it is low.
    """
    wind = np.asarray(wind_m_s, dtype=np.float64)
    onset = np.where(wind < _LIGHT_M_S, _EVENING_IN_LIGHT_AIR_H, _EVENING_H)
    hours = daylight.night | (daylight.hours_to_sunset <= onset)
    unknown = ~(wind >= 0) | np.isnan(daylight.elevation_deg)
    return _sign(
        [unknown, daylight.dark & (wind < _STILL_M_S), ~hours | (wind >= _MIXING_M_S)],
        [Finding.UNKNOWN, Finding.LIKELY, Finding.NONE],
    )


def warming(
    *,
    times: ArrayLike,
    temp_c: ArrayLike,
    wind_m_s: ArrayLike,
    longitude: float,
    daylight: Daylight,
) -> Sign:
    """Judge the morning by its temperature since the night's low. All arrays [T], times rising.

    For up to four hours after sunrise an inversion is POSSIBLE under 11 km/h until the temperature
    has risen 3 degF (1.7 K) above its low since noon of the day before, and until there is also
    3 mph of wind an hour after sunrise, or two hours have passed. A temperature that is missing,
    now or earlier, counts as no rise. Source of the rise: extension training (value from memory).
    """
    wind = np.asarray(wind_m_s, dtype=np.float64)
    since = daylight.hours_since_sunrise
    risen = rise_since_low(times=times, temp_c=temp_c, longitude=longitude) > _BREAKING_RISE_K
    stirred = (since >= _MORNING_LEAST_H) & (wind >= _BREAKING_M_S)
    broken = risen & (stirred | (since >= _MORNING_H))
    morning = since <= _MORNING_LATEST_H
    unknown = ~(wind >= 0) | np.isnan(daylight.elevation_deg)
    return _sign(
        [unknown, ~morning | broken | (wind >= _MIXING_M_S)], [Finding.UNKNOWN, Finding.NONE]
    )


def rise_since_low(*, times: ArrayLike, temp_c: ArrayLike, longitude: float) -> Floats:
    """Return by how much the temperature stands above its low since the last solar noon, K. [T]

    Missing ones are left out of the low, which can only make the rise smaller.
    """
    t, temp = np.asarray(times, dtype=np.float64), np.asarray(temp_c, dtype=np.float64)
    noon = sun.solar_noon(times=t, longitude=longitude)
    last_noon = np.where(t >= noon, noon, noon - 86_400.0)
    # Noon itself wanders by seconds from day to day; a new one is half a day away at least.
    # Where scenarios are laid end to end, time goes back and each starts afresh.
    back = np.diff(t, prepend=t[:1]) < 0
    day = np.cumsum((np.diff(last_noon, prepend=last_noon[:1]) > 43_200.0) | back)
    # A running minimum that starts afresh each day: every day is moved below all earlier ones.
    fall = _BELOW_ALL_K * day
    low: Floats = np.minimum.accumulate(np.where(np.isnan(temp), np.inf, temp) - fall) + fall
    return temp - low


def _where_sun_is_known(classes: Classes, daylight: Daylight) -> Classes:
    return np.where(np.isnan(daylight.elevation_deg), np.int8(Stability.UNKNOWN), classes)


def _sign(cases: list[Bools], findings: list[Finding]) -> Sign:
    """Return the finding of the first case that holds, POSSIBLE where none does."""
    return Sign(np.select(cases, [np.int8(f) for f in findings], np.int8(Finding.POSSIBLE)))
