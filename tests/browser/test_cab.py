"""The page of the cab: one state, said at once, and its steps under the thumb."""

import asyncio

import pytest
from playwright.async_api import Browser, Route, expect

from tests.browser.conftest import Open, opened
from tests.support.visiting import CALM, Visited
from watcher.store import jobs

SMALL = {"width": 360, "height": 640}
NARROW = {"width": 320, "height": 640}
GUSTS = CALM | {"gust": "19 mph"}


async def _spraying(o: Open) -> None:
    await o.go("/fields/hill")
    await o.page.get_by_role("button", name="Start spraying").click()
    await o.page.wait_for_url("**/jobs/1")
    await o.visited.service.judged()


async def _gusts(o: Open) -> None:
    o.visited.service.clock.at += 60
    await o.visited.service.post(**GUSTS)
    await expect(o.page.locator("#do")).to_contain_text("Stop")


@pytest.mark.parametrize(
    ("size", "locale", "seen", "pause"),
    [(SMALL, "en-US", "I have seen this", "Pause"), (NARROW, "es-US", "Lo he visto", "Pausa")],
)
async def test_the_steps_are_under_the_thumb_without_scrolling(
    browser: Browser, service: Visited, size: dict[str, int], locale: str, seen: str, pause: str
) -> None:
    async with opened(browser, service) as first:
        await _spraying(first)
        await _gusts(first)
    async with opened(browser, service, size=size, locale=locale) as o:
        await o.go("/jobs/1")
        for name in (seen, pause):
            box = await o.page.get_by_role("button", name=name).bounding_box()
            assert box is not None
            assert 56 <= box["height"] <= 100, name
            assert box["y"] + box["height"] <= size["height"], name
        assert await o.page.evaluate("document.documentElement.scrollWidth") <= size["width"]


@pytest.mark.long
@pytest.mark.parametrize("locale", ["en-US", "es-US"])
async def test_text_of_twice_the_size_stays_on_the_page(
    browser_with_large_text: Browser, service: Visited, locale: str
) -> None:
    """WCAG 2.2, 1.4.4: nothing is cut off or lost, and nothing must be scrolled sideways."""
    async with opened(browser_with_large_text, service) as first:
        await _spraying(first)
        await _gusts(first)
    async with opened(browser_with_large_text, service, size=SMALL, locale=locale) as o:
        for path in ("/jobs/1", "/?rest=1", "/fields/hill", "/hours", "/plan"):
            await o.go(path)
            text = await o.page.evaluate("parseFloat(getComputedStyle(document.body).fontSize)")
            assert text >= 32
            assert await o.page.evaluate("document.documentElement.scrollWidth") <= SMALL["width"]
            cut = await o.page.evaluate(
                "[...document.querySelectorAll('nav a, main button, main .verdict')]"
                ".filter(e => e.scrollWidth > e.clientWidth + 1"
                " || e.getBoundingClientRect().right > innerWidth + 1).map(e => e.innerText)"
            )
            assert cut == [], path


async def test_a_new_state_is_in_the_title_spoken_and_felt(
    browser: Browser, service: Visited
) -> None:
    async with opened(browser, service, size=SMALL) as o:
        await o.page.add_init_script("window.felt = []; navigator.vibrate = (p) => felt.push(p);")
        await _spraying(o)
        await expect(o.page).to_have_title("● Go on: hill · Invented farm")
        await _gusts(o)
        await expect(o.page).to_have_title("✕ Stop: hill · Invented farm")
        said = o.page.locator("#say-state")
        await expect(said).to_have_attribute("aria-live", "assertive")
        await expect(said).to_contain_text("Stop. Gust 19 mph")
        assert await o.page.evaluate("felt") == [[700, 200, 700, 200, 700]]


async def test_every_page_shows_the_job_in_the_state_its_alert_told(
    browser: Browser, service: Visited
) -> None:
    async with opened(browser, service) as o:
        await _spraying(o)
        await _gusts(o)
        for _ in range(11):  # the gust is gone; what called for the stop stands for a while
            o.visited.service.clock.at += 60
            await o.visited.service.post(**CALM)
        await expect(o.page.locator("#do")).to_contain_text("Wait")
        await o.go("/")
        await expect(o.page.locator("#do")).to_contain_text("Wait")
        for path in ["/?rest=1", "/jobs", "/fields/hill", "/hours"]:
            await o.go(path)
            await expect(o.page.locator("#strip")).to_contain_text("Wait: hill")
            await expect(o.page.locator("main .status.a-wait").first).to_be_visible()


async def test_one_tap_says_that_all_was_seen(browser: Browser, service: Visited) -> None:
    async with opened(browser, service) as o:
        await _spraying(o)
        await _gusts(o)
        await o.page.get_by_role("button", name="I have seen this").dblclick()
        await expect(o.page.get_by_role("button", name="I have seen this")).to_have_count(0)
        await expect(o.page.locator("#do")).to_contain_text("Stop")


async def test_axe_finds_nothing_in_the_cab(browser: Browser, service: Visited, axe: str) -> None:
    async with opened(browser, service, size=SMALL, bypass_csp=True) as o:
        await _spraying(o)
        await _gusts(o)
        await o.page.evaluate(axe)
        found = await o.page.evaluate("axe.run()")
        assert [(v["id"], [n["html"][:160] for n in v["nodes"]]) for v in found["violations"]] == []


async def _kept(o: Open, *paths: str) -> None:
    """Open pages until the device keeps a copy of each."""
    await o.go("/")
    await o.kept()
    for path in paths:
        await o.go(path)


async def test_a_stalled_network_shows_the_kept_copy_as_old(
    browser: Browser, service: Visited
) -> None:
    async with opened(browser, service) as o:
        await _kept(o, "/jobs", "/")
        stalled = asyncio.Event()

        async def stall(route: Route) -> None:
            await stalled.wait()
            await route.abort()

        await o.context.route("**/", stall)
        await o.page.goto(o.url + "/", timeout=9000, wait_until="commit")
        await expect(o.page.locator("#old")).to_be_visible()
        await expect(o.page.locator('a[href="/fields/hill"]').first).to_be_visible()
        stalled.set()


async def test_a_page_never_shows_the_content_of_another(
    browser: Browser, service: Visited
) -> None:
    async with opened(browser, service) as o:
        await _kept(o)
        await o.context.set_offline(True)
        await o.go("/records")
        await expect(o.page.locator("h1")).to_contain_text("No answer from the watch")
        await expect(o.page.locator("main")).to_contain_text("not known")


async def test_a_first_visit_is_small(browser: Browser, service: Visited) -> None:
    async with opened(browser, service, service_workers="block") as o:
        client = await o.context.new_cdp_session(o.page)
        await client.send("Network.enable")
        sizes: list[float] = []
        client.on("Network.loadingFinished", lambda e: sizes.append(e["encodedDataLength"]))
        await o.go("/")
        await o.page.wait_for_timeout(300)
        assert 0 < sum(sizes) < 20_000


async def test_a_job_ended_elsewhere_leaves_the_first_page(
    browser: Browser, service: Visited
) -> None:
    async with opened(browser, service) as o:
        await _spraying(o)
        await o.go("/")
        await expect(o.page.locator("#do")).to_be_visible()
        await service.send("/jobs/1", "/jobs/1/finish")
        await expect(o.page.get_by_role("heading", name="Spray now")).to_be_visible()
        with service.service.watch.transactions.store.reading() as session:
            assert jobs.job(session, 1).state == "finished"
