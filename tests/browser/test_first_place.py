"""The farm's place on the first visit: tapped on a map, by keys, the phone's own, over pictures."""

import re
from collections.abc import AsyncIterator
from pathlib import Path
from typing import Any

import pytest
from playwright.async_api import Browser, Page, expect

from tests.browser.test_first_visit import (
    PHONE,
    SMALL,
    Visit,
    clean,
    opened,
    press,
    visit,
    visiting,
)
from tests.support.tile_server import ATTRIBUTION, TileServer, tile_server
from watcher.sources.tile_address import MapPictures
from watcher.sources.tiles import TileClient
from watcher.web_mercator import to_square

__all__ = ["visit"]
pytestmark = pytest.mark.long

_CLOCK = "Its clock: America/Chicago"
_LOADS_MS = 20_000
"""The map of time zones is read from disk when the first place is looked at."""


@pytest.fixture
async def provider() -> AsyncIterator[TileServer]:
    async with tile_server() as served:
        yield served


@pytest.fixture
async def pictured(tmp_path: Path, provider: TileServer) -> AsyncIterator[Visit]:
    pictures = MapPictures(provider.template, ATTRIBUTION, 17)
    tiles = TileClient(pictures, contact="me@farm.example", cache=tmp_path / "tiles.db")
    async with visiting(tmp_path, tiles) as served:
        yield served


async def at_the_map(browser: Browser, site: Visit, **more: Any) -> tuple[Page, list[str]]:
    page, wrong = await opened(browser, PHONE, has_touch=True, **more)
    await page.goto(site.link)
    await press(page, "Begin")
    await page.locator("#place-map summary").tap()
    await expect(page.locator("#draw-says")).to_contain_text("At the cross: 0, 0")
    return page, wrong


def on_paper(latitude: float, longitude: float) -> tuple[float, float]:
    """Where a place lies on a map of the whole world, as shares of its side."""
    x, y = to_square(latitude, longitude)
    return float(x), float(y)


async def tapped(page: Page, east: float, south: float) -> None:
    """Tap the map at shares of its side."""
    grid = page.locator("#grid")
    box = await grid.bounding_box()
    assert box is not None
    await grid.tap(position={"x": box["width"] * east, "y": box["height"] * south})


async def place(page: Page) -> tuple[float, float]:
    text = await page.locator("#f-place").input_value()
    latitude, longitude = text.split(", ")
    return float(latitude), float(longitude)


async def test_it_is_tapped_on_the_world_and_again_from_nearer(
    browser: Browser, visit: Visit
) -> None:
    page, wrong = await at_the_map(browser, visit)
    await expect(page.locator("#grid image")).to_have_attribute("href", re.compile("land"))
    await tapped(page, *on_paper(41.6, -96.9))
    await expect(page.locator("#draw-result")).to_have_text(_CLOCK, timeout=_LOADS_MS)
    first = await page.locator("#f-place").input_value()
    assert re.fullmatch(r"\d\d, -\d\d", first), first  # no more digits than the map shows
    assert await place(page) == pytest.approx((41.6, -96.9), abs=2.5)
    for _ in range(3):
        await press(page, "Nearer")
    await tapped(page, 0.6, 0.4)
    await expect(page.locator("#f-place")).not_to_have_value(first)
    latitude, longitude = await place(page)
    assert re.search(r"\.\d\d,", await page.locator("#f-place").input_value())
    assert (latitude, longitude) == pytest.approx((41.6, -96.9), abs=3)
    await press(page, "Undo")
    await expect(page.locator("#f-place")).to_have_value(first)
    await press(page, "Redo")
    await press(page, "Next")
    await expect(page.get_by_role("heading", name="Where is the first field?")).to_be_visible()
    assert visit.farm.place == (latitude, longitude)
    assert wrong == []


async def test_it_is_set_by_keys_alone(browser: Browser, visit: Visit) -> None:
    page, wrong = await opened(browser, PHONE)
    await page.goto(visit.link)
    await press(page, "Begin")
    for wanted in ("Tap it on a map", "grid"):
        for _ in range(6):
            await page.keyboard.press("Tab")
            at = await page.evaluate(
                "document.activeElement.id || document.activeElement.textContent.trim()"
            )
            if at == wanted:
                break
        assert at == wanted
        if at != "grid":
            await page.keyboard.press("Enter")
    for key in ("ArrowLeft", "ArrowLeft", "ArrowLeft", "ArrowUp", "+", "+"):
        await page.keyboard.press(key)
    says = page.locator("#draw-says")
    at_cross = (await says.inner_text()).removeprefix("At the cross: ").split(" · ")[0]
    assert at_cross != "0, 0"
    await page.keyboard.press("Enter")
    await expect(page.locator("#f-place")).to_have_value(at_cross)
    await expect(page.locator("#draw-result")).to_contain_text("Its clock: ", timeout=_LOADS_MS)
    assert wrong == []


async def test_the_phones_own_place_is_taken_with_its_accuracy(
    browser: Browser, visit: Visit
) -> None:
    here: Any = {"latitude": 41.62512, "longitude": -96.94538, "accuracy": 12}
    page, wrong = await opened(browser, PHONE, permissions=["geolocation"], geolocation=here)
    await page.goto(visit.link)
    await press(page, "Begin")
    await press(page, "This phone's position")
    await expect(page.locator("#draw-result")).to_have_text(_CLOCK, timeout=_LOADS_MS)
    await expect(page.locator("#draw-says")).to_have_text("Within metres: 12")
    assert await place(page) == pytest.approx((41.62512, -96.94538), abs=1e-3)
    assert wrong == []


async def test_what_is_typed_in_any_notation_is_looked_at(browser: Browser, visit: Visit) -> None:
    page, _ = await at_the_map(browser, visit)
    typed = "41° 37' 30\" N, 96° 56' 42\" W"
    await page.locator("#f-place").fill(typed)
    await page.keyboard.press("Tab")
    await expect(page.locator("#draw-result")).to_have_text(_CLOCK, timeout=_LOADS_MS)
    await expect(page.locator("#draw-says")).to_contain_text("At the cross: 41.6250, -96.9450")
    await expect(page.locator("#f-place")).to_have_value(typed)
    await page.locator("#f-place").fill("by the river")
    await page.keyboard.press("Tab")
    await expect(page.locator("#draw-result")).to_contain_text("write latitude, longitude")


async def test_pictures_lie_below_it_where_some_are_set(
    browser: Browser, pictured: Visit, provider: TileServer
) -> None:
    page, wrong = await at_the_map(browser, pictured)
    await expect(page.locator("#grid")).to_have_class(re.compile("over-ground"))
    await expect(page.get_by_text(ATTRIBUTION)).to_be_visible()
    await tapped(page, *on_paper(41.6, -96.9))
    await press(page, "Nearer")
    await expect(page.locator("#draw-result")).to_have_text(_CLOCK, timeout=_LOADS_MS)
    await expect(page.locator('#grid image[href="/map/tiles/2/0/1"]')).to_be_attached()
    assert provider.asked
    assert not await page.locator("image[href*=land]").count()
    assert wrong == []


async def test_a_cut_connection_is_said_and_nothing_is_lost(browser: Browser, visit: Visit) -> None:
    page, _ = await at_the_map(browser, visit)
    await page.get_by_label("What the farm is called").fill("Invented")
    await page.context.set_offline(True)
    await tapped(page, *on_paper(41.6, -96.9))
    result = page.locator("#draw-result")
    await expect(result).to_have_text("What this comes to cannot be said just now.")
    was = await page.locator("#f-place").input_value()
    await page.get_by_role("button", name="Next", exact=True).click()
    await expect(page.get_by_role("alert")).to_contain_text("The watch does not answer.")
    assert await page.locator("#f-place").input_value() == was
    assert await page.get_by_label("What the farm is called").input_value() == "Invented"
    await page.context.set_offline(False)
    await press(page, "Next")
    await expect(page.get_by_role("heading", name="Where is the first field?")).to_be_visible()
    assert visit.farm.raw["farm"]["name"] == "Invented"


@pytest.mark.parametrize(
    ("size", "locale", "scheme"), [(PHONE, "en-US", "light"), (SMALL, "es-US", "dark")]
)
async def test_axe_finds_nothing_on_the_open_map_and_all_fits(
    browser: Browser, pictured: Visit, axe: str, size: dict[str, int], locale: str, scheme: str
) -> None:
    page, _ = await opened(browser, size, locale=locale, bypass_csp=True, color_scheme=scheme)
    await page.goto(pictured.link)
    await page.locator("button.big").click()
    await page.locator("#place-map summary").click()
    await page.locator("#grid").click()
    await expect(page.locator("#draw-result p")).to_be_visible()
    await clean(page, axe, size, "place, tapped")
