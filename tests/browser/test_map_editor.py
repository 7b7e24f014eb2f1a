"""The editor of a boundary in a real browser: by finger, by keys, without script, axe clean."""

import re
from collections.abc import AsyncIterator
from pathlib import Path
from typing import Any

import pyproj
import pytest
import shapely
from playwright.async_api import Browser, Locator, Page, Route, expect

from tests.browser.conftest import Open, opened
from tests.support.farm_files import written
from tests.support.tile_server import ATTRIBUTION, TileServer, tile_server
from tests.support.visiting import Visited, visited
from watcher.farm.geometry.importing import outlines
from watcher.sources.tile_address import MapPictures
from watcher.sources.tiles import TileClient
from watcher.web.auth.users import Role

pytestmark = pytest.mark.long

PHONE = {"width": 360, "height": 640}
SMALL = {"width": 320, "height": 640}
_ACRE_M2 = 4046.873  # of the survey foot, as the farm's units have it
_GLOBE = pyproj.Geod(ellps="WGS84")
_SMALL_TARGETS = """
[...document.querySelectorAll("main a, main button, main input, main select, main label.tick")]
  .concat([...document.querySelectorAll("main summary, .corner .hit, .between .hit")])
  .filter(e => e.type !== "checkbox" && e.type !== "hidden" && e.getClientRects().length)
  .filter(e => e.getBoundingClientRect().height < 44).map(e => e.outerHTML.slice(0, 120))
"""


@pytest.fixture
async def drawing(tmp_path: Path) -> AsyncIterator[Visited]:
    async with visited(tmp_path, farm_file=written(tmp_path)) as v:
        yield v


@pytest.fixture
async def provider() -> AsyncIterator[TileServer]:
    async with tile_server() as served:
        yield served


@pytest.fixture
async def pictured(tmp_path: Path, provider: TileServer) -> AsyncIterator[Visited]:
    pictures = MapPictures(provider.template, ATTRIBUTION, 17)
    tiles = TileClient(pictures, contact="me@farm.example", cache=tmp_path / "tiles.db")
    async with visited(tmp_path, farm_file=written(tmp_path), tiles=tiles) as v:
        yield v


def editing(browser: Browser, v: Visited, **more: Any) -> Any:
    return opened(browser, v, Role.ADMINISTER, **{"size": PHONE, **more})


async def corners(page: Page) -> list[tuple[float, float]]:
    text = await page.locator("#f-corners").input_value()
    return [
        (float(line.split(",")[0]), float(line.split(",")[1])) for line in text.splitlines() if line
    ]


async def area_shown(page: Page) -> float:
    """Acres that the page tells of the shape as it is now, once it does."""
    text = await page.locator("#f-corners").input_value()
    [outline] = outlines(text)
    whole = shapely.orient_polygons(outline.shape)  # a hole's edge runs the other way
    on_ellipsoid = abs(_GLOBE.geometry_area_perimeter(whole)[0]) / _ACRE_M2
    await expect(page.locator("#draw-result")).to_contain_text(f"Area: {on_ellipsoid:.1f} acre")
    return on_ellipsoid


async def middle_of(held: Locator) -> tuple[float, float]:
    box = await held.bounding_box()
    assert box is not None
    return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2


async def middle_within(outer: Locator, held: Locator) -> tuple[float, float]:
    box = await outer.bounding_box()
    assert box is not None
    x, y = await middle_of(held)
    return x - box["x"], y - box["y"]


async def dragged(page: Page, held: Locator, east: float, south: float) -> None:
    x, y = await middle_of(held)
    await page.mouse.move(x, y)
    await page.mouse.down()
    for step in range(1, 5):
        await page.mouse.move(x + east * step / 4, y + south * step / 4)
    await page.mouse.up()


def handle(page: Page, number: int) -> Locator:
    return page.get_by_role("button", name=f"Corner {number}", exact=True)


async def press(page: Page, name: str) -> None:
    await page.get_by_role("button", name=name, exact=True).click()


async def test_a_corner_is_dragged_undone_and_redone_with_the_area_live(
    browser: Browser, drawing: Visited
) -> None:
    async with editing(browser, drawing) as o:
        await o.go("/farm/map/field/hill")
        first = await area_shown(o.page)
        before = await corners(o.page)
        await dragged(o.page, handle(o.page, 3), 30.0, -20.0)
        moved = await corners(o.page)
        assert [a == b for a, b in zip(before, moved, strict=True)] == [True, True, False, True]
        assert moved[2][0] > before[2][0]
        assert moved[2][1] > before[2][1]
        assert await area_shown(o.page) > first
        await press(o.page, "Undo")
        assert await corners(o.page) == before
        assert await area_shown(o.page) == pytest.approx(first)
        await press(o.page, "Redo")
        assert await corners(o.page) == moved
        await press(o.page, "See what this would change")
        await press(o.page, "Keep it")
        await expect(o.page.get_by_text("Kept, and judged with it.")).to_be_visible()
        kept = drawing.service.watch.transactions.plan.farm.ground.fields_deg["hill"]
        assert kept.exterior.coords[2] == pytest.approx((moved[2][1], moved[2][0]))
        assert o.wrong == []


async def test_a_corner_is_moved_by_keys_by_the_step_that_is_shown(
    browser: Browser, drawing: Visited
) -> None:
    async with editing(browser, drawing) as o:
        await o.go("/farm/map/field/hill")
        before = await corners(o.page)
        await handle(o.page, 2).focus()
        for key in ("ArrowRight", "ArrowRight", "ArrowUp"):
            await o.page.keyboard.press(key)
        after = await corners(o.page)
        (lat0, lon0), (lat1, lon1) = before[1], after[1]
        assert _GLOBE.inv(lon0, lat0, lon1, lat0)[2] == pytest.approx(10 * 0.3048, abs=0.02)
        assert _GLOBE.inv(lon1, lat0, lon1, lat1)[2] == pytest.approx(5 * 0.3048, abs=0.02)
        await o.page.keyboard.press("Shift+ArrowDown")
        assert _GLOBE.inv(lon1, lat1, lon1, (await corners(o.page))[1][0])[2] == pytest.approx(
            50 * 0.3048, abs=0.02
        )
        await o.page.keyboard.press("Insert")
        assert len(await corners(o.page)) == 5
        await expect(handle(o.page, 3)).to_be_focused()
        await o.page.keyboard.press("Delete")
        assert len(await corners(o.page)) == 4
        await o.page.keyboard.press("Control+z")
        assert len(await corners(o.page)) == 5
        await area_shown(o.page)


async def test_buttons_alone_move_a_corner_and_the_map(browser: Browser, drawing: Visited) -> None:
    async with editing(browser, drawing, has_touch=True) as o:
        await o.go("/farm/map/field/hill")
        await o.page.locator("#more-ways summary").tap()
        await o.page.get_by_role("button", name="Corner after", exact=True).tap()
        await expect(o.page.locator("#draw-says")).to_contain_text("chosen: 1")
        await o.page.get_by_label("One step of a corner").select_option("100 ft")
        before = await corners(o.page)
        await o.page.get_by_role("button", name="North", exact=True).tap()
        after = await corners(o.page)
        moved = _GLOBE.inv(before[0][1], before[0][0], after[0][1], after[0][0])[2]
        assert moved == pytest.approx(30.48, abs=0.02)
        await o.page.get_by_label("Arrows move").select_option("map")
        # Within the drawing: a tap may scroll the page, and the words above it may wrap anew.
        _, at = await middle_within(o.page.locator("#grid"), handle(o.page, 2))
        await o.page.get_by_role("button", name="North", exact=True).tap()
        _, now = await middle_within(o.page.locator("#grid"), handle(o.page, 2))
        assert now - at > 40
        assert await corners(o.page) == after


async def test_fingers_tap_corners_in_and_pinch_the_map(browser: Browser, drawing: Visited) -> None:
    async with editing(browser, drawing, has_touch=True) as o:
        await o.go("/farm/map/new/neighbour")
        box = await o.page.locator("#grid").bounding_box()
        assert box is not None
        x, y, w = box["x"], box["y"], box["width"]
        for at in ((0.4, 0.3), (0.6, 0.3), (0.6, 0.15)):
            await o.page.touchscreen.tap(x + at[0] * w, y + at[1] * w)
        assert len(await corners(o.page)) == 3
        await area_shown(o.page)
        says = o.page.locator("#draw-says")
        square = await says.inner_text()
        touch = await o.context.new_cdp_session(o.page)

        async def fingers(kind: str, apart: float) -> None:
            at = [
                {"x": x + w / 2 + s * apart, "y": y + w * 0.7, "id": i}
                for i, s in ((0, -1), (1, 1))
            ]
            await touch.send(
                "Input.dispatchTouchEvent", {"type": kind, "touchPoints": [] if not apart else at}
            )

        await fingers("touchStart", 20)
        for apart in (40, 60, 80):
            await fingers("touchMove", apart)
        await fingers("touchEnd", 0)
        await expect(says).not_to_have_text(square)
        assert len(await corners(o.page)) == 3


async def test_a_point_between_two_corners_becomes_one(browser: Browser, drawing: Visited) -> None:
    async with editing(browser, drawing) as o:
        await o.go("/farm/map/field/hill")
        await dragged(o.page, o.page.locator(".between[data-at='0 1']"), 25.0, 0.0)
        now = await corners(o.page)
        assert len(now) == 5
        assert now[2][1] > max(lon for _, lon in now[:2])


async def test_an_overlap_is_told_while_it_is_drawn_and_kept_only_by_saying_so(
    browser: Browser, drawing: Visited
) -> None:
    async with editing(browser, drawing) as o:
        await o.go("/farm/map/field/creek_side")
        await expect(o.page.locator("#draw-result")).to_contain_text("orchard: 33 ft away")
        await expect(o.page.locator("#overlap")).to_be_hidden()
        await o.page.locator("#more-ways summary").click()
        await o.page.get_by_label("One step of a corner").select_option("25 ft")
        await handle(o.page, 3).focus()
        for _ in range(3):
            await o.page.keyboard.press("ArrowUp")
        await expect(o.page.locator("#overlap")).to_contain_text(
            re.compile(r"overlaps orchard by 0\.\d\d acre, \d\.\d % of the smaller")
        )
        await press(o.page, "See what this would change")
        await expect(o.page.get_by_role("alert")).to_contain_text("Nothing was changed yet")
        await o.page.get_by_label("They overlap, and it is meant so").check()
        await press(o.page, "See what this would change")
        await expect(o.page.get_by_role("heading", name="What this would change")).to_be_visible()


async def test_a_line_that_crosses_itself_is_shown_where(
    browser: Browser, drawing: Visited
) -> None:
    async with editing(browser, drawing) as o:
        await o.go("/farm/map/field/hill")
        crossing = "41.0, -95.976\n41.003, -95.972\n41.003, -95.976\n41.0, -95.972"
        await o.page.locator("#f-corners").fill(crossing)
        await expect(o.page.locator("#draw-result")).to_contain_text("crosses or touches itself")
        x, y = await middle_of(o.page.locator(".wrong-at"))
        box = await o.page.locator("#grid").bounding_box()
        assert box is not None
        assert (x, y) == pytest.approx(
            (box["x"] + box["width"] / 2, box["y"] + box["height"] / 2), abs=2
        )


async def test_a_hole_is_drawn(browser: Browser, drawing: Visited) -> None:
    async with editing(browser, drawing) as o:
        await o.go("/farm/map/field/hill")
        whole = await area_shown(o.page)
        await o.page.locator("#more-ways summary").click()
        await press(o.page, "New part or hole")
        box = await o.page.locator("#grid").bounding_box()
        assert box is not None
        for x, y in ((0.4, 0.6), (0.6, 0.6), (0.6, 0.4)):
            await o.page.locator("#grid").click(
                position={"x": box["width"] * x, "y": box["height"] * y}
            )
        assert await area_shown(o.page) < whole - 1
        await press(o.page, "See what this would change")
        await press(o.page, "Keep it")
        await expect(o.page.get_by_text("Kept, and judged with it.")).to_be_visible()
        kept = drawing.service.watch.transactions.plan.farm.ground.fields_deg["hill"]
        assert len(kept.interiors) == 1


async def test_the_position_is_shown_where_it_may_be(browser: Browser, drawing: Visited) -> None:
    here = {"latitude": 41.0018, "longitude": -95.9738, "accuracy": 6}
    async with editing(browser, drawing, permissions=["geolocation"], geolocation=here) as o:
        await o.go("/farm/map/field/hill")
        await expect(o.page.locator(".me")).to_be_visible()
        await expect(o.page.locator("#draw-says")).to_contain_text("Within metres: 6")


async def test_without_script_the_corners_are_typed(browser: Browser, drawing: Visited) -> None:
    async with editing(browser, drawing, java_script_enabled=False) as o:
        await o.go("/farm/map/field/hill")
        await expect(o.page.locator("#draw")).to_be_hidden()
        corners = o.page.get_by_label("Its corners")
        text = (await corners.input_value()).replace("41.0035973", "41.0040000")
        await corners.fill(text)
        await press(o.page, "See what this would change")
        await press(o.page, "Keep it")
        await expect(o.page.get_by_text("Kept, and judged with it.")).to_be_visible()


async def test_pictures_of_the_ground_come_from_here_alone(
    browser: Browser, pictured: Visited, provider: TileServer
) -> None:
    async with editing(browser, pictured) as o:
        asked: list[str] = []

        async def noted(route: Route) -> None:
            asked.append(route.request.url)
            await route.continue_()

        await o.context.route("**/*", noted)
        await o.go("/farm/map/field/hill")
        await expect(o.page.locator("#grid")).to_have_class(re.compile("over-ground"))
        await expect(o.page.get_by_text(ATTRIBUTION)).to_be_visible()
        await expect(o.page.locator("#tiles-says")).to_be_hidden()
        tiles = [url for url in asked if "/map/tiles/" in url]
        assert 1 <= len(tiles) <= 9
        assert all(url.startswith(o.url) for url in asked)
        assert {agent for _, agent in provider.asked} == {
            "field-weather-watch/0.1 (me@farm.example)"
        }
        assert o.wrong == []


async def test_where_none_come_it_is_the_plain_grid_and_says_so(
    browser: Browser, pictured: Visited, provider: TileServer
) -> None:
    provider.status = 503
    async with editing(browser, pictured) as o:
        await o.go("/farm/map/field/hill")
        await expect(o.page.locator("#tiles-says")).to_contain_text("this is the plain grid")
        await expect(o.page.locator("#grid")).not_to_have_class(re.compile("over-ground"))
        await expect(o.page.locator("#grid .grid").first).not_to_have_css("display", "none")
        await area_shown(o.page)
        await dragged(o.page, handle(o.page, 3), 30.0, -20.0)
        await area_shown(o.page)


@pytest.mark.parametrize(
    ("size", "locale", "scheme"), [(PHONE, "en-US", "light"), (SMALL, "es-US", "dark")]
)
async def test_axe_finds_nothing_and_all_fits(
    browser: Browser, pictured: Visited, axe: str, size: dict[str, int], locale: str, scheme: str
) -> None:
    async with editing(
        browser, pictured, size=size, locale=locale, bypass_csp=True, color_scheme=scheme
    ) as o:
        for path in ("/farm/map", "/farm/map/field/hill", "/farm/map/new/neighbour"):
            await o.go(path)
            await fits(o, size, axe)
        await o.go("/farm/map/field/hill")
        await o.page.locator("#more-ways summary").click()
        await o.page.locator("#f-corners").fill("41.0, -96.0")
        await o.page.locator("button.big").click()
        await fits(o, size, axe)


async def test_large_text_fits(
    browser_with_large_text: Browser, drawing: Visited, axe: str
) -> None:
    async with editing(browser_with_large_text, drawing, bypass_csp=True) as o:
        for path in ("/farm/map", "/farm/map/field/hill"):
            await o.go(path)
            await fits(o, PHONE, axe)


async def fits(o: Open, size: dict[str, int], axe: str) -> None:
    width = await o.page.evaluate("document.documentElement.scrollWidth")
    assert width <= size["width"]
    await o.page.evaluate(axe)
    found = await o.page.evaluate("axe.run()")
    assert [(v["id"], [n["html"][:160] for n in v["nodes"]]) for v in found["violations"]] == []
    assert await o.page.evaluate(_SMALL_TARGETS) == []
