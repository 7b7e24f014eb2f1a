"""Steps of a job from a phone: tapped twice, without a network, and refused when they come in."""

import pytest
from playwright.async_api import Browser, expect

from tests.browser.conftest import Open, opened
from tests.support.visiting import CALM, NOON, Visited
from watcher.store import jobs
from watcher.store.tables import Job

pytestmark = pytest.mark.long


async def _start(o: Open) -> None:
    await o.go("/fields/hill")
    await o.page.get_by_role("button", name="Start spraying").click()
    await o.page.wait_for_url("**/jobs/1")


def _job(v: Visited) -> Job:
    with v.service.watch.transactions.store.reading() as session:
        return jobs.job(session, 1)


async def test_a_double_tap_starts_one_job_and_shows_it(browser: Browser, service: Visited) -> None:
    async with opened(browser, service) as o:
        await o.go("/fields/hill")
        await o.page.get_by_role("button", name="Start spraying").dblclick()
        await o.page.wait_for_url("**/jobs/1")
        with service.service.watch.transactions.store.reading() as session:
            assert len(jobs.past_jobs(session, 0, NOON + 9)) == 1


async def test_a_tap_without_a_network_is_sent_later_with_its_time(
    browser: Browser, service: Visited
) -> None:
    async with opened(browser, service) as o:
        await _start(o)
        await o.context.set_offline(True)
        await o.page.get_by_role("button", name="Pause").click()
        await expect(o.page.locator("#kept")).to_contain_text("Not sent yet")
        assert _job(service).state == "running"
        service.service.clock.at += 600
        await o.page.evaluate(
            "localStorage.steps = JSON.stringify(JSON.parse(localStorage.steps)"
            ".map((s) => ({ ...s, tapped: s.tapped - 300000 })))"
        )
        await o.context.set_offline(False)
        await expect(o.page.get_by_role("button", name="Go on")).to_be_visible(timeout=30_000)
        await expect(o.page.locator("#kept")).to_be_hidden()
        paused_at = _job(service).paused_at
        assert paused_at is not None
        assert abs(paused_at - (NOON + 300)) < 120  # tapped 300 s before it was sent


async def test_a_kept_tap_that_no_longer_applies_says_what_became_of_the_job(
    browser: Browser, service: Visited
) -> None:
    async with opened(browser, service) as o:
        await _start(o)
        await o.context.set_offline(True)
        await o.page.get_by_role("button", name="Pause").click()
        await expect(o.page.locator("#kept")).to_contain_text("Not sent yet")
        await service.send("/more", "/jobs/1/finish")
        await o.context.set_offline(False)
        kept = o.page.locator("#kept")
        await expect(kept).to_contain_text("was not taken", timeout=30_000)
        await expect(kept).to_contain_text("finished, 11:00, by grower")


async def test_a_start_that_is_asked_about_waits_for_the_answer(
    browser: Browser, service: Visited
) -> None:
    await service.service.post(**CALM | {"wind": "12 mph", "gust": "20 mph"})
    await service.service.judged()
    async with opened(browser, service) as o:
        await o.go("/fields/hill")
        await o.page.get_by_role("button", name="Start spraying").click()
        yes = o.page.get_by_role("button", name="Yes, start all the same")
        await expect(yes).to_be_visible()
        await service.service.post(**CALM | {"wind": "12 mph", "gust": "21 mph"})
        await service.service.judged()  # which shows every other page anew
        await yes.click()
        await o.page.wait_for_url("**/jobs/1")
