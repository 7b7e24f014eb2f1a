"""Boundaries from other programs and phones in whatever form they come, and what is none."""

import json

import numpy as np
import pytest
import shapely

from watcher.farm.geometry.boundaries import BadShapeError
from watcher.farm.geometry.importing import outlines, typed_place

# Invented ground.
RING = [[-96.95, 41.62], [-96.94, 41.62], [-96.94, 41.63], [-96.95, 41.63], [-96.95, 41.62]]
SQUARE = shapely.Polygon(RING)
GEOMETRY = {"type": "Polygon", "coordinates": [RING]}
OPEN = {"type": "Polygon", "coordinates": [RING[:-1]]}


def feature(geometry: object = GEOMETRY, **more: object) -> dict[str, object]:
    return {"type": "Feature", "geometry": geometry} | more


def collection(*features: object) -> str:
    return json.dumps({"type": "FeatureCollection", "features": list(features)})


KML = """<?xml version="1.0"?><kml xmlns="http://www.opengis.net/kml/2.2"><Document><Folder>
<Placemark><name>North piece</name><Polygon><outerBoundaryIs><LinearRing><coordinates>
-96.95,41.62,0 -96.94,41.62,0 -96.94,41.63,0 -96.95,41.63,0 -96.95,41.62,0
</coordinates></LinearRing></outerBoundaryIs></Polygon></Placemark></Folder></Document></kml>"""
GPX = """<gpx version="1.1" xmlns="http://www.topografix.com/GPX/1/1">
<trk><name>Walked</name><trkseg>
<trkpt lat="41.62" lon="-96.95"/><trkpt lat="41.62" lon="-96.945"/><trkpt lat="41.62" lon="-96.94"/>
<trkpt lat="41.63" lon="-96.94"/><trkpt lat="41.63" lon="-96.95"/></trkseg></trk></gpx>"""
ISOXML = """<ISO11783_TaskData VersionMajor="4"><PFD A="PFD1" C="Long eighty" D="900000">
<PLN A="1"><LSG A="1"><PNT A="2" C="41.62" D="-96.95"/><PNT A="2" C="41.62" D="-96.94"/>
<PNT A="2" C="41.63" D="-96.94"/><PNT A="2" C="41.63" D="-96.95"/></LSG></PLN></PFD>
</ISO11783_TaskData>"""
TYPED = "41.62, -96.95\n41.62, -96.94\n\n41.63 -96.94\n41.63; -96.95\n"
LETTERS = "41.62 N, 96.95 W\n96.94 W, 41.62 N\n41.63°N 96.94°W\n41.63N 96.95W"
FORMS = {
    "id beside": (collection(feature(id="west")), "west"),
    "id in properties": (collection(feature(properties={"id": 7, "area": 3})), "7"),
    "name in properties": (collection(feature(properties={"NAME": "Hill", "id": 1})), "Hill"),
    "no name": (collection(feature(properties=None)), ""),
    "properties that are none": (collection(feature(properties=[1], id="west")), "west"),
    "an empty name": (collection(feature(properties={"name": " ", "field": True}, id="w")), "w"),
    "one feature": (json.dumps(feature()), ""),
    "bare": (json.dumps(GEOMETRY), ""),
    "not closed": (json.dumps(OPEN), ""),
    "in a collection of geometries": (
        json.dumps({"type": "GeometryCollection", "geometries": [GEOMETRY]}),
        "",
    ),
    "a line": (json.dumps({"type": "LineString", "coordinates": RING}), ""),
    "KML": (KML, "North piece"),
    "GPX": (GPX, "Walked"),
    "ISOXML": (ISOXML, "Long eighty"),
    "typed": (TYPED, ""),
    "typed with letters": (LETTERS, ""),
    "byte order mark": ("\ufeff" + json.dumps(GEOMETRY), ""),
}


@pytest.mark.parametrize("form", FORMS)
def test_it_is_the_same_field_in_every_form(form: str) -> None:
    text, name = FORMS[form]
    [found] = outlines(text)
    assert found.name == name
    assert found.shape.symmetric_difference(SQUARE).area < 1e-12
    assert shapely.get_num_coordinates(found.shape) == len(RING)


@pytest.mark.parametrize("features", [5, "x", {"type": "Polygon"}])
def test_features_that_are_no_list_are_none(features: object) -> None:
    with pytest.raises(BadShapeError, match="holds no boundary"):
        outlines(json.dumps({"type": "FeatureCollection", "features": features}))


def test_a_triangle_that_is_not_closed_is_closed() -> None:
    [found] = outlines(json.dumps({"type": "Polygon", "coordinates": [RING[:3]]}))
    assert found.shape.area == pytest.approx(SQUARE.area / 2)
    with pytest.raises(BadShapeError, match="a ring has 2 positions"):
        outlines(json.dumps({"type": "Polygon", "coordinates": [RING[:2]]}))


def test_at_most_two_hundred_boundaries_are_taken() -> None:
    assert len(outlines(collection(*[feature()] * 200))) == 200
    assert len(outlines(collection(*[feature()] * 201))) == 200


def test_every_field_of_a_file_comes() -> None:
    other = shapely.transform(SQUARE, lambda at: at + np.array([0.02, 0.0]))
    geometry = json.loads(shapely.to_geojson(other))
    found = outlines(collection(feature(id="a"), feature(geometry, id="b")))
    assert [one.name for one in found] == ["a", "b"]


def test_a_hole_stays_a_hole() -> None:
    hole = [[-96.946, 41.624], [-96.944, 41.624], [-96.944, 41.626], [-96.946, 41.624]]
    [found] = outlines(json.dumps({"type": "Polygon", "coordinates": [RING, hole]}))
    assert found.shape.area == pytest.approx(SQUARE.area - shapely.Polygon(hole).area)


def walked(*places: tuple[float, float]) -> str:
    points = "".join(f'<trkpt lat="{lat}" lon="{lon}"/>' for lon, lat in places)
    return f"<gpx><trk><trkseg>{points}</trkseg></trk></gpx>"


@pytest.mark.parametrize(("off", "corners"), [(1.4e-5, 4), (1.6e-5, 5), (-1.6e-5, 5)])
def test_a_walk_bends_where_it_is_a_metre_and_a_half_off_its_line(off: float, corners: int) -> None:
    lower, upper = 41.62, 41.63
    way = [(-96.95, lower), (-96.945, lower + off), (-96.94, lower), (-96.94, upper)]
    [found] = outlines(walked(*way, (-96.95, upper)))
    assert len(found.shape.exterior.coords) - 1 == corners


def test_three_places_are_not_a_walk_round_a_field() -> None:
    assert len(outlines(walked(*RING[:4]))) == 1
    with pytest.raises(BadShapeError, match="holds no boundary"):
        outlines(walked(*RING[:3]))


def typed(ring: object) -> str:
    return "\n".join(f"{lat}, {lon}" for lon, lat in ring)


@pytest.mark.parametrize(("count", "kept"), [(49, 49), (50, 4)])
def test_fifty_corners_were_walked_and_fewer_typed(count: int, kept: int) -> None:
    along = [[-96.95 + 0.01 * k / (count - 3), 41.62] for k in range(count - 2)]
    [found] = outlines(typed([*along, [-96.94, 41.63], [-96.95, 41.63]]))
    assert len(found.shape.exterior.coords) - 1 == kept


def box(west: float, size: float, south: float = 41.6) -> list[list[float]]:
    return [[west, south], [west + size, south], [west + size, south + size], [west, south + size]]


def test_parts_of_three_corners_may_be_typed() -> None:
    one, other = box(-96.95, 0.01)[:3], box(-96.93, 0.01)[:3]
    [found] = outlines(f"{typed(one)}\n\n{typed(other)}")
    assert found.shape.geom_type == "MultiPolygon"
    assert found.shape.area == pytest.approx(1e-4)
    with pytest.raises(BadShapeError, match="at least 3 corners"):
        outlines(f"{typed(one)}\n\n{typed(other[:1])}")


def test_a_part_within_a_part_is_a_hole_and_within_that_ground_again() -> None:
    sizes = [0.08, 0.06, 0.04, 0.02]
    rings = [box(-97 - size / 2, size, 41 - size / 2) for size in sizes]
    [found] = outlines("\n\n".join(typed(ring) for ring in rings))
    assert found.shape.area == pytest.approx(0.08**2 - 0.06**2 + 0.04**2 - 0.02**2)
    assert len(found.shape.geoms) == 2
    [whole] = outlines("\n\n".join(typed(ring) for ring in rings[:2]))
    assert whole.shape.geom_type == "Polygon"


def test_the_outline_and_holes_of_a_partfield_are_taken_in_whatever_order() -> None:
    def line(kind: int, ring: list[list[float]]) -> str:
        points = "".join(f'<PNT A="2" C="{lat}" D="{lon}"/>' for lon, lat in ring)
        return f'<LSG A="{kind}">{points}</LSG>'

    lines = line(2, box(-96.93, 0.02, 41.62)), line(5, RING), line(1, box(-96.95, 0.06))
    text = f'<ISO11783_TaskData><PFD><PLN A="1">{"".join(lines)}</PLN></PFD></ISO11783_TaskData>'
    [found] = outlines(text)
    assert found.name == ""
    assert found.shape.area == pytest.approx(0.06**2 - 0.02**2)


def test_a_noisy_walk_is_the_field_within_a_metre_and_a_half() -> None:
    """A position every 3 m, off by up to a metre, as of a good receiver (value from memory)."""
    rng = np.random.default_rng(4)
    metre = 1 / 111_195
    line = shapely.segmentize(SQUARE.exterior, 3 * metre)
    walked = (
        shapely.get_coordinates(line)[:-1] + rng.uniform(-1, 1, (len(line.coords) - 1, 2)) * metre
    )
    points = "".join(f'<trkpt lat="{lat:.8f}" lon="{lon:.8f}"/>' for lon, lat in walked)
    [found] = outlines(f"<gpx><trk><trkseg>{points}</trkseg></trk></gpx>")
    assert shapely.hausdorff_distance(found.shape.exterior, SQUARE.exterior) < 4 * metre
    assert len(found.shape.exterior.coords) < len(walked) / 2
    assert found.shape.area == pytest.approx(SQUARE.area, rel=0.01)
    [typed] = outlines("\n".join(f"{lat:.8f}, {lon:.8f}" for lon, lat in walked))
    assert typed.shape.equals(found.shape)  # as the page walks it


LAUGHS = '<!DOCTYPE k [<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;&a;">]><kml>&b;</kml>'
OUTSIDE = '<!DOCTYPE k [<!ENTITY a SYSTEM "file:///etc/passwd">]><kml>&a;</kml>'
BROKEN = {
    "": "there is no boundary yet",
    "   \n ": "there is no boundary yet",
    "{": "this is not JSON",
    "[" * 100_000: "this is not JSON",
    "{}": "it holds no boundary",
    "<kml>": "this is not XML that can be read",
    "<kml/>": "it holds no boundary",
    LAUGHS: "this is not XML that can be read",
    OUTSIDE: "this is not XML that can be read",
    "<gpx><trk><trkseg/></trk></gpx>": "it holds no boundary",
    KML.replace("-96.94,41.63,0", "west,41.63"): "a position is no number",
    ISOXML.replace('C="41.63" D="-96.94"', 'D="-96.94"'): "a position is no number",
    "41.62, -96.95\n41.62, -96.94": "at least 3 corners",
    "41.62, -96.95\nby the tree\n41.62, -96.94": "line 2 is no corner",
    "91.62, -96.95\n41.6, -96.9\n41.7, -96.9": "line 1 is no corner",
    "41.62, -96.95\n41.63, -96.94\n41.63, -96.95\n41.62, -96.94": "crosses or touches itself",
    json.dumps({"type": "Point", "coordinates": [1, 2]}): "it holds no boundary",
    json.dumps({"type": "Polygon", "coordinates": []}): "not a list, or empty",
    json.dumps(
        {"type": "Polygon", "coordinates": [[[500000, 4600000]] * 4]}
    ): "no place in degrees",
    json.dumps({"type": "Polygon", "coordinates": [[["a", "b"]] * 4]}): "a position holds",
}


@pytest.mark.parametrize("text", BROKEN, ids=lambda text: text[:30])
def test_what_is_no_boundary_is_said_with_its_mend(text: str) -> None:
    with pytest.raises(BadShapeError) as refused:
        outlines(text)
    said = str(refused.value.wrong)
    assert BROKEN[text].replace("no place", "not a place") in said or BROKEN[text] in said
    assert str(refused.value.mend)


@pytest.mark.parametrize(
    ("text", "place"),
    [
        ("41.5, -96.25", (41.5, -96.25)),
        ("41.5 N 96.25 W", (41.5, -96.25)),
        ("96.25W, 41.5N", (41.5, -96.25)),
        ("-34.5 -58.4", (-34.5, -58.4)),
        ("geo:41.5,-96.25", (41.5, -96.25)),
        ("geo:41.5,-96.25;u=35", (41.5, -96.25)),
        ("41,5; -96,25", (41.5, -96.25)),
        ("41.5, \N{MINUS SIGN}96.25", (41.5, -96.25)),
        ("41°30'00\"N 96°15'00\"W", (41.5, -96.25)),
        ("41° 30.0′ N, 96° 15.0′ W", (41.5, -96.25)),
        ("41°30'36\"N 96°15'54\"W", (41.51, -96.265)),  # 36/3600 and 54/3600 of a degree more
        ("90, 180", (90.0, 180.0)),
        ("-90, -180", (-90.0, -180.0)),
        ("90.1, 20", None),
        ("20, 180.1", None),
        ("-90.1, 20", None),
        ("20, -180.1", None),
        ("here", None),
        ("41.5", None),
        ("141.5, 20", None),
    ],
)
def test_a_place_is_read_as_phones_and_people_write_it(
    text: str, place: tuple[float, float] | None
) -> None:
    assert typed_place(text) == place
