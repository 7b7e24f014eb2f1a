"""Boundaries from GeoJSON (RFC 7946): every feature read or its problem said."""

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, NoReturn

import shapely

from watcher.farm.geometry.ground import Polygonal
from watcher.farm.problems import FarmFileError, Problem, line_and_column
from watcher.farm.read_file import Read, text_of
from watcher.farm.validation_messages import dotted
from watcher.i18n.message import Message, Param, say

_KNOWN_CRS = ("CRS84", "EPSG::4326", "EPSG:4326")
_DRAW_AGAIN = say("draw that boundary again so that its line does not cross or touch itself")
_EXPORT_AGAIN = say("export the boundary again")


class BadShapeError(Exception):
    """A geometry that is not a boundary: what is wrong and what to do."""

    def __init__(
        self, wrong: Message, mend: Message, at: tuple[float, float] | None = None
    ) -> None:
        """``at`` is the longitude and latitude of where it is wrong, where there is one place."""
        super().__init__(str(wrong))
        self.wrong, self.mend, self.at = wrong, mend, at


@dataclass(frozen=True)
class Boundaries:
    """Boundaries by feature id, in degrees.

    ``named`` also holds ids of features whose boundary cannot be read; it is None when the file
    holds no features that could be distinguished.
    """

    file: Path
    shapes: Mapping[str, Polygonal] = field(default_factory=dict)
    named: frozenset[str] | None = None
    problems: tuple[Problem, ...] = ()


def read_boundaries(file: Path, read: Read = text_of) -> Boundaries:
    """Read every feature of a GeoJSON file. Never raises for what the file holds."""
    try:
        features = _features(_json(file, read), file)
    except FarmFileError as error:
        return Boundaries(file, problems=error.problems)
    shapes: dict[str, Polygonal] = {}
    named: set[str] = set()
    problems: list[Problem] = []
    for index, feature in enumerate(features):
        name = _id(feature)
        place: Param = dotted(("features", index))
        try:
            if name is None:
                _no_id(feature)
            place = f'feature "{name}"'
            if name in named:
                raise BadShapeError(
                    say("a second feature has this id"), say("give every feature its own")
                )
            named.add(name)
            shapes[name] = boundary_of(feature)
        except BadShapeError as bad:
            problems.append(Problem(file, place, bad.wrong, bad.mend))
    return Boundaries(file, shapes, frozenset(named), tuple(problems))


def _json(file: Path, read: Read) -> Any:
    try:
        return json.loads(read(file))
    except json.JSONDecodeError as error:
        place = line_and_column(error.lineno, error.colno)
        wrong = say("this is not JSON: {why}", why=error.msg)
        problem = Problem(file, place, wrong, say("export the boundaries as GeoJSON again"))
    except RecursionError:
        mend = say("export the boundaries again")
        problem = Problem(file, "", say("is nested too deeply"), mend)
    raise FarmFileError([problem])


def _features(collection: Any, file: Path) -> list[Any]:
    def refuse(key: str, wrong: Message, mend: Message) -> NoReturn:
        raise FarmFileError([Problem(file, key, wrong, mend)])

    if not isinstance(collection, dict) or collection.get("type") != "FeatureCollection":
        mend = say("put the fields in one FeatureCollection")
        refuse("type", say('is not "FeatureCollection"'), mend)
    if (crs := collection.get("crs")) and not any(known in str(crs) for known in _KNOWN_CRS):
        mend = say("export in WGS 84 longitude and latitude (RFC 7946)")
        refuse("crs", say("these are not degrees"), mend)
    if not isinstance(features := collection.get("features"), list):
        refuse("features", say("is not a list"), say("list every field and neighbour there"))
    return features


def _id(feature: Any) -> str | None:
    name = feature.get("id") if isinstance(feature, dict) else None
    return str(name) if isinstance(name, str | int) and not isinstance(name, bool) else None


def _no_id(feature: Any) -> NoReturn:
    if not isinstance(feature, dict) or feature.get("type") != "Feature":
        raise BadShapeError(say("is not a Feature"), say('write { "type": "Feature", "id": …, … }'))
    properties = feature.get("properties")
    held = properties.items() if isinstance(properties, dict) else ()
    written = [f"{key}: {value}" for key, value in held][:3]
    wrong = say('has no "id"')
    if written:
        wrong = say('has no "id" (the one with {properties})', properties=", ".join(written))
    raise BadShapeError(
        wrong, say('put "id": "name of the field" beside "type", not in "properties"')
    )


def boundary_of(feature: Mapping[str, Any]) -> Polygonal:
    """Return the boundary of a feature (RFC 7946), in degrees. Raises ``BadShapeError``."""
    geometry = feature.get("geometry")
    geometry = geometry if isinstance(geometry, dict) else {}
    kind = geometry.get("type")
    if kind not in {"Polygon", "MultiPolygon"}:
        raise BadShapeError(
            say("its geometry is {kind}", kind=str(kind))
            if kind
            else say("its geometry is missing"),
            say("draw it as a Polygon or MultiPolygon"),
        )
    coordinates = geometry.get("coordinates")
    polygons = _list(coordinates if kind == "MultiPolygon" else [coordinates])
    parts = [_polygon(rings) for rings in polygons]
    shape = parts[0] if kind == "Polygon" else shapely.MultiPolygon(parts)
    _check_valid(shape)
    return shape


def _polygon(rings: Any) -> shapely.Polygon:
    outline, *holes = [_ring(ring) for ring in _list(rings)]
    return shapely.Polygon(outline, holes)


def _ring(ring: Any) -> list[tuple[float, float]]:
    positions = [_position(position) for position in _list(ring)]
    if len(positions) < 4:
        raise BadShapeError(
            say("a ring has {count} positions, fewer than 4", count=len(positions)),
            say("give it at least 3 corners"),
        )
    if positions[0] != positions[-1]:
        raise BadShapeError(
            say(
                "a ring is not closed: it starts at {start} and ends at {end}",
                start=_place(*positions[0]),
                end=_place(*positions[-1]),
            ),
            say("end every ring with its first position"),
        )
    return positions


def _position(position: Any) -> tuple[float, float]:
    numbers = list(_numbers(position))
    if len(numbers) not in {2, 3}:
        raise BadShapeError(say("a position is not [longitude, latitude]"), _EXPORT_AGAIN)
    longitude, latitude = numbers[:2]
    if abs(latitude) > 90 and abs(longitude) <= 90:
        raise BadShapeError(
            say("{position} has its latitude first", position=f"[{longitude}, {latitude}]"),
            say("put longitude first (RFC 7946)"),
        )
    if abs(latitude) > 90 or abs(longitude) > 180:
        raise BadShapeError(
            say("{position} is not a place in degrees", position=f"[{longitude}, {latitude}]"),
            say("export in WGS 84 longitude and latitude, not in metres or feet"),
        )
    return longitude, latitude


def _numbers(position: Any) -> Iterator[float]:
    for number in _list(position):
        if isinstance(number, bool) or not isinstance(number, int | float):
            wrong = say("a position holds {value}", value=repr(number)[:80])
            raise BadShapeError(wrong, say("write numbers"))
        if not abs(number) < 1e9:  # not a number, endless, or beyond any float
            wrong = say("a position holds {value}", value=str(number)[:20])
            raise BadShapeError(wrong, _EXPORT_AGAIN)
        yield float(number)


def _list(value: Any) -> list[Any]:
    if not isinstance(value, list) or not value:
        raise BadShapeError(say("a part of its coordinates is not a list, or empty"), _EXPORT_AGAIN)
    return value


def _check_valid(shape: Polygonal) -> None:
    if shapely.is_valid(shape):
        return
    # Says "Self-intersection[-96.5 41.2]": what, and where.
    what, _, where = str(shapely.is_valid_reason(shape)).rstrip("]").partition("[")
    at = [float(number) for number in where.split()]
    wrong = say("its boundary is not one: {why}", why=what.lower())
    if "Self-intersection" in what:
        wrong = say("its boundary crosses or touches itself")
    if len(at) == 2:
        wrong = say("{wrong} at {place}", wrong=wrong, place=_place(*at))
        raise BadShapeError(wrong, _DRAW_AGAIN, (at[0], at[1]))
    raise BadShapeError(wrong, _DRAW_AGAIN)


def _place(longitude: float, latitude: float) -> Message:
    return say(
        "longitude {longitude}, latitude {latitude}",
        longitude=f"{longitude:.6f}",
        latitude=f"{latitude:.6f}",
    )
