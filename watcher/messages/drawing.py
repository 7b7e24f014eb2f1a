"""What a boundary that is being drawn comes to, in words."""

from collections.abc import Sequence
from math import isfinite

from watcher.farm.geometry.drawing import DrawnShape, LiesOff, Overlap
from watcher.i18n.message import Message, Name, Number, ShownQuantity, say
from watcher.limits.buffers import LeftStrip
from watcher.units import Kind, System

_FINE_M2 = 400_000.0
"""Up to this an area is said with a decimal, as a grower says it."""


def area_line(area_m2: float, system: System) -> Message:
    """Say how large a boundary is."""
    return ShownQuantity(area_m2, Kind.AREA, system, 1 if area_m2 < _FINE_M2 else None)


def near_lines(near: Sequence[LiesOff], system: System) -> list[Message]:
    """Say how far off what lies near is, one line each."""
    return [
        say(
            "{name}: {distance} away",
            name=Name(one.name),
            distance=ShownQuantity(one.distance_m, Kind.LENGTH, system),
        )
        for one in near
    ]


def overlap_line(overlap: Overlap, system: System) -> Message:
    """Say how much two boundaries have in common."""
    return say(
        "overlaps {name} by {area}, {share} of the smaller",
        name=Name(overlap.name),
        area=ShownQuantity(overlap.area_m2, Kind.AREA, system, 2),
        share=Number(f"{100 * overlap.share:.1f} %"),
    )


def to_leave_lines(strips: Sequence[LeftStrip], system: System) -> list[Message]:
    """Say what is left unsprayed beside whom, as the map has it."""
    return [
        say(
            "Ruled across: leave {depth} beside {name}, {area}",
            depth=ShownQuantity(one.depth_m, Kind.LENGTH, system),
            name=Name(one.neighbour),
            area=area_line(one.area_m2, system),
        )
        for one in strips
        if isfinite(one.depth_m)
    ]


def overlap_mend(found: DrawnShape) -> Message:
    """Say what is to be done about what overlaps."""
    if all(one.is_careless for one in found.overlaps):
        return say("move the line between them, or say that it is meant so")
    return say("move the line between them; cut a yard out of a field as a hole")
