"""The catalogue of quantities: each is declared here once, and whatever lists them reads it.

Log columns, exports, bins, quality control, names in farm files and readings, pages and charts.
An array of the same name stands in ``WeatherSeries``, so that it can be written ``series.temp_c``.

Limits of quality control are given with where they are published. WMO: Zahumenský 2004, Guidelines
on Quality Control Procedures for Data from Automatic Weather Stations (CBS/OPAG-IOS/ET AWS-3/Doc.
4(1)). MADIS: NOAA MADIS Meteorological Surface Quality Control, level 1 validity and temporal
consistency. EPA: EPA-454/R-99-005, table 8-4. "Memory" marks a number not seen in the source
itself.
"""

from dataclasses import dataclass

import numpy as np

from watcher.i18n.message import say
from watcher.units import Kind, convert
from watcher.weather.quantity import (
    Agreement,
    Average,
    Chart,
    Height,
    Moves,
    Quantity,
    Range,
    Step,
    Stuck,
)
from watcher.weather.wind import CALM_M_S

_MINUTE_S, _HOUR_S = 60, 3600
FOG_PCT = 95.0
"""Humidity and dew point may stand still for hours while the air is saturated (no source)."""


def _fahrenheit(degrees: float) -> float:
    return (degrees - 32.0) / 1.8


_AIR = (
    Range(-80.0, 60.0, "WMO"),
    Range(_fahrenheit(-60.0), _fahrenheit(130.0), "MADIS, -60 to 130 °F"),
)

CATALOGUE = (
    Quantity(
        "wind",
        "wind_m_s",
        Kind.SPEED,
        say("wind"),
        "wind (m/s)",
        ranges=(Range(0.0, 75.0, "WMO"),),
        height=Height.WIND,
        step=Step(((_MINUTE_S, 20.0), (_HOUR_S, 20.0)), "WMO"),
        # In a calm, below the starting speed of common cups, they stand still by nature.
        stuck=(
            Stuck(0.1, 3 * _HOUR_S, "EPA", unless_wind_m_s=CALM_M_S),
            Stuck(0.5, 12 * _HOUR_S, "EPA", unless_wind_m_s=CALM_M_S),
            # A calm may last a winter's night of sixteen hours; a cup that is dead before that is
            # found by its witnesses as soon as a wind blows.
            Stuck(0.5, 24 * _HOUR_S, "EPA, longer"),
        ),
        agreement=Agreement(np.inf, 6.0),
        moves=Moves.TELLING,
        chart=Chart(say("Wind and gust")),
        always_missed=True,
    ),
    Quantity(
        "gust",
        "gust_m_s",
        Kind.SPEED,
        say("gust"),
        "gust (m/s)",
        ranges=(Range(0.0, 287 * 0.44704, "MADIS, 287 mph"),),
        height=Height.WIND,
        average=Average.HIGHEST,
        mean_heading="highest gust (m/s)",
        moves=Moves.TELLING,
        chart=Chart(say("Wind and gust"), "gust"),
        always_missed=True,
    ),
    Quantity(
        "wind_from",
        "wind_from_deg",
        Kind.ANGLE,
        say("wind direction"),
        "wind from (deg true)",
        ranges=(Range(0.0, 360.0, "WMO, MADIS"),),
        height=Height.WIND,
        average=Average.DIRECTION,
        mean_heading="mean direction wind from (deg true)",
        stuck=(Stuck(1.0, 3 * _HOUR_S, "EPA"), Stuck(10.0, 18 * _HOUR_S, "EPA")),
        moves=Moves.TELLING,
        chart=Chart(say("Wind from")),
        always_missed=True,
    ),
    Quantity(
        "wind_spread",
        "wind_spread_deg",
        Kind.ANGLE,
        say("spread of the direction"),
        "wind direction standard deviation (deg)",
        ranges=(Range(0.0, 180.0, "geometry"),),
        height=Height.WIND,
        average=Average.SPREAD,
        mean_heading="wind direction standard deviation (deg)",
        moves=Moves.ALIVE,
        expected=True,
    ),
    Quantity(
        "temperature",
        "temp_c",
        Kind.TEMPERATURE,
        say("temperature"),
        "temperature (degC)",
        ranges=_AIR,
        height=Height.TEMPERATURE,
        step=Step(((_MINUTE_S, 3.0), (_HOUR_S, 35 / 1.8)), "WMO; MADIS, 35 °F in an hour"),
        stuck=(Stuck(0.5, 12 * _HOUR_S, "EPA"),),
        agreement=Agreement(8.0, 8.0),
        moves=Moves.TELLING,
        chart=Chart(say("Temperature")),
        always_missed=True,
    ),
    Quantity(
        "temperature_upper",
        "temp_upper_c",
        Kind.TEMPERATURE,
        say("upper temperature"),
        "temperature at upper height (degC)",
        ranges=_AIR,
        height=Height.TEMPERATURE_UPPER,
        step=Step(((_MINUTE_S, 3.0), (_HOUR_S, 35 / 1.8)), "as temp_c"),
        moves=Moves.TELLING,
        expected=True,
    ),
    Quantity(
        "humidity",
        "humidity_pct",
        Kind.PERCENT,
        say("humidity"),
        "relative humidity (%)",
        ranges=(Range(0.0, 100.0, "WMO, MADIS"),),
        height=Height.TEMPERATURE,
        step=Step(((_MINUTE_S, 15.0), (_HOUR_S, 50.0)), "WMO; MADIS, 50 % in an hour"),
        # WMO's least variation is meant for one hour, in which a damp calm night stands still by
        # nature: the window here is that of EPA's temperature.
        stuck=(Stuck(1.0, 12 * _HOUR_S, "WMO, longer", unless_humidity_pct=FOG_PCT),),
        agreement=Agreement(35.0, 35.0),
        moves=Moves.TELLING,
        chart=Chart(say("Humidity")),
        always_missed=True,
    ),
    Quantity(
        "dew_point",
        "dew_point_c",
        Kind.TEMPERATURE,
        say("dew point"),
        "dew point (degC)",
        ranges=(
            Range(-80.0, 35.0, "WMO"),
            Range(_fahrenheit(-90.0), _fahrenheit(90.0), "MADIS, -90 to 90 °F"),
        ),
        height=Height.TEMPERATURE,
        step=Step(((_MINUTE_S, 4.0), (_HOUR_S, 35 / 1.8)), "WMO (memory); as temp_c"),
        stuck=(Stuck(0.1, 12 * _HOUR_S, "WMO, longer", unless_humidity_pct=FOG_PCT),),
        agreement=Agreement(8.0, 8.0),
        moves=Moves.TELLING,
    ),
    Quantity(
        "pressure",
        "pressure_pa",
        Kind.PRESSURE,
        say("pressure"),
        "station pressure (Pa)",
        ranges=(
            Range(50_000.0, 110_000.0, "WMO"),
            Range(56_800.0, 110_000.0, "MADIS, station pressure"),
        ),
        step=Step(((_MINUTE_S, 200.0), (_HOUR_S, 1000.0)), "WMO; MADIS, 10 mb in an hour"),
        stuck=(Stuck(10.0, 12 * _HOUR_S, "WMO, longer"),),
        agreement=Agreement(1500.0, 1500.0),
        moves=Moves.TELLING,
    ),
    Quantity(
        "rain",
        "rain_mm_h",
        Kind.RAIN_RATE,
        say("rain"),
        "rain rate (mm/h)",
        ranges=(Range(0.0, 2000.0, "WMO-No. 8, rainfall intensity (memory)"),),
        moves=Moves.ALIVE,
        chart=Chart(say("Rain")),
        always_missed=True,
    ),
    Quantity(
        "rain_chance",
        "rain_chance_pct",
        Kind.PERCENT,
        say("chance of rain"),
        "chance of rain (%)",
        ranges=(Range(0.0, 100.0, "by definition"),),
        measured=False,
    ),
    Quantity(
        "cloud",
        "cloud_pct",
        Kind.PERCENT,
        say("cloud"),
        "cloud cover (%)",
        ranges=(Range(0.0, 100.0, "by definition"),),
    ),
    Quantity(
        "solar",
        "solar_w_m2",
        Kind.IRRADIANCE,
        say("sunshine"),
        "global radiation (W/m2)",
        # Thermopiles read a few W/m² below zero at night; the published low bound is 0.
        ranges=(Range(-10.0, 1600.0, "WMO; low bound: zero offset, no source"),),
        step=Step(((_MINUTE_S, 800.0),), "WMO"),
        moves=Moves.ALIVE,
    ),
    Quantity(
        "net_radiation",
        "net_w_m2",
        Kind.IRRADIANCE,
        say("net radiation"),
        "net radiation (W/m2)",
        ranges=(Range(-300.0, 1600.0, "no source"),),
        moves=Moves.ALIVE,
        expected=True,
    ),
    Quantity(
        "soil_temperature_10cm",
        "soil_temp_10cm_c",
        Kind.TEMPERATURE,
        say("soil temperature at 10 cm"),
        "soil temperature at 10 cm (degC)",
        ranges=(Range(-50.0, 50.0, "WMO, soil temperature (memory)"),),
        step=Step(((_MINUTE_S, 0.5), (_HOUR_S, 5.0)), "WMO (memory); an hour: no source"),
        chart=Chart(say("Soil temperature at 10 cm")),
    ),
    Quantity(
        "leaf_wetness",
        "leaf_wet_pct",
        Kind.PERCENT,
        say("leaf wetness"),
        "leaf wetness (%)",
        # A sensor of a wet or dry leaf stands still at either end for days.
        ranges=(Range(0.0, 100.0, "by definition"),),
        chart=Chart(say("Leaf wetness")),
        expected=True,
    ),
    Quantity(
        "ceiling",
        "ceiling_m",
        Kind.LENGTH,
        say("cloud height"),
        "height of the lowest broken or overcast cloud (m)",
        ranges=(Range(0.0, 20_000.0, "no source"),),
    ),
)
"""Every quantity, in the order of the log's columns."""

COLUMNS = tuple(quantity.column for quantity in CATALOGUE)
BY_NAME = {quantity.name: quantity for quantity in CATALOGUE}
BY_COLUMN = {quantity.column: quantity for quantity in CATALOGUE}
EXPECTED = tuple(quantity.column for quantity in CATALOGUE if quantity.expected)
NAME_OF = {quantity.column: quantity.name for quantity in CATALOGUE}
"""Names at the edge by array."""


@dataclass(frozen=True)
class InUnit:
    """A quantity as a source gives it: in a unit of its own."""

    quantity: Quantity
    unit: str

    def si(self, number: float) -> float:
        """Return a number of this unit in the unit used inside."""
        return convert(number, self.unit, self.quantity.kind)


def in_unit(name: str, unit: str) -> InUnit:
    """Return a quantity by its name at the edge; ``ValueError`` for a unit that does not fit it."""
    if name not in BY_NAME:
        raise ValueError(f"quantities.{name} is not known; use {', '.join(BY_NAME)}")
    try:
        BY_NAME[name].kind.scale(unit)
    except ValueError as error:
        raise ValueError(f"quantities.{name}.unit: {error}") from error
    return InUnit(BY_NAME[name], unit)
