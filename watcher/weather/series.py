"""The one weather shape: observations, forecasts, replays and scenarios are all a WeatherSeries."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Self

import numpy as np
from numpy.typing import ArrayLike, NDArray

from watcher.weather.quantities import COLUMNS
from watcher.weather.wind_profile import GRASS_M

Floats = NDArray[np.float64]
Seconds = NDArray[np.int64]
Bound = tuple[Floats, Floats]
"""The least and the most that a value may be, at every time; NaN where a side is not known."""

ALL_TIMES = slice(None)
QUANTITIES = COLUMNS
"""The arrays of a ``WeatherSeries``: one for every quantity of the catalogue."""


@dataclass(frozen=True)
class Site:
    """Where and how high the weather was measured or is forecast for.

    Degrees north and east, metres; heights are above ground.
    """

    latitude: float
    longitude: float
    elevation_m: float = 0.0
    wind_height_m: float = 10.0
    temp_height_m: float = 2.0
    temp_upper_height_m: float = np.nan
    canopy_m: float = GRASS_M
    """Height of what grows under and around the wind sensor."""


def _not_given() -> Floats:
    return np.empty(0)


def _given(bound: Bound) -> bool:
    return not (np.isnan(bound[0]).all() and np.isnan(bound[1]).all())


@dataclass(frozen=True)
class WeatherSeries:
    """Weather at one site: UTC times and one float64 array a quantity, NaN for missing.

    ``times`` are epoch seconds, strictly increasing. Every other array has the same length; one
    that is not given is all NaN. A value stands from its own time until the next one.

    Scenarios are laid end to end: ``runs`` of them, each of the same times.

    ========================  =====================================================================
    ``wind_m_s``              sustained wind, 10-minute mean where there is one
    ``gust_m_s``              highest 3 s gust of the period that ends at the time
    ``wind_from_deg``         direction the wind comes FROM, true north, 0-360
    ``wind_spread_deg``       standard deviation of the direction over 10 minutes
    ``temp_c``                air temperature at ``site.temp_height_m``
    ``temp_upper_c``          air temperature at ``site.temp_upper_height_m``
    ``humidity_pct``          relative humidity over water, 0-100
    ``dew_point_c``           dew point
    ``pressure_pa``           station pressure (not reduced to sea level)
    ``rain_mm_h``             rain rate over the period that starts at the time
    ``rain_chance_pct``       probability of rain in that period
    ``cloud_pct``             total cloud cover, 0-100
    ``solar_w_m2``            global radiation on the horizontal
    ``net_w_m2``              net radiation, positive downward
    ``soil_temp_10cm_c``      temperature of the soil, 10 cm (4 in) deep
    ``leaf_wet_pct``          how wet a sensor shaped like a leaf is: 0 dry, 100 wet all over
    ``ceiling_m``             height over ground of the lowest cloud that covers more than half
    ========================  =====================================================================

    ``bounds`` holds, by quantity, what its value lies between where it is not known exactly: the
    gust of a report that tells none, a wind beyond what a report can tell, the rain of an hour that
    was given for six. Where a bound is given it is judged, whatever value stands beside it.
    """

    times: Seconds
    site: Site
    source: str
    wind_m_s: Floats = field(default_factory=_not_given)
    gust_m_s: Floats = field(default_factory=_not_given)
    wind_from_deg: Floats = field(default_factory=_not_given)
    wind_spread_deg: Floats = field(default_factory=_not_given)
    temp_c: Floats = field(default_factory=_not_given)
    temp_upper_c: Floats = field(default_factory=_not_given)
    humidity_pct: Floats = field(default_factory=_not_given)
    dew_point_c: Floats = field(default_factory=_not_given)
    pressure_pa: Floats = field(default_factory=_not_given)
    rain_mm_h: Floats = field(default_factory=_not_given)
    rain_chance_pct: Floats = field(default_factory=_not_given)
    cloud_pct: Floats = field(default_factory=_not_given)
    solar_w_m2: Floats = field(default_factory=_not_given)
    net_w_m2: Floats = field(default_factory=_not_given)
    soil_temp_10cm_c: Floats = field(default_factory=_not_given)
    leaf_wet_pct: Floats = field(default_factory=_not_given)
    ceiling_m: Floats = field(default_factory=_not_given)
    bounds: Mapping[str, Bound] = field(default_factory=dict)
    runs: int = 1

    def __post_init__(self) -> None:
        times = np.asarray(self.times, dtype=np.int64)
        if times.ndim != 1 or self.runs < 1 or times.size % self.runs:
            raise ValueError(
                f"times of {self.source!r} must be one array of {self.runs} equal runs"
            )
        every = times.reshape(self.runs, -1)
        if np.any(np.diff(every[0]) <= 0):
            raise ValueError(f"times of {self.source!r} must be one strictly increasing array")
        if np.any(every != every[0]):
            raise ValueError(f"every run of {self.source!r} must have the same times")
        object.__setattr__(self, "times", times)
        for name in QUANTITIES:
            values = np.asarray(getattr(self, name), dtype=np.float64)
            if values.size == 0 and times.size:
                values = np.full(times.shape, np.nan)
            if values.shape != times.shape:
                raise ValueError(
                    f"{name} of {self.source!r} has shape {values.shape}, times {times.shape}"
                )
            object.__setattr__(self, name, values)
        object.__setattr__(self, "bounds", {n: b for n, b in self.bounds.items() if _given(b)})

    def __len__(self) -> int:
        return int(self.times.size)

    @classmethod
    def of(
        cls,
        times: ArrayLike,
        site: Site,
        source: str,
        quantities: Mapping[str, ArrayLike],
        bounds: Mapping[str, Bound] | None = None,
    ) -> Self:
        """Build a series from a mapping of quantity name to values."""
        unknown = set(quantities) - set(QUANTITIES)
        if unknown:
            raise ValueError(f"unknown quantities {sorted(unknown)}; known: {list(QUANTITIES)}")
        arrays: dict[str, Any] = {
            name: np.asarray(v, dtype=np.float64) for name, v in quantities.items()
        }
        whole = np.asarray(times, dtype=np.int64)
        return cls(whole, site, source, **arrays, bounds=bounds or {})

    def quantities(self) -> dict[str, Floats]:
        """Return every quantity by name."""
        return {name: getattr(self, name) for name in QUANTITIES}

    def at(self, index: slice | NDArray[np.bool_] | NDArray[np.intp]) -> Self:
        """Return the same site's series at the given indices only; of one run alone."""
        if self.runs > 1:
            raise ValueError(f"{self.source!r} has {self.runs} runs; only one is cut by an index")
        arrays: dict[str, Any] = {name: values[index] for name, values in self.quantities().items()}
        bounds = {n: (least[index], most[index]) for n, (least, most) in self.bounds.items()}
        if isinstance(index, slice) and (index.step is None or index.step > 0):
            return self._cut(self.times[index], arrays, bounds)
        return type(self)(self.times[index], self.site, self.source, **arrays, bounds=bounds)

    def _cut(self, times: Seconds, arrays: dict[str, Any], bounds: Mapping[str, Bound]) -> Self:
        """Return times in a row of this series without checking them again: that takes as long as
        all else a station's reading asks of a series."""
        part = object.__new__(type(self))
        given = {name: bound for name, bound in bounds.items() if _given(bound)}
        same = {"times": times, "site": self.site, "source": self.source, "runs": self.runs}
        vars(part).update(same, **arrays, bounds=given)
        return part

    def part(self, times: slice) -> Self:
        """Return the series of some of its times; all of them where none are left out."""
        return self if times == ALL_TIMES else self.at(times)

    def having(self, **quantities: Floats) -> Self:
        """Return the same series with these quantities in place of its own."""
        new: dict[str, Any] = {name: np.asarray(a, np.float64) for name, a in quantities.items()}
        for name, values in new.items():
            if name not in QUANTITIES or values.shape != self.times.shape:
                raise ValueError(f"{name} of {self.source!r} has shape {values.shape}, or is none")
        return self._cut(self.times, self.quantities() | new, self.bounds)

    def bounded(self, bounds: Mapping[str, Bound]) -> Self:
        """Return the same series with these bounds in place of its own."""
        return self._cut(self.times, self.quantities(), bounds)

    def unbounded(self, names: Collection[str], where: NDArray[np.bool_]) -> Self:
        """Return the series without the bounds of some quantities at some times [T]."""
        cut = {
            name: (np.where(where, np.nan, least), np.where(where, np.nan, most))
            for name, (least, most) in self.bounds.items()
            if name in names
        }
        return self.bounded({**self.bounds, **cut}) if cut else self

    def bound(self, name: str) -> Bound:
        """Return the bounds of a quantity; all NaN where none are given."""
        none = np.full(self.times.shape, np.nan)
        return self.bounds.get(name, (none, none))

    def between(self, start: int, end: int) -> Self:
        """Return the part with ``start <= time < end`` (epoch seconds)."""
        first, last = np.searchsorted(self.times, [start, end])
        return self.at(slice(int(first), int(last)))


def epoch(moment: datetime) -> int:
    """Return an aware datetime as whole epoch seconds; a naive one is an error."""
    if moment.tzinfo is None:
        raise ValueError(f"{moment} has no time zone")
    return int(moment.timestamp())
