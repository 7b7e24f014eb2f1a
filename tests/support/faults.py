"""Gross faults put into real readings at a known rate: what broken sensors and lines really do.

Each fault returns the values a broken source would give in place of good ones. Sizes are chosen
beforehand, from a good deal beyond what weather does within an hour.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from watcher.weather.series import Floats, WeatherSeries

Fault = Callable[[np.random.Generator, WeatherSeries, np.ndarray], Floats]


def _somewhere(rng: np.random.Generator, at: np.ndarray, low: float, high: float) -> Floats:
    return rng.uniform(low, high, at.size)


def _off(name: str, low: float, high: float) -> Fault:
    """A spike, up or down, by so much."""

    def fault(rng: np.random.Generator, series: WeatherSeries, at: np.ndarray) -> Floats:
        sign = rng.choice([-1.0, 1.0], at.size)
        off: Floats = getattr(series, name)[at] + sign * _somewhere(rng, at, low, high)
        return off

    return fault


def _instead(low: float, high: float) -> Fault:
    """A number that has nothing to do with the weather."""
    return lambda rng, _series, at: _somewhere(rng, at, low, high)


@dataclass(frozen=True)
class Kind:
    """A kind of fault of one quantity."""

    name: str
    quantity: str
    fault: Fault


HOURLY = (
    Kind("spike of 20 to 40 K", "temp_c", _off("temp_c", 20.0, 40.0)),
    Kind("no sensor (-999)", "temp_c", _instead(-999.0, -999.0)),
    Kind("open line (85 degC)", "temp_c", _instead(85.0, 85.0)),
    Kind("spike of 20 to 40 K", "dew_point_c", _off("dew_point_c", 20.0, 40.0)),
    Kind("over a hundred", "humidity_pct", _instead(101.0, 255.0)),
    Kind("spike of 55 to 90 %", "humidity_pct", _off("humidity_pct", 55.0, 90.0)),
    Kind("spike of 20 to 100 hPa", "pressure_pa", _off("pressure_pa", 2000.0, 10_000.0)),
    Kind("in hPa, not in Pa", "pressure_pa", lambda _r, s, at: s.pressure_pa[at] / 100.0),
    Kind("counter run over", "wind_m_s", _instead(76.0, 6553.5)),
    Kind("below nothing", "wind_m_s", _instead(-40.0, -0.5)),
    Kind("beyond the compass", "wind_from_deg", _instead(361.0, 6553.5)),
    Kind(
        "gust under the mean",
        "gust_m_s",
        lambda r, s, at: s.wind_m_s[at] - r.uniform(1, 9, at.size),
    ),
    Kind("gust run over", "gust_m_s", _instead(130.0, 6553.5)),
)

MINUTELY = (
    *(k for k in HOURLY if "spike" not in k.name and k.quantity not in {"gust_m_s", "dew_point_c"}),
    Kind("spike of 5 to 20 K", "temp_c", _off("temp_c", 5.0, 20.0)),
    Kind("spike of 20 to 60 %", "humidity_pct", _off("humidity_pct", 20.0, 60.0)),
    Kind("spike of 5 to 50 hPa", "pressure_pa", _off("pressure_pa", 500.0, 5000.0)),
    Kind(
        "spike of 25 to 60 m/s",
        "wind_m_s",
        lambda r, s, at: s.wind_m_s[at] + r.uniform(25, 60, at.size),
    ),
)


def with_faults(
    series: WeatherSeries, kinds: Sequence[Kind], rate: float, rng: np.random.Generator
) -> tuple[WeatherSeries, dict[str, dict[str, np.ndarray]]]:
    """Return the series with faults, and where: indices by quantity and name of the kind.

    ``rate`` is the share of each quantity's given values that are made faulty.
    """
    values = {name: array.copy() for name, array in series.quantities().items()}
    where: dict[str, dict[str, np.ndarray]] = {}
    for quantity in dict.fromkeys(kind.quantity for kind in kinds):
        of_it = [kind for kind in kinds if kind.quantity == quantity]
        given = np.flatnonzero(np.isfinite(values[quantity]) & np.isfinite(series.wind_m_s))
        chosen = rng.choice(given, round(rate * given.size), replace=False)
        for kind, at in zip(of_it, np.array_split(chosen, len(of_it)), strict=True):
            values[quantity][at] = kind.fault(rng, series, at)
            where.setdefault(quantity, {})[kind.name] = np.sort(at)
    return series.having(**values), where
