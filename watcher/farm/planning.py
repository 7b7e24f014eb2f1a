"""What the farm file says for the plan of the day."""

from typing import Annotated

from pydantic import Field

from watcher.farm.base import FarmModel
from watcher.units import Kind, Written


class Planning(FarmModel):
    """What lies between two jobs. All defaults are choices of common practice, no source."""

    road_speed: Annotated[float, Written(Kind.SPEED, 0.5, 25)] = 6.7056
    """Of a sprayer on the road: 15 mph. [m/s]"""
    detour: Annotated[float, Field(ge=1.0, le=5.0)] = 1.4
    """How much longer the way is than the straight line."""
    clean_out: Annotated[float, Written(Kind.DURATION, 0, 8 * 3600)] = 1800.0
    """Rinsing tank and boom between jobs that do not take the same products. [s]"""
    together: Annotated[float, Written(Kind.LENGTH, 0, 20_000)] = 800.0
    """Fields whose middles are no further apart need no travelling between them. [m]"""
