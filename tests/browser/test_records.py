"""The checklist of a record on a phone: a mistake beside its value, and room for Spanish."""

import pytest
from playwright.async_api import Browser, expect

from tests.browser.conftest import opened
from tests.support.visiting import Visited
from watcher.web.auth.users import Role

pytestmark = pytest.mark.long


async def _sprayed(v: Visited) -> None:
    v.log_in(Role.RUN)
    await v.send("/fields/hill", "/jobs", field="hill", setup="coarse")
    v.service.clock.at += 1200
    await v.send("/jobs/1", "/jobs/1/finish", note="calm")


async def test_a_mistake_stands_beside_its_value_and_loses_none(
    browser: Browser, service: Visited
) -> None:
    await _sprayed(service)
    async with opened(browser, service, Role.RUN, size={"width": 360, "height": 640}) as o:
        await o.go("/records/1")
        await o.page.get_by_label("area treated (acre)").fill("forty")
        await o.page.get_by_label("certified applicator").fill("A. Grower")
        save = o.page.get_by_role("button", name="Save all of it")
        await save.click()
        area = o.page.get_by_label("area treated (acre)")
        await expect(area).to_have_attribute("aria-invalid", "true")
        await expect(area).to_have_value("forty")
        await expect(o.page.get_by_label("certified applicator")).to_have_value("A. Grower")
        await area.fill("38")
        await save.click()
        await o.page.wait_for_url("**/records/1")
        await expect(o.page.get_by_label("area treated (acre)")).to_have_value("38.0")
        await expect(o.page.get_by_label("certified applicator")).to_have_value("A. Grower")


@pytest.mark.parametrize("code", ["en", "es"])
async def test_it_needs_no_sideways_scroll_and_its_targets_are_large(
    browser: Browser, service: Visited, code: str
) -> None:
    await _sprayed(service)
    narrow = {"width": 320, "height": 640}
    async with opened(browser, service, Role.RUN, size=narrow, locale=code) as o:
        await o.go("/records/1")
        await o.page.evaluate("document.querySelectorAll('details').forEach((d) => d.open = true)")
        assert await o.page.evaluate("document.documentElement.scrollWidth") == 320
        targets = "main input:not([type=hidden]), main select, main button, main summary"
        heights = await o.page.locator(targets).evaluate_all("all => all.map(e => e.offsetHeight)")
        assert min(heights) >= 44
