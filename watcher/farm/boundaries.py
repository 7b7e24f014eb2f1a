"""Boundaries from GeoJSON (RFC 7946): every feature read or its problem said."""

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, NoReturn

import shapely

from watcher.farm.ground import Polygonal
from watcher.farm.problems import FarmFileError, Problem
from watcher.farm.reading import text_of

_KNOWN_CRS = ("CRS84", "EPSG::4326", "EPSG:4326")
_DRAW_AGAIN = "draw that boundary again so that its line does not cross or touch itself"


class _BadShapeError(Exception):
    """A geometry that is not a boundary: what is wrong and what to do."""

    def __init__(self, wrong: str, mend: str) -> None:
        super().__init__(wrong)
        self.wrong, self.mend = wrong, mend


@dataclass(frozen=True)
class Boundaries:
    """Boundaries by feature id, in degrees.

    ``named`` also holds ids of features whose boundary cannot be read; it is None when the file
    holds no features that could be told apart.
    """

    file: Path
    shapes: Mapping[str, Polygonal] = field(default_factory=dict)
    named: frozenset[str] | None = None
    problems: tuple[Problem, ...] = ()


def read_boundaries(file: Path) -> Boundaries:
    """Read every feature of a GeoJSON file. Never raises for what the file holds."""
    try:
        features = _features(_json(file), file)
    except FarmFileError as error:
        return Boundaries(file, problems=error.problems)
    shapes: dict[str, Polygonal] = {}
    named: set[str] = set()
    problems: list[Problem] = []
    for index, feature in enumerate(features):
        name, place = _id(feature), f"features (item {index + 1})"
        try:
            if name is None:
                _no_id(feature)
            place = f'feature "{name}"'
            if name in named:
                raise _BadShapeError("a second feature has this id", "give every feature its own")
            named.add(name)
            shapes[name] = _boundary(feature)
        except _BadShapeError as bad:
            problems.append(Problem(file, place, bad.wrong, bad.mend))
    return Boundaries(file, shapes, frozenset(named), tuple(problems))


def _json(file: Path) -> Any:
    try:
        return json.loads(text_of(file))
    except json.JSONDecodeError as error:
        place = f"line {error.lineno}, column {error.colno}"
        wrong = f"this is not JSON: {error.msg}"
        problem = Problem(file, place, wrong, "export the boundaries as GeoJSON again")
    except RecursionError:
        problem = Problem(file, "", "is nested too deeply", "export the boundaries again")
    raise FarmFileError([problem])


def _features(collection: Any, file: Path) -> list[Any]:
    def refuse(key: str, wrong: str, mend: str) -> NoReturn:
        raise FarmFileError([Problem(file, key, wrong, mend)])

    if not isinstance(collection, dict) or collection.get("type") != "FeatureCollection":
        refuse("type", 'is not "FeatureCollection"', "put the fields in one FeatureCollection")
    if (crs := collection.get("crs")) and not any(known in str(crs) for known in _KNOWN_CRS):
        refuse("crs", "these are not degrees", "export in WGS 84 longitude and latitude (RFC 7946)")
    if not isinstance(features := collection.get("features"), list):
        refuse("features", "is not a list", "list every field and neighbour there")
    return features


def _id(feature: Any) -> str | None:
    name = feature.get("id") if isinstance(feature, dict) else None
    return str(name) if isinstance(name, str | int) and not isinstance(name, bool) else None


def _no_id(feature: Any) -> NoReturn:
    if not isinstance(feature, dict) or feature.get("type") != "Feature":
        raise _BadShapeError("is not a Feature", 'write { "type": "Feature", "id": …, … }')
    properties = feature.get("properties")
    told = [f"{key}: {value}" for key, value in (properties or {}).items()][:3]
    about = f" (the one with {', '.join(told)})" if told else ""
    raise _BadShapeError(
        f'has no "id"{about}', 'put "id": "name of the field" beside "type", not in "properties"'
    )


def _boundary(feature: Mapping[str, Any]) -> Polygonal:
    geometry = feature.get("geometry")
    geometry = geometry if isinstance(geometry, dict) else {}
    kind = geometry.get("type")
    if kind not in {"Polygon", "MultiPolygon"}:
        raise _BadShapeError(
            f"its geometry is {kind or 'missing'}", "draw it as a Polygon or MultiPolygon"
        )
    coordinates = geometry.get("coordinates")
    polygons = _list(coordinates if kind == "MultiPolygon" else [coordinates], "coordinates")
    parts = [_polygon(rings) for rings in polygons]
    shape = parts[0] if kind == "Polygon" else shapely.MultiPolygon(parts)
    _check_valid(shape)
    return shape


def _polygon(rings: Any) -> shapely.Polygon:
    outline, *holes = [_ring(ring) for ring in _list(rings, "a polygon")]
    return shapely.Polygon(outline, holes)


def _ring(ring: Any) -> list[tuple[float, float]]:
    positions = [_position(position) for position in _list(ring, "a ring")]
    if len(positions) < 4:
        raise _BadShapeError(
            f"a ring has {len(positions)} positions, fewer than 4", "give it at least 3 corners"
        )
    if positions[0] != positions[-1]:
        raise _BadShapeError(
            f"a ring is not closed: it starts at {_place(*positions[0])} and ends at "
            f"{_place(*positions[-1])}",
            "end every ring with its first position",
        )
    return positions


def _position(position: Any) -> tuple[float, float]:
    numbers = list(_numbers(position))
    if len(numbers) not in {2, 3}:
        raise _BadShapeError("a position is not [longitude, latitude]", "export it again")
    longitude, latitude = numbers[:2]
    if abs(latitude) > 90 and abs(longitude) <= 90:
        raise _BadShapeError(
            f"[{longitude}, {latitude}] has its latitude first", "put longitude first (RFC 7946)"
        )
    if abs(latitude) > 90 or abs(longitude) > 180:
        raise _BadShapeError(
            f"[{longitude}, {latitude}] is not a place in degrees",
            "export in WGS 84 longitude and latitude, not in metres or feet",
        )
    return longitude, latitude


def _numbers(position: Any) -> Iterator[float]:
    for number in _list(position, "a position"):
        if isinstance(number, bool) or not isinstance(number, int | float):
            raise _BadShapeError(f"a position holds {number!r}", "write numbers")
        if not abs(number) < 1e9:  # not a number, endless, or beyond any float
            raise _BadShapeError(
                f"a position holds {str(number)[:20]}", "export the boundary again"
            )
        yield float(number)


def _list(value: Any, what: str) -> list[Any]:
    if not isinstance(value, list) or not value:
        raise _BadShapeError(f"{what} is not a list, or empty", "export the boundary again")
    return value


def _check_valid(shape: Polygonal) -> None:
    if shapely.is_valid(shape):
        return
    # Says "Self-intersection[-96.5 41.2]": what, and where.
    what, _, where = str(shapely.is_valid_reason(shape)).rstrip("]").partition("[")
    at = [float(number) for number in where.split()]
    place = f" at {_place(*at)}" if len(at) == 2 else ""
    if "Self-intersection" in what:
        raise _BadShapeError(f"its boundary crosses or touches itself{place}", _DRAW_AGAIN)
    raise _BadShapeError(f"its boundary is not one: {what.lower()}{place}", _DRAW_AGAIN)


def _place(longitude: float, latitude: float) -> str:
    return f"longitude {longitude:.6f}, latitude {latitude:.6f}"
