"""A page keeps itself true: new judgements, silence, no network, and pushes."""

import pytest
from playwright.async_api import Browser, expect

from tests.browser.conftest import opened
from tests.support.visiting import CALM, Visited

pytestmark = pytest.mark.long


async def test_a_new_judgement_appears_by_itself(browser: Browser, service: Visited) -> None:
    async with opened(browser, service) as o:
        await o.go("/")
        hill = o.page.locator('a[href="/fields/hill"]')
        await expect(hill).to_contain_text("suitable")
        service.service.clock.at += 60
        await o.page.wait_for_timeout(500)
        await service.service.post(**CALM | {"gust": "19 mph"})
        await expect(hill).to_contain_text("unsuitable", timeout=15_000)
        assert o.wrong == []


async def test_what_is_open_and_typed_survives_a_new_judgement(
    browser: Browser, service: Visited
) -> None:
    async with opened(browser, service) as o:
        await o.go("/fields/hill")
        await o.page.locator("#t-hill summary").click()
        before = await o.page.locator("#as-of").inner_text()
        service.service.clock.at += 60
        await service.service.post(**CALM)
        await expect(o.page.locator("#as-of")).not_to_have_text(before)
        assert await o.page.locator("#t-hill").evaluate("d => d.open")


async def test_it_says_so_when_the_watch_has_fallen_silent(
    browser: Browser, service: Visited
) -> None:
    async with opened(browser, service) as o:
        await o.go("/")
        old = o.page.locator("#old")
        await expect(old).to_be_hidden()
        # The page's own clock runs on while no judgement comes.
        await o.page.evaluate(
            "document.body.dataset.judged = Number(document.body.dataset.judged) - 200"
        )
        await expect(old).to_be_visible()
        await expect(old).to_contain_text("Do not rely on it")
        await expect(old.locator(".cut-off")).to_be_hidden()  # the watch answers: it judged nothing


async def test_without_a_network_the_last_state_is_shown_as_old(
    browser: Browser, service: Visited
) -> None:
    async with opened(browser, service) as o:
        await o.go("/")
        await o.kept()
        await o.go("/jobs")
        await o.go("/")
        await o.context.set_offline(True)
        await o.page.reload()
        await expect(o.page.locator("#old")).to_be_visible()
        await expect(o.page.locator("#old .cut-off")).to_be_visible()
        await expect(o.page.locator("#old")).to_contain_text("11:00")
        await expect(o.page.locator('a[href="/fields/hill"]')).to_be_visible()
        await o.go("/jobs")
        await expect(o.page.locator("#old")).to_be_visible()
        await o.context.set_offline(False)
        await o.page.reload()
        await expect(o.page.locator("#old")).to_be_hidden()


async def test_losing_the_network_marks_an_open_page_as_old(
    browser: Browser, service: Visited
) -> None:
    async with opened(browser, service) as o:
        await o.go("/")
        await expect(o.page.locator("#old")).to_be_hidden()
        await o.context.set_offline(True)
        await expect(o.page.locator("#old")).to_be_visible()
        await expect(o.page.locator("#old .cut-off")).to_be_visible()
        await o.context.set_offline(False)
        await expect(o.page.locator("#old")).to_be_hidden(timeout=15_000)


async def test_it_can_be_installed(browser: Browser, service: Visited) -> None:
    async with opened(browser, service) as o:
        await o.go("/")
        client = await o.context.new_cdp_session(o.page)
        found = await client.send("Page.getAppManifest")
        assert found["errors"] == []
        assert '"start_url": "/"' in found["data"]


async def test_after_logging_out_nothing_is_kept_for_reading_offline(
    browser: Browser, service: Visited
) -> None:
    async with opened(browser, service) as o:
        await o.go("/")
        await o.page.evaluate("navigator.serviceWorker.ready")
        await o.go("/jobs")
        await o.go("/more")
        await o.page.get_by_role("button", name="Log out").click()
        await o.page.wait_for_url("**/login")
        kept = await o.page.evaluate(
            "(async () => (await (await caches.open('pages-1')).keys()).map((r) => r.url))()"
        )
        assert kept == []
