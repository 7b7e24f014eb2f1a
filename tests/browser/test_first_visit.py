"""The first visit in a real browser: a small phone, tapped, by keyboard and walked, axe clean."""

import asyncio
import json
import re
from collections.abc import AsyncIterator, Mapping, Sequence
from contextlib import asynccontextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from playwright.async_api import Browser, Page, expect

from tests.browser.test_pushes import STUBBED
from tests.support.first_visit import SPRAYER
from tests.support.push_service import Device, PushService
from tests.support.running import SetClock
from tests.support.visiting import pushes
from watcher.farm.load import load
from watcher.service.first_farm import FirstFarm
from watcher.service.kept_secrets import Secrets
from watcher.sources.tiles import TileClient
from watcher.web.auth.authenticator import Authenticator
from watcher.web.auth.sessions import SessionStore
from watcher.web.auth.station_tokens import StationTokens
from watcher.web.auth.users import Role, User, Users
from watcher.web.first_visit.app import create_first_visit
from watcher.web.first_visit.visit import FirstVisit
from watcher.web.listening import listen
from watcher.web.server import Server

pytestmark = pytest.mark.long

NOON = 1_781_107_200
PHONE = {"width": 360, "height": 640}
SMALL = {"width": 320, "height": 640}
_SMALL_TARGETS = """
[...document.querySelectorAll("main a, main button, main input, main select, main label.tick")]
  .concat([...document.querySelectorAll("main summary")])
  .filter(e => e.type !== "checkbox" && e.type !== "hidden" && e.getClientRects().length)
  .filter(e => e.getBoundingClientRect().height < 44).map(e => e.outerHTML.slice(0, 120))
"""


@dataclass
class Visit:
    """The screens of a first visit on a port."""

    url: str
    farm: FirstFarm
    link: str
    written: asyncio.Event
    file: Path


@asynccontextmanager
async def visiting(tmp_path: Path, tiles: TileClient | None = None) -> AsyncIterator[Visit]:
    """Serve the screens where there is no farm file yet."""
    sessions, written = SessionStore(tmp_path / "door.db"), asyncio.Event()
    file = tmp_path / "farm" / "farm.toml"
    farm = FirstFarm(tmp_path / "first.json", file)
    auth = Authenticator(sessions, Users(), SetClock(NOON))
    visited = FirstVisit(
        farm,
        auth,
        lambda _farm: (),
        written,
        tokens=StationTokens({}, sessions),
        secrets=Secrets(tmp_path / "secrets.json"),
        pushes=pushes(sessions, anywhere=True),
        tiles=tiles,
    )
    server = Server(create_first_visit(visited))
    link = sessions.make_link(User("owner", Role.ADMINISTER), NOON)
    [listening] = listen("127.0.0.1", 0)
    with listening:
        serving = asyncio.create_task(server.serve(sockets=[listening]))
        async with asyncio.timeout(20):
            while not server.started:  # noqa: ASYNC110
                await asyncio.sleep(0.01)
        url = f"http://127.0.0.1:{listening.getsockname()[1]}"
        yield Visit(url, farm, f"{url}/login/{link}", written, file)
        server.should_exit = True
        await serving
    sessions.close()


@pytest.fixture
async def visit(tmp_path: Path) -> AsyncIterator[Visit]:
    async with visiting(tmp_path) as served:
        yield served


async def opened(browser: Browser, size: dict[str, int], **more: Any) -> tuple[Page, list[str]]:
    context = await browser.new_context(viewport=size, **more)  # type: ignore[arg-type]
    page = await context.new_page()
    page.set_default_timeout(10_000)
    wrong: list[str] = []
    page.on("pageerror", lambda error: wrong.append(str(error)))
    page.on("console", lambda m: wrong.append(m.text) if m.type == "error" else None)
    return page, wrong


LEADS_ON = {"Begin", "Next", "Later", "Look at what came", "Start watching"}


async def press(page: Page, name: str) -> None:
    """Tap a button; where it leads on, wait for the page that comes."""
    button = page.get_by_role("button", name=name, exact=True)
    if name not in LEADS_ON:
        await button.click()
        return
    async with page.expect_navigation():
        await button.click()


async def begin(page: Page, visit: Visit) -> None:
    await page.goto(visit.link)
    await press(page, "Begin")
    await page.get_by_label("Latitude and longitude").fill("41.6250, -96.9450")
    await page.get_by_label("What the farm is called").fill("Invented")
    await page.get_by_label("Units").select_option("us")
    await page.get_by_label("Language").select_option("en")
    await press(page, "Next")
    await expect(page.locator("#f-corners")).to_be_visible()


async def test_from_a_link_to_a_farm_by_tapping(browser: Browser, visit: Visit) -> None:
    page, wrong = await opened(browser, PHONE)
    await begin(page, visit)
    await page.get_by_label("Name of the field").fill("Hill")
    grid = page.locator("#grid")
    box = await grid.bounding_box()
    assert box is not None
    for x, y in ((0.2, 0.8), (0.8, 0.8), (0.8, 0.2), (0.2, 0.2), (0.1, 0.1)):
        await grid.click(position={"x": box["width"] * x, "y": box["height"] * y})
    await press(page, "Undo")
    await expect(page.locator("#draw-says")).to_contain_text("Corners: 4")
    await press(page, "Next")
    await page.get_by_label("Crop", exact=True).fill("soybeans")
    await page.get_by_label("Height of the crop").fill("12 in")
    await page.get_by_label("Weeds", exact=True).select_option("clean")
    await page.get_by_label("Weeds to kill").select_option("mixed")
    await press(page, "Next")
    await page.get_by_label("To the north").select_option("susceptible")
    await page.get_by_label("What grows or lives there").first.fill("grapes")
    await press(page, "Next")
    for label, value in (
        ("Width of the boom", "90 ft"),
        ("Height of the boom", "20 in"),
        ("Speed", "6 mph"),
        ("What the tank holds", "1000 gal"),
        ("Share of the time", "65 %"),
        ("From leaving the row", "20 min"),
        ("Spray volume", "15 gal/acre"),
    ):
        await page.get_by_label(label).fill(value)
    await page.get_by_label("Nozzles").select_option("air induction")
    await page.get_by_label("Droplets").select_option("coarse")
    await press(page, "Next")
    await page.locator("[id='f-wind:low']").fill("3 mph")
    await page.locator("[id='f-wind:high']").fill("10 mph")
    await page.locator("[id='f-wind:origin']").select_option("label")
    await press(page, "Next")
    await page.get_by_label("Forecast").select_option("met_norway")
    await press(page, "Next")
    await press(page, "Later")
    await press(page, "Next")
    await expect(page.get_by_text("Not judged: gust")).to_be_visible()
    await press(page, "Start watching")
    await expect(page.get_by_text("The farm file is written.")).to_be_visible()
    assert visit.written.is_set()
    farm = load(visit.file)
    # 60 of a hundred of a kilometre each way: the grid shows a thousand metres at first.
    assert farm.ground.area_m2("hill") == pytest.approx(600**2, rel=0.02)
    assert farm.config.neighbours["hill_north"].susceptibility.value == "susceptible"
    assert wrong == []


async def test_by_keyboard_alone_and_read_from_a_file(
    browser: Browser, visit: Visit, tmp_path: Path
) -> None:
    page, wrong = await opened(browser, PHONE)
    await begin(page, visit)
    await page.locator("#grid").focus()
    for keys in ("ArrowLeft", "ArrowDown", "ArrowRight", "ArrowUp"):
        for _ in range(5):
            await page.keyboard.press(keys)
        await page.keyboard.press("Enter")
    await expect(page.locator("#draw-says")).to_contain_text("Corners: 4")
    file = tmp_path / "field.kml"
    ring = "-96.95,41.62 -96.94,41.62 -96.94,41.63 -96.95,41.62"
    kml = f"<kml><Placemark><name>Creek</name><Polygon><outerBoundaryIs><coordinates>{ring}"
    kml += "</coordinates></outerBoundaryIs></Polygon></Placemark></kml>"
    file.write_text(kml)
    await page.locator("#file").set_input_files(file)
    await press(page, "Next")
    await expect(page.get_by_label("Crop", exact=True)).to_be_visible()
    assert list(visit.farm.shapes) == ["creek"]
    assert wrong == []


async def test_corners_are_walked(browser: Browser, visit: Visit) -> None:
    page, _ = await opened(browser, PHONE, permissions=["geolocation"])
    await begin(page, visit)
    for latitude, longitude in ((41.62, -96.95), (41.62, -96.94), (41.63, -96.94)):
        position: Any = {"latitude": latitude, "longitude": longitude, "accuracy": 4}
        await page.context.set_geolocation(position)
        before = await page.locator("#f-corners").input_value()
        await press(page, "Corner where I stand")
        await expect(page.locator("#f-corners")).not_to_have_value(before)
    await expect(page.locator("#draw-says")).to_contain_text("Within metres: 4")
    await press(page, "Next")
    await expect(page.get_by_label("Crop", exact=True)).to_be_visible()
    assert list(visit.farm.shapes) == ["field"]


async def test_a_field_is_walked_around(browser: Browser, visit: Visit) -> None:
    """Simulated: a position every few metres, one of them too unsure to count."""
    page, _ = await opened(browser, PHONE, permissions=["geolocation"])
    await begin(page, visit)
    corners = [(41.62, -96.95), (41.62, -96.949), (41.621, -96.949), (41.621, -96.95)]
    path = [
        (a[0] + (b[0] - a[0]) * i / 4, a[1] + (b[1] - a[1]) * i / 4)
        for a, b in zip(corners, [*corners[1:], corners[0]], strict=True)
        for i in range(4)
    ]
    position: Any = {"latitude": 41.7, "longitude": -96.9, "accuracy": 400}
    await page.context.set_geolocation(position)
    await press(page, "Walk or drive around it")
    await expect(page.locator("#draw-says")).to_contain_text("Within metres: 400")
    for count, (latitude, longitude) in enumerate(path, start=1):
        position = {"latitude": latitude, "longitude": longitude, "accuracy": 5}
        await page.context.set_geolocation(position)
        await expect(page.locator("#draw-says")).to_contain_text(f"Corners: {count}")
    await press(page, "I am round")
    await press(page, "Next")
    await expect(page.get_by_label("Crop", exact=True)).to_be_visible()
    [shape] = visit.farm.shapes.values()
    assert shape.bounds == pytest.approx((-96.95, 41.62, -96.949, 41.621))


async def clean(page: Page, axe: str, size: dict[str, int], where: str) -> None:
    """Nothing that a screen reader, a narrow screen or a glove stumbles over."""
    width = await page.evaluate("document.documentElement.scrollWidth")
    assert width <= size["width"], where
    await page.evaluate(axe)
    found = await page.evaluate("axe.run()")
    violations = [(v["id"], [n["html"][:160] for n in v["nodes"]]) for v in found["violations"]]
    assert violations == [], where
    assert await page.evaluate(_SMALL_TARGETS) == [], where


FIELD = "41.62, -96.95\n41.62, -96.94\n41.63, -96.94"
WRONG: Sequence[tuple[str, str, str, str]] = (
    ("crop", "f-canopy", "tall", "button.big"),
    ("sides?field=field", "f-north:grows", "", "button.big"),
    ("neighbour", "f-corners", "by the tree", "button.big"),
    ("sprayer", "f-width", "wide", "button.big"),
    ("label", "f-wind:high", "10", "button.big"),
    ("station", "f-sent", "good morning", "[name=look]"),
    ("phone", "f-address", "nowhere://at-all", "[name=add]"),
)
"""On each screen something that cannot be, and what is tapped then."""


@pytest.mark.parametrize("script", [True, False], ids=["script", "no script"])
@pytest.mark.parametrize(("size", "locale"), [(PHONE, "en-US"), (SMALL, "es-US")])
async def test_axe_finds_nothing_and_all_fits(
    browser: Browser, visit: Visit, axe: str, size: dict[str, int], locale: str, script: bool
) -> None:
    """Every screen as it is first, as it answers what cannot be, and as it is filled in.

    Without script means without any of the pages' own: axe is one itself, and needs its timers.
    """
    page, _ = await opened(browser, size, locale=locale, bypass_csp=True)
    if not script:
        await page.route(re.compile(r"/static/\w+\.js"), lambda route: route.abort())
    await page.goto(f"{visit.url}/first")
    await clean(page, axe, size, "stranger")
    await page.goto(visit.link)
    await clean(page, axe, size, "link")
    await page.locator("button.big").click()
    await expect(page.locator("#f-place")).to_be_visible()
    await clean(page, axe, size, "place")
    await page.locator("#f-place").fill("by the river")
    await page.locator("form > button.big").click()
    await expect(page.locator("#e-place")).to_be_visible()
    await clean(page, axe, size, "place, wrong")
    await page.locator("#f-place").fill("41.6250, -96.9450")
    await page.locator("form > button.big").click()
    await expect(page.locator("#f-corners")).to_be_visible()
    await clean(page, axe, size, "field")
    await page.locator("form > button.big").click()
    await expect(page.locator("#e-corners")).to_be_visible()
    await clean(page, axe, size, "field, wrong")
    await page.locator("#f-corners").fill(FIELD)
    await page.locator("form > button.big").click()
    await expect(page.locator("#f-crop")).to_be_visible()
    for screen, field, typed, button in WRONG:
        await page.goto(f"{visit.url}/first/{screen}")
        await clean(page, axe, size, screen)
        if screen.startswith("sides"):
            await page.locator("[id='f-north:minds']").select_option("susceptible")
        await page.locator(f"[id='{field}']").fill(typed)
        await page.locator(button).click()
        await expect(page.locator(".error, .wrong li").first).to_be_visible()
        await clean(page, axe, size, f"{screen}, wrong")
    await page.goto(f"{visit.url}/first/feed")
    await clean(page, axe, size, "feed")
    await page.goto(f"{visit.url}/first/station")
    await page.locator("#f-sent").fill('{"wind": 4.3, "tempf": 68, "winddir": 200}')
    await page.locator("[name=look]").click()
    await expect(page.locator("#f-height")).to_be_visible()
    await clean(page, axe, size, "station, looked at")
    await page.goto(f"{visit.url}/first/phone")
    await page.locator("#f-address").fill("json://127.0.0.1:1/phone")
    await page.locator("[name=add]").click()
    await expect(page.locator(".saved")).to_be_visible()
    await clean(page, axe, size, "phone, typed and tried")
    await page.goto(f"{visit.url}/first")
    await clean(page, axe, size, "end")


async def test_it_is_all_told_without_script(browser: Browser, visit: Visit) -> None:
    page, _ = await opened(browser, PHONE, java_script_enabled=False)
    await begin(page, visit)
    found: Sequence[Mapping[str, str]] = (
        {"name": "Hill", "corners": FIELD},
        {"crop": "soybeans", "canopy": "12 in", "weeds": "clean", "target": "mixed"},
        {"south:minds": "tolerant", "south:grows": "corn"},
        {**SPRAYER},
        {"wind:low": "3 mph", "wind:high": "10 mph"},
        {"feed": "met_norway"},
    )
    for screen in found:
        for name, value in screen.items():
            field = page.locator(f"[id='f-{name}']")
            if await field.evaluate("one => one.tagName") == "SELECT":
                await field.select_option(value)
            else:
                await field.fill(value)
        await press(page, "Next")
    sent = '{"windspeedmph": 4.3, "tempf": 68, "winddir": 200, "dateutc": "2026-06-10T16:00:00Z"}'
    await page.locator("#f-sent").fill(sent)
    await press(page, "Look at what came")
    await page.get_by_label("Height of its wind sensor").fill("10 ft")
    await press(page, "Next")
    await page.get_by_label("Push address").fill("json://127.0.0.1:1/phone")
    await press(page, "Next")
    await press(page, "Start watching")
    await expect(page.get_by_text("The farm file is written.")).to_be_visible()
    farm = load(visit.file).config
    assert list(farm.recipients) == ["grower"]
    assert farm.sources["yard"].heights.wind == pytest.approx(3.048)


async def test_at_twice_the_text_nothing_scrolls_sideways(
    browser_with_large_text: Browser, visit: Visit
) -> None:
    page, _ = await opened(browser_with_large_text, PHONE)
    await begin(page, visit)
    for screen in ("place", "field", "label", "station", "phone", ""):
        await page.goto(f"{visit.url}/first/{screen}".rstrip("/"))
        if screen == "station":
            await page.locator("#f-sent").fill('{"wind": 4.3, "tempf": 68, "winddir": 200}')
            await press(page, "Look at what came")
        width = await page.evaluate("document.documentElement.scrollWidth")
        assert width <= PHONE["width"], screen


async def test_this_phone_is_pushed_to_and_tried_before_there_is_a_farm(
    browser: Browser, visit: Visit
) -> None:
    page, wrong = await opened(browser, PHONE)
    service, device = PushService(), Device()
    try:
        content = {"endpoint": service.endpoint(), "keys": device.keys}
        await page.context.add_init_script(STUBBED.replace("DEVICE", json.dumps(content)))
        await page.context.grant_permissions(["notifications"], origin=visit.url)
        await begin(page, visit)
        await page.goto(f"{visit.url}/first/phone")
        says = page.locator("#push-says")
        await expect(says).to_have_text("Alerts are not pushed to this device.")
        await press(page, "Push alerts to this device")
        await expect(says).to_have_text("Alerts are pushed to this device.")
        await press(page, "Send a test to this device")
        await expect(says).to_contain_text("Taken by the push service")
        [got] = await asyncio.to_thread(service.wait_for)
        assert device.read(got)["to"] == "/first/phone"
        await page.goto("about:blank")
    finally:
        service.stop()
    assert wrong == []
