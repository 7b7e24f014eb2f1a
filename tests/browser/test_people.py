"""People, recipients and tokens in a real browser: a small phone, by keyboard, axe clean."""

import asyncio
from collections.abc import AsyncIterator, Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.async_api import Browser, Page, expect

from tests.browser.conftest import opened
from tests.browser.test_farm_edit import _SMALL_TARGETS, SMALL, USUAL
from tests.support.farm_files import written
from tests.support.receiver import Receiver
from tests.support.visiting import NOON, Visited, visited
from watcher.web.auth.users import Role

pytestmark = pytest.mark.long
HIDDEN = "hidden-word"


@pytest.fixture
def receiver() -> Iterator[Receiver]:
    receiver = Receiver()
    yield receiver
    receiver.close()


@pytest.fixture
async def site(tmp_path: Path) -> AsyncIterator[Visited]:
    secrets = tmp_path / "secrets.json"
    async with visited(tmp_path, farm_file=written(tmp_path), secrets_file=secrets) as v:
        yield v


async def test_a_recipient_is_added_with_an_address_that_is_tried_and_never_shown_again(
    browser: Browser, site: Visited, receiver: Receiver
) -> None:
    async with opened(browser, site, Role.ADMINISTER, size=USUAL) as o:
        await o.go("/more")
        await o.page.get_by_role("link", name="The farm and its versions").click()
        await o.page.get_by_role("link", name="Who hears what").click()
        await o.page.get_by_role("link", name="Add somebody").click()
        await o.page.get_by_label("Name").fill("ana")
        address = receiver.url("ana").get_secret_value()
        await o.page.get_by_label("Push address", exact=True).fill(f"x{address}")
        await o.page.get_by_role("button", name="See what this would change").click()
        await expect(o.page.get_by_text("This push address")).to_be_visible()
        assert HIDDEN not in await o.page.content()
        await expect(o.page.get_by_label("Name")).to_have_value("ana")
        await o.page.get_by_label("Push address", exact=True).fill(address)
        await o.page.get_by_role("button", name="See what this would change").click()
        await expect(o.page.get_by_text("Push address of ana: set anew")).to_be_visible()
        assert HIDDEN not in await o.page.content()
        await o.page.get_by_role("button", name="Keep it").click()
        await expect(o.page.get_by_text("Push address: set 11:00 by grower")).to_be_visible()
        await o.page.get_by_role("link", name="Change ana, or send a test").click()
        await o.page.get_by_role("button", name="Send ana a test").click()
        await expect(o.page.get_by_text("Delivered: the push service took it.")).to_be_visible()
        [push] = await asyncio.to_thread(receiver.wait_for, 1)
        assert (push.path, push.title) == ("/ana", "Test of the weather watch")
        assert HIDDEN not in await o.page.content()
        await o.page.get_by_role("button", name="Take ana out").click()
        await o.page.get_by_role("button", name="Keep it").click()
        await expect(o.page.get_by_text("Nobody is told anything")).to_be_visible()
        await o.page.get_by_role("button", name="Undo").click()
        await o.go("/farm/people")
        await expect(o.page.get_by_text("Push address: set 11:00 by grower")).to_be_visible()


async def test_a_helpers_link_works_until_its_end_and_then_says_so(
    browser: Browser, site: Visited
) -> None:
    async with opened(browser, site, Role.ADMINISTER, size=USUAL) as o:
        await o.go("/people")
        await o.page.get_by_label("Name").fill("Helper of June")
        await o.page.get_by_label("They may").select_option("run")
        await o.page.get_by_label("Last day").fill("2026-06-10")
        await o.page.get_by_role("button", name="Make a link", exact=True).click()
        link = await o.page.locator(".saved code").inner_text()
    async with opened(browser, site, None, size=USUAL) as helper:
        await helper.page.goto(link)
        await helper.page.get_by_role("button", name="Let this device in").click()
        await helper.go("/fields/hill")
        await expect(helper.page.get_by_role("button", name="Start spraying")).to_be_visible()
        await helper.go("/people")
        await expect(helper.page.get_by_text("this needs the role administer")).to_be_visible()
        await helper.go("/jobs")
        site.service.clock.at = NOON + 13 * 3600
        await helper.page.reload()
        title = helper.page.get_by_role("heading", name="Your access has ended")
        await expect(title).to_be_visible()
        await helper.go("/fields/hill")
        await expect(title).to_be_visible()
        await helper.page.goto(link)
        await helper.page.get_by_role("button", name="Let this device in").click()
        await expect(helper.page.get_by_text("has been used or is too old")).to_be_visible()


async def test_by_keyboard_alone_a_token_is_made_and_an_access_ended(
    browser: Browser, site: Visited
) -> None:
    site.service.app.state.secrets_in_use.known._given = {}  # as where the settings name no token
    async with opened(browser, site, Role.ADMINISTER, size=USUAL) as o:

        async def reach(name: str) -> None:
            """Tab until the control of this name has the focus."""
            for _ in range(60):
                await o.page.keyboard.press("Tab")
                found = await o.page.evaluate(
                    "(document.activeElement.labels?.[0] ?? document.activeElement).innerText"
                )
                if found and name in found:
                    return
            raise AssertionError(f"{name} cannot be reached by keyboard")

        await o.go("/farm/secrets")
        await reach("Make a new token for mast")
        await o.page.keyboard.press("Enter")
        await expect(o.page.get_by_text("Authorization: Bearer")).to_be_visible()
        await o.go("/people")
        await reach("Name")
        await o.page.keyboard.type("Ana")
        await reach("Last day")
        await o.page.keyboard.type("06112026")
        await reach("Make a link")
        await o.page.keyboard.press("Enter")
        await expect(o.page.get_by_role("heading", name="A link for Ana")).to_be_visible()
        await reach("End Ana's access now")
        await o.page.keyboard.press("Enter")
        await expect(o.page.get_by_text("Ana: ended 11:00 by grower")).to_be_visible()


@pytest.mark.parametrize(("size", "locale"), [(USUAL, "en-US"), (SMALL, "es-US")])
@pytest.mark.parametrize("scheme", ["light", "dark"])
async def test_axe_finds_nothing_and_all_fits(
    browser: Browser,
    site: Visited,
    axe: str,
    size: dict[str, int],
    locale: str,
    scheme: str,
) -> None:
    options: dict[str, Any] = {"locale": locale, "bypass_csp": True, "color_scheme": scheme}
    async with opened(browser, site, Role.ADMINISTER, size=size, **options) as o:
        for path in ("/farm", "/farm/people", "/farm/people/grower", "/farm/secrets", "/people"):
            await o.go(path)
            await _clean(o.page, axe, path, size["width"])
        await o.go("/farm/new-person")
        await o.page.locator("#f-name").fill("ana maría")
        await o.page.locator("#f-address").fill("wrong")
        await o.page.locator("button.big").click()
        await _clean(o.page, axe, "wrong recipient", size["width"])
        await o.go("/people")
        await o.page.locator("#name").fill("driver")
        await o.page.locator("#last_day").fill("2026-06-12")
        await o.page.locator("form.checklist button.big").click()
        await _clean(o.page, axe, "wrong guest", size["width"])
        await o.page.locator("#name").fill("Ana")
        await o.page.locator("form.checklist button.big").click()
        await _clean(o.page, axe, "invited", size["width"])
        await o.page.locator("form[action$='withdraw'] button").click()
        await _clean(o.page, axe, "ended", size["width"])
        assert [w for w in o.wrong if "status of 4" not in w] == []


async def _clean(page: Page, axe: str, where: str, width: int) -> None:
    assert await page.evaluate("document.documentElement.scrollWidth") <= width, where
    await page.evaluate(axe)
    found = await page.evaluate("axe.run()")
    violations = [(v["id"], [n["html"][:160] for n in v["nodes"]]) for v in found["violations"]]
    assert violations == [], where
    assert await page.evaluate(_SMALL_TARGETS) == [], where
