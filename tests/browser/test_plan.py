"""The page of the plan in a real browser: narrow, in Spanish, without a violation, by thumb."""

import tempfile
from pathlib import Path
from typing import Any

import pytest
from playwright.async_api import Browser, expect

from tests.browser.conftest import DESK, opened
from tests.support.planned_day import plan_of, planned_day
from watcher.web.auth.users import Role

pytestmark = pytest.mark.long

NARROW, NARROWER = {"width": 360, "height": 780}, {"width": 320, "height": 700}


@pytest.mark.parametrize(
    ("size", "locale"),
    [(NARROW, "en-US"), (NARROWER, "es-ES"), (DESK, "en-US")],
    ids=["360", "320 Spanish", "desktop"],
)
async def test_it_fits_and_axe_finds_no_violation(
    browser: Browser, axe: str, size: dict[str, int], locale: str
) -> None:
    with tempfile.TemporaryDirectory() as folder:
        async with planned_day(Path(folder)) as v:
            options: dict[str, Any] = {"locale": locale, "bypass_csp": True}
            async with opened(browser, v, size=size, **options) as o:
                await o.go("/plan")
                await expect(o.page.locator(".plan-strip")).to_be_visible()
                width = await o.page.evaluate("document.documentElement.scrollWidth")
                assert width <= size["width"]
                for box in await o.page.locator("main button, main .button, main select").all():
                    found = await box.bounding_box()
                    assert found is not None
                    assert min(found["height"], found["width"]) >= 44
                await o.page.evaluate(axe)
                found_wrong = await o.page.evaluate("axe.run()")
                assert [w["id"] for w in found_wrong["violations"]] == []
                assert o.wrong == []


async def test_a_wish_and_the_yes_are_one_tap_each_with_script_off(browser: Browser) -> None:
    with tempfile.TemporaryDirectory() as folder:
        async with (
            planned_day(Path(folder)) as v,
            opened(browser, v, Role.RUN, NARROW, java_script_enabled=False) as o,
        ):
            await o.go("/plan")
            await o.page.get_by_role("button", name="Accept this plan").click()
            await expect(o.page.locator("#accepted")).to_contain_text("Accepted by grower")
            assert plan_of(v).accepted is not None
            await o.page.locator("#wish").select_option("not today")
            await o.page.get_by_role("button", name="Ask for this").click()
            back = o.page.get_by_role("button", name="Take back: creek side: not today")
            await expect(back).to_be_visible()
            await back.click()
            await expect(o.page.get_by_text("Nothing: it is free to choose.")).to_be_visible()


async def test_taps_without_a_network_are_kept_and_sent_in_their_order(browser: Browser) -> None:
    with tempfile.TemporaryDirectory() as folder:
        async with planned_day(Path(folder)) as v, opened(browser, v, Role.RUN, NARROW) as o:
            await o.go("/plan")
            await o.context.set_offline(True)
            await o.page.get_by_role("button", name="Accept this plan").click()
            await o.page.locator("#wish").select_option("not today")
            await o.page.get_by_role("button", name="Ask for this").dblclick()
            await expect(o.page.locator("#kept")).to_contain_text("Not sent yet")
            assert plan_of(v).accepted is None
            await o.context.set_offline(False)
            back = o.page.get_by_role("button", name="Take back: creek side: not today")
            await expect(back).to_have_count(1, timeout=30_000)
            await expect(o.page.locator("#accepted")).to_contain_text("Accepted by grower")
            await expect(o.page.locator("#kept")).to_be_hidden()
