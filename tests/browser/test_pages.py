"""Pages in a real browser at phone and desktop width: all of them, every action, no violation."""

from pathlib import Path
from typing import Any

import pytest
from playwright.async_api import Browser, expect

from tests.browser.conftest import DESK, PHONE, opened
from tests.support.chances_said import on_days
from tests.support.kept_errors import keep
from tests.support.visiting import CALM, NOON, PASSPHRASE, Visited, farm, visited
from watcher.service.sites import site_of_log
from watcher.store import chances, outbox
from watcher.web.auth.users import Role, User

PAGES = [
    "/",
    "/plan",
    "/hours",
    "/fields/hill",
    "/jobs",
    "/log",
    "/records",
    "/incidents",
    "/sources",
    "/skill",
    "/more",
    "/devices",
]
SIZES = pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desktop"])


@SIZES
async def test_every_page_opens_without_complaint_and_fits_its_width(
    browser: Browser, service: Visited, size: dict[str, int]
) -> None:
    async with opened(browser, service, size=size) as o:
        for path in PAGES:
            await o.go(path)
            await expect(o.page.locator("h1")).to_be_visible()
            await expect(o.page.locator(".caution")).to_be_visible()
            width = await o.page.evaluate("document.documentElement.scrollWidth")
            assert width <= size["width"], path
        assert o.wrong == []


@pytest.mark.long
@SIZES
@pytest.mark.parametrize("scheme", ["light", pytest.param("dark", marks=pytest.mark.long)])
async def test_axe_finds_no_violation(
    browser: Browser, service: Visited, axe: str, size: dict[str, int], scheme: str
) -> None:
    options: dict[str, Any] = {"color_scheme": scheme, "bypass_csp": True}
    async with opened(browser, service, size=size, **options) as o:
        await o.go("/fields/hill")
        await o.page.get_by_role("button", name="Start spraying").click()
        await o.page.wait_for_url("**/jobs/1")
        login = service.sessions.make_link(User("grower", Role.LOOK), service.service.clock.now())
        more = ["/jobs/1", "/records/1", await _alert(service), f"/login/{login}", "/login"]
        for path in [*PAGES, *more, "/nowhere"]:
            await o.go(path)
            await o.page.evaluate(axe)
            found = await o.page.evaluate("axe.run()")
            violations = [
                (v["id"], [n["html"][:160] for n in v["nodes"]]) for v in found["violations"]
            ]
            assert violations == [], path


@pytest.mark.parametrize("spoken", ["en", "es"])
async def test_what_was_said_and_came_fits_a_narrow_phone(
    browser: Browser, service: Visited, axe: str, spoken: str
) -> None:
    farm, store = (
        service.service.watch.transactions.plan.farm,
        service.service.watch.transactions.store,
    )
    with store.writing() as session:
        chances.put_said(session, on_days(NOON, 60, "hill", "coarse"))
        keep(session, ("feed", "mast"), site_of_log(session, farm, "mast"), NOON, 60)
    narrow = {"width": 360, "height": 780}
    async with opened(browser, service, size=narrow, locale=spoken, bypass_csp=True) as o:
        await o.go("/skill")
        assert await o.page.locator("table").count() == 1 + 4 + 3
        assert await o.page.evaluate("document.documentElement.scrollWidth") <= 360
        await o.page.evaluate(axe)
        found = await o.page.evaluate("axe.run()")
        assert [v["id"] for v in found["violations"]] == []


async def _alert(service: Visited) -> str:
    """Let the wind rise during the job; return the path of the alert's link."""
    running = service.service
    running.clock.at += 60
    await running.post(**CALM | {"gust": "19 mph"})
    await running.judged()
    with running.watch.transactions.store.reading() as session:
        message = next(m for m in outbox.newest(session, 10) if m.urgent)
    return "/seen/" + service.links.token(message.short_id, "grower")


@pytest.mark.long
@SIZES
async def test_a_job_is_run_by_thumb(
    browser: Browser, service: Visited, size: dict[str, int]
) -> None:
    async with opened(browser, service, Role.RUN, size) as o:
        await o.go("/")
        await o.page.locator('a[href="/fields/hill"]').click()
        await o.page.get_by_role("button", name="Start spraying").click()
        await o.page.wait_for_url("**/jobs/1")
        await o.page.get_by_role("button", name="Pause").click()
        await expect(o.page.locator(".verdict")).to_contain_text("paused")
        await o.page.get_by_role("button", name="Go on").click()
        await expect(o.page.get_by_role("button", name="Pause")).to_be_visible()
        await o.page.locator("#other-setup summary").click()
        await o.page.locator("#new-setup").select_option("fine")
        await o.page.get_by_role("button", name="Change").click()
        await expect(o.page.locator(".verdict")).to_contain_text("with fine")
        await o.page.locator("#finish summary").click()
        await o.page.locator("#note-finish").fill("headlands twice")
        await o.page.get_by_role("button", name="All of it").click()
        await expect(o.page.locator(".verdict")).to_contain_text("finished")
        await expect(o.page.locator(".plain").last).to_contain_text("headlands twice")
        assert o.wrong == []


async def test_a_job_is_given_up(browser: Browser, service: Visited) -> None:
    async with opened(browser, service, Role.RUN) as o:
        await o.go("/fields/hill")
        await o.page.get_by_role("button", name="Start spraying").click()
        await o.page.locator("#abandon summary").click()
        await o.page.locator("#note-abandon").fill("rain came")
        await o.page.get_by_role("button", name="Give the job up").click()
        await expect(o.page.locator(".verdict")).to_contain_text("abandoned")


async def test_every_thing_to_touch_is_large_enough_for_a_glove(
    browser: Browser, service: Visited
) -> None:
    """At least 44 px each way, WCAG 2.2 target size (enhanced), links within text apart."""
    async with opened(browser, service, Role.RUN) as o:
        for path in ["/", "/jobs", "/fields/hill", "/more"]:
            await o.go(path)
            for box in await o.page.locator(
                "nav a, button, select, .card, .links a, summary"
            ).all():
                if await box.is_visible():
                    found = await box.bounding_box()
                    assert found is not None
                    assert found["height"] >= 44, (path, await box.inner_text())
                    assert found["width"] >= 44, (path, await box.inner_text())


@pytest.mark.parametrize("language", ["en", "es"])
@pytest.mark.parametrize("width", [280, 320, 360, 390, 412])
async def test_every_word_of_the_bar_lies_on_the_screen(
    browser: Browser, service: Visited, width: int, language: str
) -> None:
    async with opened(browser, service, Role.RUN, {"width": width, "height": 640}) as o:
        await o.page.set_extra_http_headers({"Accept-Language": language})
        await o.go("/")
        ends = await o.page.evaluate(
            """[...document.querySelectorAll('nav a')].flatMap(link => {
              const words = document.createRange();
              words.selectNodeContents(link);
              const {left, right} = words.getBoundingClientRect();
              return [left, innerWidth - right];
            })"""
        )
        assert min(ends) >= 0


async def test_logging_in_and_out(browser: Browser, service: Visited) -> None:
    async with opened(browser, service, None) as o:
        await o.go("/jobs")
        await o.page.get_by_label("Name").fill("driver")
        await o.page.get_by_label("Passphrase").fill(PASSPHRASE)
        await o.page.get_by_role("button", name="Log in").click()
        await o.page.wait_for_url("**/jobs")
        await o.go("/more")
        await o.page.get_by_role("button", name="Log out").click()
        await o.page.wait_for_url("**/login")
        await o.go("/")
        await expect(o.page).to_have_url(f"{o.url}/login")


async def test_a_link_lets_the_phone_in_with_one_touch(browser: Browser, service: Visited) -> None:
    token = service.sessions.make_link(User("phone", Role.RUN), service.service.clock.at)
    async with opened(browser, service, None) as o:
        await o.go(f"/login/{token}")
        await o.page.get_by_role("button", name="Let this device in").click()
        await expect(o.page.get_by_role("heading", name="Spray now")).to_be_visible()


async def test_everything_works_with_script_off(browser: Browser, service: Visited) -> None:
    async with opened(browser, service, Role.RUN, java_script_enabled=False) as o:
        await o.go("/fields/hill")
        await o.page.get_by_role("button", name="Start spraying").click()
        await o.page.get_by_role("button", name="Pause").click()
        await expect(o.page.locator(".verdict")).to_contain_text("paused")
        await o.page.locator("#finish summary").click()
        await o.page.get_by_role("button", name="All of it").click()
        await expect(o.page.locator(".verdict")).to_contain_text("finished")
        await o.go("/")
        assert await o.page.locator('meta[http-equiv="refresh"]').count() == 1


async def test_the_keyboard_reaches_the_first_field(browser: Browser, service: Visited) -> None:
    async with opened(browser, service) as o:
        await o.go("/")
        await o.page.keyboard.press("Tab")
        await expect(o.page.locator(".skip")).to_be_focused()
        await o.page.keyboard.press("Enter")
        await o.page.keyboard.press("Tab")
        await expect(o.page.locator("main a").first).to_be_focused()


async def test_an_alert_is_acknowledged_with_one_touch(browser: Browser, service: Visited) -> None:
    async with opened(browser, service, Role.RUN) as o:
        await o.go("/fields/hill")
        await o.page.get_by_role("button", name="Start spraying").click()
        await o.page.wait_for_url("**/jobs/1")
        await service.service.judged()
        service.service.clock.at += 60
        await service.service.post(**CALM | {"gust": "19 mph"})
        await o.page.get_by_role("button", name="I have seen this").click()
        await expect(o.page.locator(".alert")).to_have_count(0)


@pytest.mark.parametrize("spoken", ["en", "es"])
async def test_the_tables_of_rain_fit_a_small_phone(
    browser: Browser, tmp_path: Path, spoken: str
) -> None:
    mast = {
        "kind": "push",
        "heights": {"wind": "0.628 m"},
        "measures": ["wind", "gust", "wind_from", "temperature", "humidity", "rain"],
    }
    async with visited(tmp_path, of=farm(sources={"mast": mast})) as v:
        of, store = v.service.watch.transactions.plan.farm, v.service.watch.transactions.store
        with store.writing() as session:
            keep(session, ("feed", "mast"), site_of_log(session, of, "mast"), NOON, 20)
        small = {"width": 320, "height": 640}
        async with opened(browser, v, size=small, locale=spoken) as o:
            await o.go("/skill")
            assert await o.page.get_by_text("100%; 50%").count() == 3
            assert await o.page.evaluate("document.documentElement.scrollWidth") == 320
