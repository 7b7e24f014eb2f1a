"""The hours ahead begun at what a station measures: its error now fades into the forecast.

What a forecast is off by now lasts: ``x(t) = f(t) + share * exp(-age / lasts) * error``. Carried
whole it would be worse than the forecast alone. Shares and times were chosen on half a month of
archived forecasts of two places (June 2021) and scored on the other half; a national system hands
its measurements over to its model in two to six hours as well (Haiden 2011, as summarised).

An error is told in steps, finer than it is known, and fades from the hour it was measured in: so
the hours ahead are the same from one reading to the next while nothing has come about, for
whoever works them out, and are judged again only where they are other (``judge.present``).

For the one series in which the hours ahead are judged and shown. Scenarios are moved to the station
by ``errors.shifted`` instead, from the forecasts as they were given, so nothing is corrected twice.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from watcher.weather.air import dew_point, humidity
from watcher.weather.series import Floats, Seconds, WeatherSeries
from watcher.weather.wind import CALM_M_S, direction_mean

RECENT_S = 3600
"""The error now is the median of so long, so that a gust front that passes is not carried on."""
_TEN_MINUTES_S = 600
_HOUR_S = 3600
_MOST_GUST_OFF = np.log(2.0)


@dataclass(frozen=True)
class Fading:
    """How much of an error counts at once, and in how long that falls to a third (e). [s]"""

    share: float
    lasts_s: float

    def left(self, times: Seconds, measured_at: float) -> Floats:
        """Return how much of an error is left at times after it was measured."""
        return np.asarray(self.share * np.exp(-(times - measured_at) / self.lasts_s))


_STEP_M_S, _STEP_K, _STEP_DEG = 0.2, 0.2, 5.0
_STEP_OF_GUST = 0.05
"""Of the logarithm: a twentieth."""
WIND = Fading(0.7, 2 * _HOUR_S)
TEMPERATURE = Fading(0.85, 6 * _HOUR_S)
DEW_POINT = Fading(0.9, 5 * _HOUR_S)


def begun_at_station(
    ahead: WeatherSeries, foretold: WeatherSeries, measured: Mapping[str, WeatherSeries]
) -> dict[str, Floats]:
    """Return the quantities of the hours ahead that a station's last hour changes.

    ``foretold`` is the forecast as it was given, from before now on. ``measured`` has by quantity
    the recent usable readings of the station that speaks for it, its winds as at the height of the
    others. What is missing in either leaves a quantity as it is foretold. Speed and direction are
    taken apart: as vectors, two winds of opposite directions would make a calm of each other. A
    gust is never lowered below the wind, nor by more than the wind is; without a measured one it
    rises with the wind, and stays.
    """
    return _air(ahead, foretold, measured) | _wind(ahead, foretold, measured)


@dataclass(frozen=True)
class _Error:
    """By how much a forecast is off now, and when that was measured on the whole."""

    value: float
    at: float


def _error(
    foretold: WeatherSeries,
    values: Floats,
    measured: WeatherSeries | None,
    found: Floats | None,
    *,
    step: float,
) -> _Error | None:
    """Return what readings are more than a forecast's values; None where nothing tells it."""
    if measured is None or found is None:
        return None
    off = found - _between_hours(foretold.times, values, measured.times)
    known = np.isfinite(off)
    if not known.any():
        return None
    return _Error(
        _stepped(float(np.median(off[known])), step),
        _stepped(float(measured.times[known].mean()), _HOUR_S),
    )


def _stepped(value: float, step: float) -> float:
    return step * float(np.floor(value / step + 0.5))


def _between_hours(hours: Seconds, values: Floats, times: Seconds) -> Floats:
    """Return hourly values at times between them; NaN in gaps and beyond the ends."""
    if hours.size < 2:
        return np.full(times.shape, np.nan)
    after = np.clip(np.searchsorted(hours, times, side="right"), 1, hours.size - 1)
    start, end = hours[after - 1], hours[after]
    part = (times - start) / (end - start)
    inside = (part >= 0) & (part <= 1) & ((end - start <= _HOUR_S) | (part == 0))
    between = values[after - 1] * (1 - part) + np.where(part == 0, 0.0, values[after] * part)
    return np.where(inside, between, np.nan)


def _air(
    ahead: WeatherSeries, foretold: WeatherSeries, measured: Mapping[str, WeatherSeries]
) -> dict[str, Floats]:
    warm, moist = measured.get("temp_c"), measured.get("humidity_pct")
    temp, changed = ahead.temp_c, {}
    error = _error(
        foretold, foretold.temp_c, warm, None if warm is None else warm.temp_c, step=_STEP_K
    )
    if error is not None:
        temp = temp + error.value * TEMPERATURE.left(ahead.times, error.at)
        changed["temp_c"] = temp
    dew = _dew_point(ahead)
    error = _error(
        foretold,
        _dew_point(foretold),
        moist,
        None if moist is None else _dew_point(moist),
        step=_STEP_K,
    )
    if error is not None:
        dew = dew + error.value * DEW_POINT.left(ahead.times, error.at)
    if changed or error is not None:
        dew = np.minimum(dew, temp)
        moister = humidity(temp_c=temp, dew_point_c=dew)
        known = np.isfinite(ahead.humidity_pct) & np.isfinite(moister)
        changed["humidity_pct"] = np.where(known, moister, ahead.humidity_pct)
        changed["dew_point_c"] = np.where(np.isfinite(ahead.dew_point_c), dew, np.nan)
    return changed


def _dew_point(series: WeatherSeries) -> Floats:
    worked_out = dew_point(temp_c=series.temp_c, humidity_pct=series.humidity_pct)
    return np.where(np.isfinite(series.dew_point_c), series.dew_point_c, worked_out)


def _wind(
    ahead: WeatherSeries, foretold: WeatherSeries, measured: Mapping[str, WeatherSeries]
) -> dict[str, Floats]:
    mast = measured.get("wind_m_s")
    error = _error(
        foretold,
        foretold.wind_m_s,
        mast,
        None if mast is None else mast.wind_m_s,
        step=_STEP_M_S,
    )
    if error is None:
        return {}
    wind = np.maximum(ahead.wind_m_s + error.value * WIND.left(ahead.times, error.at), 0.0)
    return {
        "wind_m_s": wind,
        "gust_m_s": _gust(ahead, foretold, measured.get("gust_m_s"), wind),
        "wind_from_deg": _direction(ahead, foretold, measured.get("wind_from_deg")),
    }


def _gust(
    ahead: WeatherSeries, foretold: WeatherSeries, mast: WeatherSeries | None, wind: Floats
) -> Floats:
    """Gusts by the factor that the highest of ten minutes are off by in the middle.

    These are of less than the hour that a forecast's gust is of: what they lower is bounded.
    """
    risen = ahead.gust_m_s + np.maximum(wind - ahead.wind_m_s, 0.0)
    highs = None if mast is None else _highs(mast)
    off = _error(
        foretold,
        _log(foretold.gust_m_s),
        highs,
        None if highs is None else _log(highs.gust_m_s),
        step=_STEP_OF_GUST,
    )
    if off is None:
        return np.asarray(np.maximum(risen, wind))
    by = float(np.clip(off.value, -_MOST_GUST_OFF, _MOST_GUST_OFF))
    lowered = np.minimum(wind / np.maximum(ahead.wind_m_s, CALM_M_S), 1.0)
    factor = np.maximum(np.exp(by * WIND.left(ahead.times, off.at)), lowered)
    return np.asarray(np.maximum(ahead.gust_m_s * factor, wind))


def _highs(mast: WeatherSeries) -> WeatherSeries:
    """Return the highest gust of each ten minutes, at its last reading."""
    known = mast.at(np.isfinite(mast.gust_m_s))
    last = np.append(np.diff(known.times // _TEN_MINUTES_S) > 0, True)[: len(known)]
    starts = np.flatnonzero(np.append(True, last[:-1])[: len(known)])
    highest = np.maximum.reduceat(known.gust_m_s, starts) if starts.size else known.gust_m_s
    return known.at(last).having(gust_m_s=highest)


def _log(gust_m_s: Floats) -> Floats:
    """Return the logarithm of gusts; next to none count as those of a calm."""
    return np.asarray(np.log(np.maximum(gust_m_s, CALM_M_S)))


def _direction(ahead: WeatherSeries, foretold: WeatherSeries, mast: WeatherSeries | None) -> Floats:
    """Directions turned by what the mean one is off by, the less the later."""
    if mast is None:
        return ahead.wind_from_deg
    blowing = mast.at(np.isfinite(mast.wind_from_deg) & ~(mast.wind_m_s < CALM_M_S))
    if not len(blowing) or not len(foretold):
        return ahead.wind_from_deg
    middle = _stepped(float(blowing.times.mean()), _HOUR_S)
    away_s = np.abs(foretold.times - middle)
    was = foretold.wind_from_deg[away_s.argmin()]
    turn = (float(direction_mean(blowing.wind_from_deg)) - was + 180.0) % 360.0 - 180.0
    turn = _stepped(turn, _STEP_DEG)
    if not np.isfinite(turn) or away_s.min() > _HOUR_S:
        return ahead.wind_from_deg
    return np.asarray((ahead.wind_from_deg + turn * WIND.left(ahead.times, middle)) % 360.0)
