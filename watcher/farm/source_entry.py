"""What every source of weather says of itself in the farm file."""

from typing import Annotated, Literal

from pydantic import Field

from watcher.farm.told import Told
from watcher.units import Kind, Speed, Written

Address = Annotated[str, Field(pattern=r"^https?://[^\s/]+\S*$")]
Latitude = Annotated[float, Field(ge=-90, le=90, strict=True)]
Longitude = Annotated[float, Field(ge=-180, le=180, strict=True)]
SensorHeight = Annotated[float, Written(Kind.LENGTH, 0.2, 300)]
SilentAfter = Annotated[float, Written(Kind.DURATION, 60, 12 * 3600)]

Quantity = Literal[
    "wind",
    "gust",
    "wind_from",
    "wind_spread",
    "temperature",
    "temperature_upper",
    "humidity",
    "dew_point",
    "pressure",
    "rain",
    "cloud",
    "solar",
    "net_radiation",
]


MappedName = Literal[Quantity, "rain_chance"]


class Heights(Told):
    """Sensor heights above ground. [m]"""

    wind: SensorHeight = 10.0
    """Height the wind is measured or forecast at. [m]"""
    temperature: SensorHeight = 2.0
    """Height of the thermometer. [m]"""
    temperature_upper: SensorHeight | None = None
    """Height of a second thermometer, which shows inversions. [m]"""


class SourceEntry(Told):
    """What every source says of itself."""

    heights: Heights = Heights()
    silent_after: SilentAfter
    """A reading older than this is stale and never suitable. [s]"""
    wind_uncertainty: Speed = 0.0
    """Stated uncertainty of the wind; widens what counts as near a bound. [m/s]"""
    measures: tuple[Quantity, ...] = ("wind", "gust", "wind_from", "temperature", "humidity")
    """What a source of observations measures. A quantity listed here is never taken from a
    forecast for the present moment, however long the source is silent."""
    estimate_gusts: bool = False
    """For a forecast without gusts: estimate them as 1.66 times the mean (upper guideline)."""
