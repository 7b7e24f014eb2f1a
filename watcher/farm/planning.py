"""What the farm file says for the plan of the day."""

from datetime import time
from typing import Annotated

from pydantic import Field

from watcher.farm.base import FarmModel
from watcher.units import Kind, Written

# TOML has times of its own; text or a number in their place is a mistake.
Clock = Annotated[time, Field(strict=True)]
_LONGEST_S = 8 * 3600


class Way(FarmModel):
    """The way between two fields, where the straight line says nothing of it."""

    between: tuple[str, ...]
    """Names of the two fields."""
    takes: Annotated[float, Written(Kind.DURATION, 0, _LONGEST_S)] | None = None
    """How long a sprayer is on the way. [s]"""
    distance: Annotated[float, Written(Kind.LENGTH, 0, 200_000)] | None = None
    """How long the road is. [m]"""


class Planning(FarmModel):
    """What lies between two jobs. All defaults are choices of common practice, no source."""

    road_speed: Annotated[float, Written(Kind.SPEED, 0.5, 25)] = 6.7056
    """Of a sprayer on the road: 15 mph. [m/s]"""
    detour: Annotated[float, Field(ge=1.0, le=5.0)] = 1.4
    """How much longer the way is than the straight line."""
    clean_out: Annotated[float, Written(Kind.DURATION, 0, _LONGEST_S)] = 1800.0
    """Rinsing tank and boom between jobs that do not take the same products. [s]"""
    together: Annotated[float, Written(Kind.LENGTH, 0, 20_000)] = 800.0
    """Fields whose middles are no further apart need no travelling between them. [m]"""
    other_sprayer: Annotated[float, Written(Kind.DURATION, 0, _LONGEST_S)] = 600.0
    """For a driver to change over to another sprayer, beside the way. [s]"""
    ways: tuple[Way, ...] = ()
    """Ways you have measured, in place of the straight line."""


class WorkingHours(FarmModel):
    """When somebody drives; may run across midnight."""

    start: Clock
    """When they start, on the farm's clock."""
    end: Clock
    """When they end; the next day when not after the start."""


class Driver(FarmModel):
    """Somebody who drives sprayers, one at a time."""

    sprayers: tuple[str, ...] = ()
    """Names of the sprayers they drive; every sprayer of the farm when empty."""
    hours: WorkingHours | None = None
    """When they drive, each day; at any hour when not given."""
