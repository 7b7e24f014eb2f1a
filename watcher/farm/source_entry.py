"""What every source of weather says of itself in the farm file."""

from typing import TYPE_CHECKING, Annotated, Literal

from pydantic import Field

from watcher.farm.base import FarmModel
from watcher.units import Kind, Speed, Written
from watcher.weather.quantities import CATALOGUE
from watcher.weather.wind_profile import GRASS_M

Address = Annotated[str, Field(pattern=r"^https?://[^\s/]+\S*$")]
Latitude = Annotated[float, Field(ge=-90, le=90, strict=True)]
Longitude = Annotated[float, Field(ge=-180, le=180, strict=True)]
SensorHeight = Annotated[float, Written(Kind.LENGTH, 0.2, 300)]
SilentAfter = Annotated[float, Written(Kind.DURATION, 60, 12 * 3600)]

if TYPE_CHECKING:
    Quantity = str
    MappedName = str
else:  # one of the names there are in the catalogue
    Quantity = Literal[tuple(q.name for q in CATALOGUE if q.measured)]
    MappedName = Literal[tuple(q.name for q in CATALOGUE)]


class Heights(FarmModel):
    """Sensor heights above ground. [m]"""

    wind: SensorHeight = 10.0
    """Height the wind is measured or forecast at. [m]"""
    temperature: SensorHeight = 2.0
    """Height of the thermometer. [m]"""
    temperature_upper: SensorHeight | None = None
    """Height of a second thermometer, which shows inversions. [m]"""
    canopy: Annotated[float, Written(Kind.SMALL_LENGTH, 0.0, 3.0)] = GRASS_M
    """Height of what grows under and around the wind sensor. [m]"""


class SourceEntry(FarmModel):
    """What every source says of itself."""

    heights: Heights = Heights()
    silent_after: SilentAfter
    """A reading older than this is stale and never suitable. [s]"""
    wind_uncertainty: Speed = 0.0
    """Stated uncertainty of the wind; widens what counts as near a bound. [m/s]"""
    direction_inside: Annotated[float, Written(Kind.ANGLE, 0, 60)] = 9.0
    """How much the direction swings inside one reading, where the source does not measure it: none
    where it tells the direction of the moment. [deg]"""
    wind_spread_over: Literal["reading", "ten minutes"] = "reading"
    """Over what the source's own wind_spread is: each of its readings, or always ten minutes."""
    measures: tuple[Quantity, ...] = ("wind", "gust", "wind_from", "temperature", "humidity")
    """What a source of observations measures. A quantity listed here is never taken from a
    forecast for the present moment, however long the source is silent."""
    estimate_gusts: bool = False
    """For a forecast without gusts: estimate them as 1.66 times the mean (upper guideline)."""
