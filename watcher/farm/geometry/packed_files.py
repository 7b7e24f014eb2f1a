"""Files of boundaries that are packed: KMZ, and shapefiles in a zip. Read within bounds.

A page sends them as text: a ``data:`` address (RFC 2397) in base64.
"""

import base64
import io
import struct
import zipfile
from collections.abc import Iterator
from typing import Any

import shapely

from watcher.farm.geometry.boundaries import BadShapeError
from watcher.i18n.message import say

PREFIX = "data:"
_MOST_BYTES = 4_000_000
"""Of one part when it is unpacked: a farm's boundaries are far less."""
_MOST_PARTS = 50
_AGAIN = say("export it again, as GeoJSON where you can choose")


def unpacked(text: str) -> str | dict[str, Any]:
    """Return the KML of a KMZ, or the features of a zipped shapefile as GeoJSON has them.

    Raises ``BadShapeError`` with what is wrong and the mend.
    """
    try:
        packed = base64.b64decode(text.partition(",")[2], validate=True)
        with zipfile.ZipFile(io.BytesIO(packed)) as parts:
            return _of_zip(parts)
    except (zipfile.BadZipFile, ValueError, struct.error, OSError, RuntimeError, EOFError) as error:
        wrong = say("this is no KMZ and no shapefile in a zip that can be read")
        raise BadShapeError(wrong, _AGAIN) from error


def _of_zip(parts: zipfile.ZipFile) -> str | dict[str, Any]:
    names = parts.namelist()[:_MOST_PARTS]
    kml = [name for name in names if name.lower().endswith(".kml")]
    if kml:
        return _part(parts, kml[0]).decode("utf-8-sig")
    found: list[dict[str, Any]] = []
    for name in names:
        if name.lower().endswith(".shp") and not name.startswith("__MACOSX"):
            found += _of_shapefile(parts, name[: -len(".shp")], names)
    return {"type": "FeatureCollection", "features": found}


def _part(parts: zipfile.ZipFile, name: str) -> bytes:
    """One part, however little it says it holds: packing of many layers is not undone."""
    with parts.open(name) as part:
        read = part.read(_MOST_BYTES + 1)
    if len(read) > _MOST_BYTES:
        wrong = say("{name} is too large when it is unpacked", name=name[-60:])
        raise BadShapeError(wrong, say("export only the fields you spray"))
    return read


def _of_shapefile(parts: zipfile.ZipFile, stem: str, names: list[str]) -> Iterator[dict[str, Any]]:
    import shapefile  # noqa: PLC0415 - needed once in the life of a farm

    held = {name[len(stem) :].lower(): name for name in names if name.startswith(stem + ".")}
    read = {end: _part(parts, held[end]) for end in (".shp", ".dbf", ".prj") if end in held}
    if ".prj" not in read:
        wrong = say("the shapefile does not say in which coordinates it is: its .prj is missing")
        raise BadShapeError(wrong, _AGAIN)
    to_degrees = _to_degrees(read[".prj"].decode("latin-1"))
    dbf = io.BytesIO(read[".dbf"]) if ".dbf" in read else None
    try:
        with shapefile.Reader(shp=io.BytesIO(read[".shp"]), dbf=dbf) as shapes:
            for number, shape in enumerate(shapes.shapes()):
                about = shapes.record(number).as_dict() if dbf is not None else {}
                geometry = shapely.geometry.shape(shape.__geo_interface__)
                degrees = shapely.transform(geometry, to_degrees, interleaved=False)
                yield {
                    "type": "Feature",
                    "properties": {key: str(value).strip() for key, value in about.items()},
                    "geometry": shapely.geometry.mapping(degrees),
                }
    except Exception as error:  # whatever a spoiled one makes of its reader
        raise ValueError("no shapefile") from error


def _to_degrees(wkt: str) -> Any:
    """What brings coordinates of a system to degrees, longitude first."""
    import pyproj  # noqa: PLC0415 - once for a file of outlines

    try:
        of = pyproj.CRS.from_wkt(wkt)
    except pyproj.exceptions.CRSError:
        wrong = say("the shapefile is in coordinates that are not known")
        raise BadShapeError(wrong, _AGAIN) from None
    return pyproj.Transformer.from_crs(of, "EPSG:4326", always_xy=True).transform
