"""Everyday edits in a real browser: a small phone, in Spanish, without script, axe clean."""

from collections.abc import AsyncIterator
from pathlib import Path
from typing import Any

import pytest
from playwright.async_api import Browser, expect

from tests.browser.conftest import opened
from tests.support.farm_files import written
from tests.support.visiting import Visited, visited
from watcher.web.auth.users import Role

pytestmark = pytest.mark.long

SMALL = {"width": 320, "height": 640}
USUAL = {"width": 360, "height": 640}


@pytest.fixture
async def changing(tmp_path: Path) -> AsyncIterator[Visited]:
    async with visited(tmp_path, farm_file=written(tmp_path)) as v:
        yield v


async def test_weeds_are_changed_without_script_in_five_taps(
    browser: Browser, changing: Visited
) -> None:
    options: dict[str, Any] = {"java_script_enabled": False}
    async with opened(browser, changing, Role.ADMINISTER, size=USUAL, **options) as o:
        await o.go("/fields/hill")
        await o.page.get_by_role("link", name="Change what is so today").click()
        await o.page.get_by_label("Weeds", exact=True).select_option("weedy")
        await o.page.get_by_role("button", name="See what this would change").click()
        await expect(o.page.get_by_text("fields.hill.weeds: clean → weedy")).to_be_visible()
        await o.page.get_by_role("button", name="Keep it").click()
        await expect(o.page.get_by_text("Kept, and judged with it.")).to_be_visible()
        await expect(o.page.get_by_text("Weeds: many")).to_be_visible()
        await o.page.get_by_role("button", name="Undo").click()
        await o.go("/fields/hill")
        await expect(o.page.get_by_text("Weeds: few")).to_be_visible()


@pytest.mark.parametrize(("size", "locale"), [(USUAL, "en-US"), (SMALL, "es-US")])
async def test_axe_finds_nothing_and_all_fits(
    browser: Browser, changing: Visited, axe: str, size: dict[str, int], locale: str
) -> None:
    options: dict[str, Any] = {"locale": locale, "bypass_csp": True}
    async with opened(browser, changing, Role.ADMINISTER, size=size, **options) as o:

        async def clean(where: str) -> None:
            width = await o.page.evaluate("document.documentElement.scrollWidth")
            assert width <= size["width"], where
            await o.page.evaluate(axe)
            found = await o.page.evaluate("axe.run()")
            violations = [
                (v["id"], [n["html"][:160] for n in v["nodes"]]) for v in found["violations"]
            ]
            assert violations == [], where
            small = await o.page.evaluate(_SMALL_TARGETS)
            assert small == [], where

        await o.go("/fields/hill/change")
        await clean("form")
        await o.page.locator("#f-canopy").fill("30")
        await o.page.locator("button.big").click()
        await clean("wrong")
        await o.go("/fields/hill/bound/wind")
        await clean("bound")
        await o.page.locator("[id='f-window:high']").fill("12 mph")
        await o.page.locator("button.big").click()
        await clean("look")
        await o.page.locator("[name=label_changed]").check()
        await o.page.locator("button.big").click()
        await clean("field")
        for path in (
            "/farm",
            "/farm/versions/2",
            "/farm/people/grower",
            "/farm/season",
            "/farm/copy",
            "/farm/windows/contact",
            "/farm/sprayers/boom",
            "/farm/setups/coarse",
            "/farm/add/products",
            "/farm/copy/windows/contact",
            "/farm/read-in",
            "/farm/add/windows/contact/rules",
            "/farm/add/windows/contact/rules?kind=wind",
            "/farm/add/windows/contact/buffers",
            "/farm/neighbours/orchard",
            "/farm/map",
            "/people",
        ):
            await o.go(path)
            await clean(path)
        assert [w for w in o.wrong if "status of 422" not in w] == []


async def test_a_sprayer_is_changed_and_one_in_use_not_taken_out(
    browser: Browser, changing: Visited
) -> None:
    """Two sessions: the second is told of the first; all without script."""
    options: dict[str, Any] = {"java_script_enabled": False}
    async with (
        opened(browser, changing, Role.ADMINISTER, size=USUAL, **options) as one,
        opened(browser, changing, Role.ADMINISTER, size=USUAL, **options) as other,
    ):
        for o, label, value in (
            (one, "Speed while", "10 mph"),
            (other, "What the tank", "900 gal"),
        ):
            await o.go("/farm")
            await o.page.get_by_role("link", name="boom", exact=True).click()
            await o.page.get_by_label(label).fill(value)
            await o.page.get_by_role("button", name="See what this would change").click()
        await one.page.get_by_role("button", name="Keep it").click()
        await expect(one.page.get_by_text("Kept, and judged with it.")).to_be_visible()
        await other.page.get_by_role("button", name="Keep it").click()
        await expect(other.page.get_by_text("changed the farm at")).to_be_visible()
        await other.page.get_by_role("button", name="Keep it").click()
        boom = changing.service.watch.transactions.plan.farm.config.sprayers["boom"]
        assert (round(boom.speed, 2), round(boom.tank)) == (4.47, 3407)
        await one.go("/farm/sprayers/boom")
        await one.page.get_by_role("button", name="Take it out of the farm").click()
        await expect(one.page.get_by_text("is used by setup fine")).to_be_visible()


_SMALL_TARGETS = """
[...document.querySelectorAll("main a, main button, main input, main select, main label.tick")]
  .filter(e => e.type !== "checkbox" && e.type !== "hidden" && e.getClientRects().length)
  .filter(e => e.getBoundingClientRect().height < 44).map(e => e.outerHTML.slice(0, 120))
"""


async def test_a_season_ends_without_script(browser: Browser, changing: Visited) -> None:
    options: dict[str, Any] = {"java_script_enabled": False}
    async with opened(browser, changing, Role.ADMINISTER, size=USUAL, **options) as o:
        await o.go("/farm")
        await o.page.get_by_role("link", name="End the season").click()
        await o.page.get_by_label("What the season that ends is called").fill("2026")
        await o.page.get_by_role("button", name="See what this would change").click()
        await expect(o.page.get_by_text("say how weedy it is").first).to_be_visible()
        for weeds in await o.page.get_by_label("Weeds", exact=True).all():
            await weeds.select_option("weedy")
        await o.page.get_by_role("button", name="See what this would change").click()
        await expect(o.page.get_by_text("fields.hill.weeds: clean → weedy")).to_be_visible()
        await o.page.get_by_role("button", name="Keep it").click()
        await expect(o.page.get_by_text("Kept, and judged with it.")).to_be_visible()


async def test_a_rule_is_added_and_a_farm_read_in_without_script(
    browser: Browser, changing: Visited, tmp_path: Path
) -> None:
    options: dict[str, Any] = {"java_script_enabled": False}
    async with opened(browser, changing, Role.ADMINISTER, size=USUAL, **options) as o:
        before = (await changing.web.get("/farm/export.zip")).content
        await o.go("/farm/windows/contact")
        await o.page.get_by_role("link", name="another rule").click()
        await o.page.get_by_role("link", name="speed", exact=True).click()
        await o.page.get_by_label("No faster than this").fill("15 mph")
        await o.page.get_by_label("Whose rule it is").select_option("label")
        await o.page.get_by_role("button", name="See what this would change").click()
        await o.page.get_by_role("button", name="Keep it").click()
        await expect(o.page.get_by_role("link", name="Rule: speed, 15 mph")).to_be_visible()
        await o.go("/farm")
        await o.page.get_by_role("link", name="Read a farm in").click()
        archive = {"name": "farm.zip", "mimeType": "application/zip", "buffer": before}
        await o.page.get_by_label("Archive").set_input_files(archive)
        await o.page.get_by_role("button", name="See what this would change").click()
        # The archive is from before the rule, which goes only where the label changed.
        await expect(o.page.get_by_text("Not yours to loosen")).to_be_visible()
        await o.page.get_by_role("button", name="Keep it").click()
        await o.page.get_by_role("checkbox").check()
        await o.page.get_by_role("button", name="Keep it").click()
        await expect(o.page.get_by_text("Kept, and judged with it.")).to_be_visible()
        await o.go("/farm/windows/contact")
        await expect(o.page.get_by_role("link", name="Rule: speed")).to_have_count(0)
