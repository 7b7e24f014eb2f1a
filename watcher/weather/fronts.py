"""The signature of a gust front: wind, direction, temperature and pressure moving together.

The cold air of a shower or storm spreads along the ground as a density current. Over its head the
pressure rises first, then the wind turns and freshens and it grows cooler (Charba 1974; Wakimoto
1982; from memory): seen before the wind is at its peak, often before it has grown at all.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from watcher.weather.series import Floats, WeatherSeries
from watcher.weather.trailing import mean_of, means, median_of, plausible_wind
from watcher.weather.wind import (
    CALM_M_S,
    LEAST_SHARE,
    angle_between,
    direction_mean,
    eastward_northward,
    speed_from,
    yamartino,
)

Bools = NDArray[np.bool_]


@dataclass(frozen=True)
class FrontSign:
    """What counts as a move: at least ``least``, and ``FAR`` times what the minutes before did.

    ``noise`` is the least spread the minutes before are credited with (sensor and rounding).
    """

    least: float
    noise: float


# Tuned on simulated days; the smallest cold pools counted as such cool by about 2 K (Kirsch et al.
# 2021, Mon. Wea. Rev. 149), and their weight on a barometer is tens of pascals.
FAR = 3.0
WIND = FrontSign(least=1.5, noise=0.3)  # m/s
TURN = FrontSign(least=40.0, noise=10.0)  # degrees
COOLING = FrontSign(least=0.8, noise=0.15)  # K
PRESSURE = FrontSign(least=25.0, noise=6.0)  # Pa

# A light wind turns at every whim.
_STEADY_M_S = 1.0
_SHORTEST_STEP_S = 60
_GAP_S = 120  # between "now" and "before": a front need not come in one step
_BEFORE_S = 1020
_FEWEST_STEPS = 4


@dataclass(frozen=True)
class Front:
    """Whether a front's signature is there, and which quantities moved. All arrays [T].

    Moves are of the last minute (or reading, if those are rarer) against the quarter of an hour
    before, NaN where missing.
    """

    warns: Bools
    unknown: Bools
    wind_rose: Bools
    wind_turned: Bools
    air_cooled: Bools
    pressure_rose: Bools
    wind_rise_m_s: Floats
    turn_deg: Floats
    cooling_k: Floats
    pressure_rise_pa: Floats


def gust_front(series: WeatherSeries, *, step_s: int) -> Front:
    """Tell where at least two of wind, direction, temperature and pressure moved as in a front.

    ``step_s`` is the time between readings (10 s to 5 min). Any two of the four do, so one bad
    reading of one quantity cannot raise it. Unknown where fewer than two can be judged.
    """
    width = max(step_s, _SHORTEST_STEP_S)
    wind = plausible_wind(series.wind_m_s)
    rise, rose = _moved(_steps(series, wind, width), WIND)
    turn, turned = _turned(series, wind, width)
    cooling, cooled = _moved(_steps(series, -series.temp_c, width), COOLING)
    lift, lifted = _moved(_steps(series, series.pressure_pa, width), PRESSURE)
    warns = np.sum([rose, turned, cooled, lifted], axis=0) >= 2
    judged = np.isfinite([rise, cooling, lift]).sum(axis=0) + _vane_seen(series, wind, width)
    unknown = ~warns & (judged < 2)
    return Front(warns, unknown, rose, turned, cooled, lifted, rise, turn, cooling, lift)


def _steps(series: WeatherSeries, values: Floats, width_s: int) -> tuple[Floats, Floats]:
    """Return the newest step [T] and those well before it [T, n]."""
    gap = 1 + _GAP_S // width_s
    count = gap + max(_BEFORE_S // width_s, _FEWEST_STEPS)
    steps = means(times=series.times, values=values, width_s=width_s, count=count)
    return steps[:, 0], steps[:, gap:]


def _moved(steps: tuple[Floats, Floats], sign: FrontSign) -> tuple[Floats, Bools]:
    """Return how far a quantity has risen and whether that counts."""
    now, before = steps
    usual = median_of(before)
    spread = np.sqrt(mean_of((before - usual[:, None]) ** 2))
    # Rounded, so that the level a quantity stands at cannot decide a tie.
    rise = np.where(_enough(before), np.round(now - usual, 6), np.nan)
    return rise, _far(rise, spread, sign)


def _turned(series: WeatherSeries, wind: Floats, width_s: int) -> tuple[Floats, Bools]:
    """Return how far the wind has turned, either way, and whether that counts."""
    # Unit vectors: a speed read wrongly must not turn the wind.
    from_deg = np.where(wind >= CALM_M_S, series.wind_from_deg, np.nan)
    east, north = eastward_northward(wind_m_s=1.0, from_deg=from_deg)
    (east_now, east_before), (north_now, north_before) = (
        _steps(series, component, width_s) for component in (east, north)
    )
    _, now = speed_from(east_m_s=east_now, north_m_s=north_now)
    _, before = speed_from(east_m_s=east_before, north_m_s=north_before)
    turn = np.round(angle_between(now, direction_mean(before, least_share=0.5)), 6)
    steady = _steps(series, wind, width_s)[0] >= _STEADY_M_S
    return turn, _far(turn, yamartino(before, least_share=0.5), TURN) & steady


def _vane_seen(series: WeatherSeries, wind: Floats, width_s: int) -> Bools:
    """Return where a turn could have been seen: a calm has no direction, but it is no gap."""
    seen = np.where(wind < CALM_M_S, 0.0, series.wind_from_deg + 0.0 * wind)
    now, before = _steps(series, seen, width_s)
    return np.isfinite(now) & _enough(before)


def _far(move: Floats, spread: Floats, sign: FrontSign) -> Bools:
    with np.errstate(invalid="ignore"):
        return (move >= sign.least) & (move >= FAR * np.hypot(spread, sign.noise))


def _enough(before: Floats) -> Bools:
    known: Floats = np.isfinite(before).mean(axis=1)
    return known >= LEAST_SHARE
