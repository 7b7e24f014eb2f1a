"""Packed boundaries: shapefiles as another library writes them, KMZ, and what must not be taken."""

import base64
import io
import random
import zipfile
from collections.abc import Mapping

import pyproj
import pytest
import shapefile
import shapely

from watcher.farm.geometry.boundaries import BadShapeError
from watcher.farm.geometry.importing import outlines

# Invented ground.
SQUARE = shapely.box(-96.95, 41.62, -96.94, 41.63)
WGS84 = pyproj.CRS.from_epsg(4326).to_wkt("WKT1_ESRI")
UTM14 = pyproj.CRS.from_epsg(32614).to_wkt("WKT1_ESRI")


def packed(parts: Mapping[str, bytes]) -> str:
    """A zip as the page sends it."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as file:
        for name, data in parts.items():
            file.writestr(name, data)
    return "data:application/zip;base64," + base64.b64encode(out.getvalue()).decode()


def parts(prj: str, shape: shapely.Polygon = SQUARE, name: str = "Hill") -> dict[str, bytes]:
    """A shapefile of one field, written by the library that others use."""
    shp, shx, dbf = io.BytesIO(), io.BytesIO(), io.BytesIO()
    with shapefile.Writer(shp=shp, shx=shx, dbf=dbf) as writer:
        writer.field("NAME", "C", size=40)
        writer.poly([[list(at) for at in shape.exterior.coords]])
        writer.record(name)
    held = {"shp": shp, "shx": shx, "dbf": dbf}
    return {f"export/fields.{end}": data.getvalue() for end, data in held.items()} | {
        "export/fields.prj": prj.encode()
    }


def test_a_shapefile_in_degrees_is_read_with_its_name() -> None:
    [found] = outlines(packed(parts(WGS84)))
    assert found.name == "Hill"
    assert found.shape.symmetric_difference(SQUARE).area < 1e-12


def test_one_in_metres_is_brought_to_degrees() -> None:
    to_utm = pyproj.Transformer.from_crs("EPSG:4326", "EPSG:32614", always_xy=True).transform
    in_metres = shapely.transform(SQUARE, to_utm, interleaved=False)
    [found] = outlines(packed(parts(UTM14, in_metres)))
    assert found.shape.symmetric_difference(SQUARE).area < 1e-9


def test_a_kmz_is_its_kml() -> None:
    ring = "-96.95,41.62 -96.94,41.62 -96.94,41.63 -96.95,41.63 -96.95,41.62"
    kml = f"<kml><Placemark><name>Creek</name><Polygon><outerBoundaryIs><coordinates>{ring}"
    kml += "</coordinates></outerBoundaryIs></Polygon></Placemark></kml>"
    [found] = outlines(packed({"doc.kml": kml.encode()}))
    assert found.name == "Creek"
    assert found.shape.equals(SQUARE)


KML = b"""<kml><Placemark><Polygon><outerBoundaryIs><coordinates>
-96.95,41.62 -96.94,41.62 -96.94,41.63 -96.95,41.63
</coordinates></outerBoundaryIs></Polygon></Placemark></kml>"""


def test_four_million_bytes_of_a_part_are_taken_and_none_more() -> None:
    [found] = outlines(packed({"doc.kml": KML.ljust(4_000_000)}))
    assert found.shape.equals(SQUARE)
    with pytest.raises(BadShapeError, match="too large") as refused:
        outlines(packed({"a" * 100 + ".kml": KML.ljust(4_000_001)}))
    assert str(refused.value.wrong).startswith("a" * 56 + ".kml is too large")


def test_the_first_fifty_parts_are_looked_at() -> None:
    others = {f"{number}.png": b"" for number in range(49)}
    [found] = outlines(packed(others | {"doc.kml": KML}))
    assert found.shape.equals(SQUARE)
    with pytest.raises(BadShapeError, match="holds no boundary"):
        outlines(packed(others | {"50.png": b"", "doc.kml": KML}))


def test_what_an_archiver_puts_beside_a_shapefile_is_passed_over() -> None:
    [found] = outlines(packed(parts(WGS84) | {"__MACOSX/export/._fields.shp": b"\0\5\x16\7"}))
    assert found.name == "Hill"


def test_text_that_is_not_all_base64_is_refused() -> None:
    text = packed({"doc.kml": KML})
    with pytest.raises(BadShapeError, match="can be read"):
        outlines(text[:60] + "!" + text[60:])


def without(end: str) -> dict[str, bytes]:
    return {name: data for name, data in parts(WGS84).items() if not name.endswith(end)}


BROKEN = {
    "no zip": ("data:;base64," + base64.b64encode(b"hello").decode(), "can be read"),
    "no base64": ("data:;base64,%%%", "can be read"),
    "cut off": (packed(parts(WGS84))[:300], "can be read"),
    "empty": (packed({}), "holds no boundary"),
    "no coordinates told": (packed(without(".prj")), ".prj is missing"),
    "unknown coordinates": (packed(parts("LOCAL[1]")), "not known"),
    "no shapes in it": (packed(without(".shp")), "holds no boundary"),
    "spoiled": (packed(parts(WGS84) | {"export/fields.shp": b"\0" * 120}), ""),
    "a bomb": (packed({"doc.kml": b" " * 5_000_000}), "too large"),
}


@pytest.mark.parametrize("what", BROKEN)
def test_what_cannot_be_taken_is_said(what: str) -> None:
    text, said = BROKEN[what]
    with pytest.raises(BadShapeError) as refused:
        outlines(text)
    assert said in str(refused.value.wrong)
    assert str(refused.value.mend)


def test_a_spoiled_shapefile_is_a_boundary_or_refused() -> None:
    """Bytes turned at random, and ends cut off: never anything but one of the two."""
    whole, dice = parts(WGS84), random.Random(3)
    refused = 0
    for _ in range(60):
        name = dice.choice(sorted(whole))
        data = bytearray(whole[name])
        for _ in range(dice.randint(1, 6)):
            data[dice.randrange(len(data))] = dice.randrange(256)
        cut = dice.randrange(len(data)) if dice.random() < 0.3 else len(data)
        try:
            assert outlines(packed(whole | {name: bytes(data[:cut])}))
        except BadShapeError:
            refused += 1
    assert 0 < refused < 60
