"""The limits of quality control, each with where it is published.

WMO: Zahumenský 2004, Guidelines on Quality Control Procedures for Data from Automatic Weather
Stations (CBS/OPAG-IOS/ET AWS-3/Doc. 4(1)). MADIS: NOAA MADIS Meteorological Surface Quality
Control, level 1 validity and temporal consistency. EPA: EPA-454/R-99-005, table 8-4.
"Memory" marks a number not seen in the source itself.
"""

from dataclasses import dataclass

MINUTE_S, HOUR_S = 60, 3600
FOG_PCT = 95.0
"""Humidity and dew point may stand still for hours while the air is saturated (no source)."""
CALM_M_S = 0.5
"""Starting speed of common cups and vanes (no source): below it they stand still by nature."""
DEW_POINT_OVER_K = 0.1
"""How far rounding may lift the dew point over the temperature (no source)."""
GUST_OVER_M_S = 75 * 1852 / 3600
"""Most that a gust may exceed the mean: 75 kt (MesoWest)."""


@dataclass(frozen=True)
class Range:
    """Values outside ``low`` to ``high`` cannot be."""

    quantity: str
    low: float
    high: float
    source: str


@dataclass(frozen=True)
class Step:
    """Most that a value may differ from the last good one.

    ``most`` are (seconds between the two, difference), in between along a straight line. Nothing
    is said of values further apart than the last.
    """

    quantity: str
    most: tuple[tuple[int, float], ...]
    source: str


@dataclass(frozen=True)
class Stuck:
    """A sensor whose values vary by no more than ``least`` within ``window_s`` stands still.

    Not in a window in which the wind stayed at or below ``unless_wind_m_s``, or the humidity at
    or above ``unless_humidity_pct``.
    """

    quantity: str
    least: float
    window_s: int
    source: str
    unless_wind_m_s: float | None = None
    unless_humidity_pct: float | None = None


def _fahrenheit(degrees: float) -> float:
    return (degrees - 32.0) / 1.8


RANGES = (
    Range("wind_m_s", 0.0, 75.0, "WMO"),
    Range("gust_m_s", 0.0, 287 * 0.44704, "MADIS, 287 mph"),
    Range("wind_from_deg", 0.0, 360.0, "WMO, MADIS"),
    Range("wind_spread_deg", 0.0, 180.0, "geometry"),
    Range("temp_c", -80.0, 60.0, "WMO"),
    Range("temp_c", _fahrenheit(-60.0), _fahrenheit(130.0), "MADIS, -60 to 130 °F"),
    Range("temp_upper_c", -80.0, 60.0, "WMO"),
    Range("temp_upper_c", _fahrenheit(-60.0), _fahrenheit(130.0), "MADIS, -60 to 130 °F"),
    Range("dew_point_c", -80.0, 35.0, "WMO"),
    Range("dew_point_c", _fahrenheit(-90.0), _fahrenheit(90.0), "MADIS, -90 to 90 °F"),
    Range("humidity_pct", 0.0, 100.0, "WMO, MADIS"),
    Range("pressure_pa", 50_000.0, 110_000.0, "WMO"),
    Range("pressure_pa", 56_800.0, 110_000.0, "MADIS, station pressure"),
    Range("rain_mm_h", 0.0, 2000.0, "WMO-No. 8, rainfall intensity (memory)"),
    Range("rain_chance_pct", 0.0, 100.0, "by definition"),
    Range("cloud_pct", 0.0, 100.0, "by definition"),
    # Thermopiles read a few W/m² below zero at night; the published low bound is 0.
    Range("solar_w_m2", -10.0, 1600.0, "WMO; low bound: zero offset, no source"),
    Range("net_w_m2", -300.0, 1600.0, "no source"),
)

STEPS = (
    Step("wind_m_s", ((MINUTE_S, 20.0), (HOUR_S, 20.0)), "WMO"),
    Step("temp_c", ((MINUTE_S, 3.0), (HOUR_S, 35 / 1.8)), "WMO; MADIS, 35 °F in an hour"),
    Step("temp_upper_c", ((MINUTE_S, 3.0), (HOUR_S, 35 / 1.8)), "as temp_c"),
    Step("dew_point_c", ((MINUTE_S, 4.0), (HOUR_S, 35 / 1.8)), "WMO (memory); as temp_c"),
    Step("humidity_pct", ((MINUTE_S, 15.0), (HOUR_S, 50.0)), "WMO; MADIS, 50 % in an hour"),
    Step("pressure_pa", ((MINUTE_S, 200.0), (HOUR_S, 1000.0)), "WMO; MADIS, 10 mb in an hour"),
    Step("solar_w_m2", ((MINUTE_S, 800.0),), "WMO"),
)

STUCK = (
    Stuck("wind_m_s", 0.1, 3 * HOUR_S, "EPA", unless_wind_m_s=CALM_M_S),
    Stuck("wind_m_s", 0.5, 12 * HOUR_S, "EPA"),
    Stuck("wind_from_deg", 1.0, 3 * HOUR_S, "EPA"),
    Stuck("wind_from_deg", 10.0, 18 * HOUR_S, "EPA"),
    Stuck("temp_c", 0.5, 12 * HOUR_S, "EPA"),
    # WMO's least variation is meant for one hour, in which a damp calm night stands still by
    # nature: the window here is that of EPA's temperature.
    Stuck("humidity_pct", 1.0, 12 * HOUR_S, "WMO, longer", unless_humidity_pct=FOG_PCT),
    Stuck("dew_point_c", 0.1, 12 * HOUR_S, "WMO, longer", unless_humidity_pct=FOG_PCT),
    Stuck("pressure_pa", 10.0, 12 * HOUR_S, "WMO, longer"),
)
