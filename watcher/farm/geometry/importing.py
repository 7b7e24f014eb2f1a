"""Boundaries as other programs and phones give them: GeoJSON, KML, GPX, ISOXML, typed, packed.

Only outlines and names are taken. XML is read without entities or anything from outside.
"""

import json
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import shapely

from watcher.farm.geometry.boundaries import BadShapeError, boundary_of
from watcher.farm.geometry.ground import Polygonal
from watcher.farm.geometry.packed_files import PREFIX, unpacked
from watcher.i18n.message import say

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

_MOST_OUTLINES = 200
_NAMES = ("name", "field", "field_name", "fieldname", "label", "title", "designator", "id")
_TRACK_WITHIN_DEG = 1.5e-5
"""A walked line is simplified to within about a metre and a half, less than a phone is off by."""
_LEAST_CORNERS = 3
_WALKED = 50
"""So many corners nobody types: they were walked."""
_NUMBER = r"([-+]?\d+(?:\.\d+)?)\s*°?\s*([NSEWnsew]?)"
_CORNER = re.compile(rf"\s*(?:geo:)?\s*{_NUMBER}\s*[,;\s]\s*{_NUMBER}\s*(?:;\S*)?")
_SIXTIETHS = re.compile(
    r"(\d+)\s*[°º]\s*(\d+(?:\.\d+)?)\s*['′’]\s*(?:(\d+(?:\.\d+)?)\s*(?:[\"″”]|''))?"
)
"""Degrees with minutes, and seconds, as maps and receivers write them."""
_COMMAS = re.compile(r"(\d),(\d)")
_FORMS = say("paste GeoJSON, KML, GPX or ISOXML, or type one corner a line: latitude, longitude")
Ring = Sequence[Sequence[float]]


@dataclass(frozen=True)
class Outline:
    """A boundary in degrees, and what it is called where it comes from; empty where nothing."""

    name: str
    shape: Polygonal


def outlines(text: str) -> list[Outline]:
    """Return every boundary in a text. Raises ``BadShapeError`` with what is wrong and the mend."""
    text = text.strip().lstrip("\ufeff")
    if not text:
        raise BadShapeError(say("there is no boundary yet"), _FORMS)
    packed = unpacked(text) if text.startswith(PREFIX) else text
    if isinstance(packed, dict):
        found = list(_of_geojson(json.loads(json.dumps(packed))))
        return _some(found)
    text = packed.strip()
    if text[:1] in {"{", "["}:
        found = list(_of_geojson(_json(text)))
    elif text[:1] == "<":
        found = list(_of_xml(_xml(text)))
    else:
        found = [Outline("", _typed_shape(text))]
    return _some(found)


def _some(found: list[Outline]) -> list[Outline]:
    if not found:
        raise BadShapeError(say("it holds no boundary"), _FORMS)
    return found[:_MOST_OUTLINES]


def _json(text: str) -> Any:
    try:
        return json.loads(text)
    except (ValueError, RecursionError):
        raise BadShapeError(say("this is not JSON"), _FORMS) from None


def _xml(text: str) -> "Element":
    from defusedxml import DefusedXmlException  # noqa: PLC0415 - once for a file of outlines
    from defusedxml.ElementTree import ParseError, fromstring  # noqa: PLC0415

    try:
        found: Element = fromstring(text.encode())
    except (ParseError, DefusedXmlException, ValueError, RecursionError):
        raise BadShapeError(say("this is not XML that can be read"), _FORMS) from None
    return found


def _of_geojson(found: Any, name: str = "") -> Iterator[Outline]:
    """Look for boundaries in whatever form: collections, features, bare geometries."""
    if not isinstance(found, Mapping):
        return
    kind = found.get("type")
    parts = found.get("features") or found.get("geometries")
    for part in parts if isinstance(parts, list) else ():
        yield from _of_geojson(part, name)
    if kind == "Feature":
        yield from _of_geojson(found.get("geometry"), _name_of(found))
    elif kind in {"Polygon", "MultiPolygon", "LineString"}:
        coordinates = found.get("coordinates")
        if kind == "LineString":
            coordinates = [coordinates]
        yield Outline(name, _closed(coordinates if kind == "MultiPolygon" else [coordinates]))


def _name_of(feature: Mapping[str, Any]) -> str:
    properties = feature.get("properties")
    written = properties.items() if isinstance(properties, Mapping) else ()
    held = {str(key).lower(): value for key, value in written}
    for value in (*(held.get(key) for key in _NAMES), feature.get("id")):
        if isinstance(value, str | int) and not isinstance(value, bool) and str(value).strip():
            return str(value).strip()
    return ""


def _closed(polygons: Any) -> Polygonal:
    """A boundary of polygons whose rings may lack their last position."""
    for rings in polygons if isinstance(polygons, list) else ():
        for ring in rings if isinstance(rings, list) else ():
            if isinstance(ring, list) and len(ring) > 2 and ring[0] != ring[-1]:
                ring.append(ring[0])
    return boundary_of({"geometry": {"type": "MultiPolygon", "coordinates": polygons}})


def _shape(rings: Sequence[Ring]) -> Polygonal:
    found = _closed([[[list(position) for position in ring] for ring in rings]])
    return found.geoms[0] if isinstance(found, shapely.MultiPolygon) else found


def _of_xml(root: "Element") -> Iterator[Outline]:
    kind = _local(root)
    if kind == "gpx":
        yield from _of_gpx(root)
    elif kind == "ISO11783_TaskData":
        yield from _of_isoxml(root)
    else:
        yield from _of_kml(root)


def _of_kml(root: "Element") -> Iterator[Outline]:
    """OGC KML 2.3: placemarks with polygons, longitude first."""
    for placemark in _all(root, "Placemark"):
        name = next((e.text or "" for e in placemark if _local(e) == "name"), "").strip()
        for polygon in _all(placemark, "Polygon"):
            sides = [
                _kml_ring(e.text or "")
                for side in ("outerBoundaryIs", "innerBoundaryIs")
                for boundary in _all(polygon, side)
                for e in _all(boundary, "coordinates")
            ]
            if sides:
                yield Outline(name, _shape(sides))


def _kml_ring(text: str) -> Ring:
    try:
        return [[float(n) for n in position.split(",")[:2]] for position in text.split()]
    except ValueError:
        raise BadShapeError(say("a position is no number"), say("export it again")) from None


def _of_gpx(root: "Element") -> Iterator[Outline]:
    """GPX 1.1: each track or route, walked around the field."""
    for line in (*_all(root, "trk"), *_all(root, "rte")):
        name = next((e.text or "" for e in line if _local(e) == "name"), "").strip()
        points = [p for p in line.iter() if _local(p) in {"trkpt", "rtept"}]
        ring = [_place(p.get("lon"), p.get("lat")) for p in points]
        if len(ring) > 3:
            yield Outline(name, _shape([_simplified(ring)]))


def _simplified(ring: Ring) -> Ring:
    """A walked line without the positions that add nothing but how far a phone is off."""
    return list(shapely.LineString(ring).simplify(_TRACK_WITHIN_DEG).coords)


def _of_isoxml(root: "Element") -> Iterator[Outline]:
    """ISO 11783-10: partfields (PFD) with their polygons; attributes' letters from memory."""
    for field in _all(root, "PFD"):
        for polygon in (e for e in field if _local(e) == "PLN"):
            lines = sorted((e for e in polygon if _local(e) == "LSG"), key=lambda e: e.get("A", ""))
            rings = [
                [_place(p.get("D"), p.get("C")) for p in line if _local(p) == "PNT"]
                for line in lines
                if line.get("A") in {"1", "2"}
            ]
            if rings:
                yield Outline((field.get("C") or "").strip(), _shape(rings))


def _place(longitude: str | None, latitude: str | None) -> tuple[float, float]:
    try:
        return float(longitude or ""), float(latitude or "")
    except ValueError:
        raise BadShapeError(say("a position is no number"), say("export it again")) from None


def typed_corners(shape: Polygonal) -> str:
    """Return a boundary as it is typed: to a centimetre what ``outlines`` reads."""
    rings = [ring for part in shapely.get_parts(shape) for ring in (part.exterior, *part.interiors)]
    return "\n\n".join(
        "\n".join(f"{latitude:.7f}, {longitude:.7f}" for longitude, latitude in ring.coords[:-1])
        for ring in rings
    )


def _typed_shape(text: str) -> Polygonal:
    """Parts of a boundary with an empty line between them; a part within another is a hole."""
    blocks = [
        block for block in re.split(r"\n[^\S\n]*\n\s*", text.replace("\r", "")) if block.strip()
    ]
    if len(blocks[0].splitlines()) < _LEAST_CORNERS:
        blocks = ["\n".join(blocks)]  # typed with empty lines between corners
    rings = [_typed(block) for block in blocks]
    if len(rings) == 1:
        return _shape(rings)
    wholes = [_shape([ring]) for ring in rings]
    # A ring is a hole in the smallest that holds it, if an odd number of rings do.
    held_by = [
        sorted(
            (j for j, other in enumerate(wholes) if j != i and other.contains(one)),
            key=lambda j: wholes[j].area,
        )
        for i, one in enumerate(wholes)
    ]
    parts = [
        [rings[i], *(rings[j] for j, by in enumerate(held_by) if len(by) % 2 and by[0] == i)]
        for i, by in enumerate(held_by)
        if not len(by) % 2
    ]
    found = _closed([[[list(at) for at in ring] for ring in part] for part in parts])
    return found.geoms[0] if len(parts) == 1 and isinstance(found, shapely.MultiPolygon) else found


def _typed(text: str) -> Ring:
    """Corners as people and phones write them: latitude first, one a line."""
    ring = []
    for number, line in enumerate(filter(str.strip, text.splitlines()), start=1):
        place = typed_place(line)
        if place is None:
            wrong = say("line {n} is no corner", n=number)
            raise BadShapeError(wrong, say("write latitude, longitude: 41.6278, -96.9588"))
        ring.append([place[1], place[0]])
    if len(ring) < _LEAST_CORNERS:
        wrong = say("a field has at least 3 corners")
        raise BadShapeError(wrong, say("add the corners that are missing"))
    return ring if len(ring) < _WALKED else _simplified(ring)


def typed_place(text: str) -> tuple[float, float] | None:
    """Return latitude and longitude of a text with both, None where it is none. [degrees]"""
    plain = _SIXTIETHS.sub(_degrees, text).replace("\N{MINUS SIGN}", "-")
    found = _CORNER.fullmatch(plain)
    if found is None:  # decimals after a comma, as much of the world writes them
        found = _CORNER.fullmatch(_COMMAS.sub(r"\1.\2", plain))
    if found is None:
        return None
    first, second = (
        float(number) * (-1.0 if letter.upper() in {"S", "W"} else 1.0)
        for number, letter in ((found[1], found[2]), (found[3], found[4]))
    )
    if found[2].upper() in {"E", "W"}:
        first, second = second, first
    return (first, second) if abs(first) <= 90 and abs(second) <= 180 else None


def _degrees(found: re.Match[str]) -> str:
    degrees, minutes, seconds = (float(part or 0) for part in found.groups())
    return f"{degrees + minutes / 60 + seconds / 3600:.8f} "


def _all(root: "Element", name: str) -> "list[Element]":
    return [e for e in root.iter() if _local(e) == name]


def _local(element: "Element") -> str:
    return str(element.tag).rpartition("}")[2]
