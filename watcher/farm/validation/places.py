"""Where things lie: time zone, country of the feeds, distances, sizes and overlaps."""

from collections.abc import Iterator, Mapping
from datetime import UTC, datetime, timedelta
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo, available_timezones

import numpy as np
import shapely

from watcher.farm.feeds import UsWeatherService
from watcher.farm.geometry.drawing import CARELESS, share_of_smaller
from watcher.farm.geometry.ground import Ground, Polygonal
from watcher.farm.geometry.local_map import LocalMap
from watcher.farm.problems import Problem, guess
from watcher.farm.read_file import Draft
from watcher.farm.stations import Station
from watcher.farm.validation_messages import Steps, assigned, dotted
from watcher.i18n.message import Message, Number, joined, say

if TYPE_CHECKING:
    from timezonefinder import TimezoneFinder

_FAR_M = 100_000.0
_WIDEST_M = 20_000.0
_LEAST_M2 = 100.0
# The service's area: the states and the territories whose offices it runs.
_NWS_COUNTRIES = frozenset({"US", "PR", "VI", "GU", "MP", "AS"})


def zone_problems(draft: Draft, shapes: Mapping[str, Polygonal]) -> Iterator[Problem]:
    """A time zone that does not exist, or that none of the fields lies in."""
    if (zone := draft.time_zone) is None:
        return
    key = assigned(("farm", "time_zone"), zone)
    if zone not in available_timezones():
        mend = say("{guess}write its IANA name", guess=guess(zone, sorted(available_timezones())))
        yield draft.problem(key, say("is not a time zone"), mend)
        return
    found = {_zone_at(shape) for shape in shapes.values()}
    if found and not any(_same_clock(zone, there) for there in found):
        there = sorted(found)[0]
        wrong: Message = say("the fields lie in {zone}", zone=there)
        if _look_swapped(zone, shapes):
            wrong = joined([wrong, say("longitude and latitude look swapped")], "; ")
        mend = say('write "{zone}", or check the boundaries', zone=there)
        yield draft.problem(key, wrong, mend)


def _zone_at(shape: Polygonal) -> str:
    centre = shape.centroid
    return zone_at(centre.y, centre.x)


def zone_at(latitude: float, longitude: float) -> str:
    """Return the IANA name of the time zone at a place in degrees."""
    return str(_finder().timezone_at(lat=latitude, lng=longitude))


@cache
def _finder() -> "TimezoneFinder":
    from timezonefinder import TimezoneFinder  # noqa: PLC0415 - see farm/load.py

    return TimezoneFinder()  # reads its map from disk: once a process


def _same_clock(one: str, other: str) -> bool:
    """Whether two zones show the same time all through some recent years, under any name."""
    if one == other:
        return True
    days = [datetime(2024, 1, 1, 12, tzinfo=UTC) + timedelta(days=d) for d in range(3 * 365)]
    clocks = [[day.astimezone(ZoneInfo(zone)).utcoffset() for day in days] for zone in (one, other)]
    return clocks[0] == clocks[1]


def _look_swapped(zone: str, shapes: Mapping[str, Polygonal]) -> bool:
    centres = [shape.centroid for shape in shapes.values()]
    swapped = [zone_at(c.x, c.y) for c in centres if abs(c.x) <= 90]
    return any(_same_clock(zone, there) for there in swapped)


def country_problems(draft: Draft, shapes: Mapping[str, Polygonal]) -> Iterator[Problem]:
    """Fields outside the country that a national feed covers."""
    for name, source in draft.config.sources.items():
        if not isinstance(source, UsWeatherService):
            continue
        outside = [f for f, s in shapes.items() if _country(_zone_at(s)) not in _NWS_COUNTRIES]
        if outside:
            wrong = say(
                "covers the United States only; elsewhere: {fields}", fields=", ".join(outside)
            )
            mend = say('use kind = "met_norway" or kind = "open_meteo" instead')
            yield draft.problem(dotted(("sources", name)), wrong, mend)


def in_us(latitude: float, longitude: float) -> bool:
    """Whether the US weather service covers a place. [degrees]"""
    return _country(zone_at(latitude, longitude)) in _NWS_COUNTRIES


def _country(zone: str) -> str | None:
    """The country of a zone by tzdata's zone.tab; None at sea."""
    return _countries().get(zone)


@cache
def _countries() -> dict[str, str]:
    table = files("tzdata").joinpath("zoneinfo", "zone.tab").read_text(encoding="utf-8")
    rows = [line.split("\t") for line in table.splitlines() if not line.startswith("#")]
    return {row[2]: row[0] for row in rows}


def distance_problems(draft: Draft, shapes: Mapping[str, Polygonal]) -> Iterator[Problem]:
    """Fields, neighbours and stations that lie nowhere near the others."""
    if not shapes:
        return
    centres = {name: (s.centroid.y, s.centroid.x) for name, s in shapes.items()}
    # The middle one, not the mean: a single field in the wrong place does not move it.
    latitude, longitude = np.median(list(centres.values()), axis=0)
    middle = LocalMap(float(latitude), float(longitude))
    tables = {name: table for table in ("fields", "neighbours") for name in draft.names(table)}
    places: dict[Steps, tuple[float, float]] = {
        (tables[name], name): centre for name, centre in centres.items()
    }
    for name, source in draft.config.sources.items():
        if isinstance(source, Station) and source.place is not None:
            places["sources", name, "place"] = source.place
    for steps, (north, east) in places.items():
        metres = np.hypot(*middle.metres(np.float64(east), np.float64(north)))
        if metres > _FAR_M:
            wrong = say("lies {km} km from the middle of the farm", km=f"{metres / 1000:.0f}")
            mend = say("check its coordinates; ground that far away is a farm file of its own")
            yield draft.problem(dotted(steps), wrong, mend)


def size_problems(file: Path, shapes: Mapping[str, Polygonal]) -> Iterator[Problem]:
    """Boundaries too large or too small to be meant."""
    for name, shape in shapes.items():
        flat = Ground({name: shape}, {}).fields[name]
        west, south, east, north = flat.bounds
        across, area = max(east - west, north - south), flat.area
        if across > _WIDEST_M or area < _LEAST_M2:
            wrong = say(
                "is {km} km across and covers {area} square metres",
                km=Number(f"{across / 1000:.3g}"),
                area=f"{area:.0f}",
            )
            yield Problem(file, f'feature "{name}"', wrong, say("check its corners"))


def overlap_problems(
    file: Path, fields: Mapping[str, Polygonal], neighbours: Mapping[str, Polygonal]
) -> Iterator[Problem]:
    """Fields that overlap each other, or a neighbour, by more than a carelessly drawn line."""
    names = [*fields, *neighbours]
    shapes = np.array([*fields.values(), *neighbours.values()], dtype=object)
    pairs = shapely.STRtree(shapes).query(shapes[: len(fields)], predicate="intersects")
    for one, other in pairs.T[pairs[0] < pairs[1]]:
        share = share_of_smaller(shapes[one], shapes[other])
        if share > CARELESS:
            wrong = say(
                'overlaps "{other}" by {share} of the smaller',
                other=names[other],
                share=f"{share:.0%}",
            )
            mend = say("move the line between them; cut a yard out of a field as a hole")
            yield Problem(file, f'feature "{names[one]}"', wrong, mend)
