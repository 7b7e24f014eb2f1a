"""From nothing to a ranked message in a real browser: drawn, walked, and by every import."""

import io
import json
import random
import tempfile
import zipfile
from collections.abc import AsyncIterator, Callable
from pathlib import Path
from typing import Any

import gpxpy.gpx
import numpy as np
import pyogrio.raw
import pytest
import shapely
from fastkml import KML, Document, Placemark
from lxml import etree
from playwright.async_api import Browser, Page, expect

from tests.support.first_farm_run import (
    STATION,
    FromNothing,
    Hand,
    draw,
    enter,
    from_nothing,
    tell_the_phone,
    tell_the_rest,
    tell_the_station,
    to_the_message,
    weighed,
)
from watcher.farm.load import load

pytestmark = pytest.mark.long

PHONE = {"width": 360, "height": 640}
METRE = 1 / 111_195
# Invented ground, 600 m each way.
EAST = METRE / np.cos(np.radians(41.625))
SQUARE = shapely.box(
    -96.945 - 300 * EAST, 41.625 - 300 * METRE, -96.945 + 300 * EAST, 41.625 + 300 * METRE
)
AREA_M2 = 600.0**2


@pytest.fixture
async def start(tmp_path: Path) -> AsyncIterator[FromNothing]:
    async with from_nothing(tmp_path) as found:
        yield found


async def hand_of(browser: Browser, **more: Any) -> tuple[Hand, list[str]]:
    context = await browser.new_context(viewport=PHONE, locale="en-US", **more)  # type: ignore[arg-type]
    page = await context.new_page()
    page.set_default_timeout(15_000)
    wrong: list[str] = []
    page.on("pageerror", lambda error: wrong.append(str(error)))
    # While the watch starts nobody answers well yet: the page asks until somebody does.
    own = lambda m: m.type == "error" and "status of 503" not in m.text  # noqa: E731
    page.on("console", lambda m: wrong.append(m.text) if own(m) else None)
    return Hand(page), wrong


async def finish(hand: Hand, start: FromNothing, field: str) -> None:
    """All that comes after the field, and that its ranking is pushed and shown."""
    await tell_the_rest(hand, field=field)
    await tell_the_station(hand, start)
    await tell_the_phone(hand, start)
    await expect(hand.page.get_by_text("Ready to watch")).to_be_visible()
    title = await to_the_message(hand, start, field)
    assert field in title, title


async def test_drawn_with_a_finger(browser: Browser, start: FromNothing) -> None:
    hand, wrong = await hand_of(browser)
    await enter(hand, start)
    await draw(hand)
    await finish(hand, start, "hill")
    farm = load(start.file)
    assert farm.ground.area_m2("hill") == pytest.approx(AREA_M2, rel=0.02)
    assert farm.config.sources["mast"].heights.wind == pytest.approx(3.048)
    assert wrong == []


async def test_walked_with_noisy_positions(browser: Browser, start: FromNothing) -> None:
    """A position every 30 m, off by 2 m (one standard deviation) each way, as of a phone outdoors.

    The area is then off by less than 2 %.
    """
    hand, wrong = await hand_of(browser, permissions=["geolocation"])
    await enter(hand, start)
    dice = random.Random(11)
    line = shapely.segmentize(SQUARE.exterior, 30 * METRE)
    says = hand.page.locator("#draw-says")
    await hand.press("Walk or drive around it")
    for count, (east, north) in enumerate(shapely.get_coordinates(line)[:-1], start=1):
        position: Any = {
            "latitude": north + dice.gauss(0, 2) * METRE,
            "longitude": east + dice.gauss(0, 2) * EAST,
            "accuracy": 4,
        }
        await hand.page.context.set_geolocation(position)
        await expect(says).to_contain_text(f"Corners: {count}")
    await expect(says).to_contain_text("Within metres: 4")
    await hand.press("I am round")
    await finish(hand, start, "field")
    farm = load(start.file)
    assert farm.ground.area_m2("field") == pytest.approx(AREA_M2, rel=0.02)
    # A shape that is not round yet may cross itself: that is told in place, with 422.
    assert [w for w in wrong if "status of 422" not in w] == []


def _geojson() -> tuple[str, bytes]:
    """As programs export it: ids and names among the properties."""
    geometry = json.loads(shapely.to_geojson(SQUARE))
    feature = {"type": "Feature", "properties": {"FIELD_NAME": "Hill"}, "geometry": geometry}
    return "fields.geojson", json.dumps(
        {"type": "FeatureCollection", "features": [feature]}
    ).encode()


def _by_gdal(to: str | io.BytesIO, driver: str) -> None:
    pyogrio.raw.write(
        to,
        np.array([shapely.to_wkb(SQUARE)], dtype=object),
        [np.array(["Hill"], dtype=object)],
        np.array(["Name"]),
        driver=driver,
        geometry_type="Polygon",
        crs="EPSG:4326",
    )


def _gdal_geojson() -> tuple[str, bytes]:
    out = io.BytesIO()
    _by_gdal(out, "GeoJSON")
    return "fields.json", out.getvalue()


def _shapefile() -> tuple[str, bytes]:
    out = io.BytesIO()
    with tempfile.TemporaryDirectory() as folder, zipfile.ZipFile(out, "w") as packed:
        _by_gdal(f"{folder}/fields.shp", "ESRI Shapefile")
        for part in sorted(Path(folder).iterdir()):
            packed.write(part, part.name)
    return "fields.zip", out.getvalue()


def _kml_text() -> str:
    found = KML(features=[Document(features=[Placemark(name="Hill", geometry=SQUARE)])])
    return str(found.to_string())


def _kml() -> tuple[str, bytes]:
    return "fields.kml", _kml_text().encode()


def _kmz() -> tuple[str, bytes]:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("doc.kml", _kml_text())
    return "fields.kmz", out.getvalue()


def _gpx() -> tuple[str, bytes]:
    gpx = gpxpy.gpx.GPX()
    track = gpxpy.gpx.GPXTrack(name="Hill")
    segment = gpxpy.gpx.GPXTrackSegment()
    for east, north in shapely.get_coordinates(shapely.segmentize(SQUARE.exterior, 20 * METRE)):
        segment.points.append(
            gpxpy.gpx.GPXTrackPoint(latitude=north, longitude=east, elevation=300)
        )
    track.segments.append(segment)
    gpx.tracks.append(track)
    return "walk.gpx", gpx.to_xml().encode()


def _isoxml() -> tuple[str, bytes]:
    root = etree.Element("ISO11783_TaskData", VersionMajor="4", VersionMinor="3")
    part = etree.SubElement(root, "PFD", A="PFD1", C="Hill", D="360000")
    ring = etree.SubElement(etree.SubElement(part, "PLN", A="1"), "LSG", A="1")
    for east, north in shapely.get_coordinates(SQUARE):
        etree.SubElement(ring, "PNT", A="2", C=f"{north:.9f}", D=f"{east:.9f}")
    return "TASKDATA.XML", etree.tostring(root, xml_declaration=True, encoding="UTF-8")


IMPORTS: dict[str, Callable[[], tuple[str, bytes]]] = {
    "GeoJSON with names among the properties": _geojson,
    "GeoJSON by GDAL": _gdal_geojson,
    "a shapefile by GDAL": _shapefile,
    "KML": _kml,
    "KMZ": _kmz,
    "GPX": _gpx,
    "ISOXML": _isoxml,
}


@pytest.mark.parametrize("form", IMPORTS)
async def test_by_a_file_of_another_program(
    browser: Browser, start: FromNothing, form: str
) -> None:
    hand, wrong = await hand_of(browser)
    await enter(hand, start)
    name, content = IMPORTS[form]()
    file: Any = {"name": name, "mimeType": "application/octet-stream", "buffer": content}
    await hand.page.locator("#file").set_input_files(file)
    await expect(hand.page.locator("#f-corners")).not_to_have_value("")
    await finish(hand, start, "hill")
    assert load(start.file).ground.area_m2("hill") == pytest.approx(AREA_M2, rel=0.005)
    assert wrong == []


async def _keyed(page: Page, name: str) -> None:
    """Go to a button by the Tab key alone and press it."""
    for _ in range(80):
        await page.keyboard.press("Tab")
        if await page.evaluate("document.activeElement.textContent.trim()") == name:
            break
    else:
        raise AssertionError(f"the Tab key never comes to {name}")
    async with page.expect_navigation():
        await page.keyboard.press("Enter")


async def _typed(page: Page, given: dict[str, str]) -> None:
    """Fill in fields in the order the Tab key comes to them; lists by their first letters."""
    left = dict(given)
    for _ in range(120):
        if not left:
            return
        await page.keyboard.press("Tab")
        at = await page.evaluate("document.activeElement.name || ''")
        if at in left:
            value = left.pop(at)
            if await page.evaluate("document.activeElement.tagName") == "SELECT":
                for _ in range(int(value)):
                    await page.keyboard.press("ArrowDown")
            else:
                await page.keyboard.type(value)
    raise AssertionError(f"the Tab key never comes to {left}")


async def test_by_keyboard_alone(browser: Browser, start: FromNothing) -> None:
    """No tap at all: Tab, arrows, letters and Enter, corners on the grid among them."""
    hand, wrong = await hand_of(browser)
    page = hand.page
    await page.goto(start.link)
    await _keyed(page, "Begin")
    await _typed(page, {"place": "41.6250, -96.9450", "farm_name": "Invented"})
    await _keyed(page, "Next")
    for _ in range(40):
        await page.keyboard.press("Tab")
        if await page.evaluate("document.activeElement.id") == "grid":
            break
    for keys in ("ArrowLeft", "ArrowDown", "ArrowRight", "ArrowUp"):
        for _ in range(12 if keys in {"ArrowLeft", "ArrowDown"} else 24):
            await page.keyboard.press(keys)
        await page.keyboard.press("Enter")
    await expect(page.locator("#draw-says")).to_contain_text("Corners: 4")
    await _typed(page, {"name": "Hill"})
    await _keyed(page, "Next")
    await _typed(page, {"crop": "soybeans", "canopy": "12 in", "weeds": "1", "target": "3"})
    await _keyed(page, "Next")
    await _typed(page, {"north:minds": "1", "north:grows": "corn"})
    await _typed(page, {"south:minds": "2", "south:grows": "grapes"})
    await _keyed(page, "Next")
    await _typed(
        page,
        {
            "width": "90 ft", "height": "20 in", "speed": "6 mph", "tank": "1000 gal",
            "efficiency": "65 %", "fill": "20 min", "nozzle": "4", "droplets": "5",
            "carrier": "15 gal/acre",
        },
    )  # fmt: skip
    await _keyed(page, "Next")
    await _typed(page, {"wind:low": "3 mph", "wind:high": "10 mph", "gust:high": "15 mph"})
    await _keyed(page, "Next")
    await _typed(page, {"feed": "2"})
    await _keyed(page, "Next")
    await _typed(page, {"sent": json.dumps(STATION)})
    await _keyed(page, "Look at what came")
    await _typed(page, {"height": "10 ft"})
    await _keyed(page, "Next")
    await _keyed(page, "Send a test to grower")
    assert start.receiver.wait_for(1)[-1].title == "Test of the weather watch"
    reached = start.receiver.url().get_secret_value()
    await _typed(page, {"new_name": "Ana", "address": reached})
    await _keyed(page, "Keep it and send a test")
    assert len(start.receiver.wait_for(2)) == 2
    await _keyed(page, "Next")
    await _keyed(page, "Start watching")
    assert start.visit.written.is_set()
    farm = load(start.file).config
    assert farm.fields["hill"].crop == "soybeans"
    assert [one.susceptibility.value for one in farm.neighbours.values()] == [
        "tolerant",
        "susceptible",
    ]
    assert farm.sources["mast"].heights.wind == pytest.approx(3.048)
    assert list(farm.recipients) == ["grower", "ana"]
    assert farm.sources["forecast"].kind == "met_norway"
    assert farm.setups["setup"].droplets.words == "coarse"
    assert wrong == []


async def test_a_first_visit_is_small(browser: Browser, start: FromNothing) -> None:
    """Everything the browser fetches from the link to the end, as it comes over the line."""
    hand, _ = await hand_of(browser)
    fetched = await weighed(hand.page)
    await enter(hand, start)
    await draw(hand)
    await tell_the_rest(hand)
    await tell_the_station(hand, start)
    await tell_the_phone(hand, start)
    await expect(hand.page.get_by_text("Ready to watch")).to_be_visible()
    assert 5_000 < sum(fetched) < 60_000, sum(fetched)
