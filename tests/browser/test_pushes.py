"""A device subscribes on its page, tries a push, and answers from the notification.

No browser without a network outside can subscribe: `PushManager` is stubbed, with keys of the test
and a push service on loopback. The rest is real: what came to that service is opened with the
device's key and handed to the service worker as a push event, as a browser does.
"""

import asyncio
import json
from collections.abc import AsyncIterator, Iterator
from pathlib import Path

import pytest
import pytest_asyncio
from playwright.async_api import Browser, CDPSession, Worker, expect

from tests.browser.conftest import Open, opened
from tests.support import job_steps
from tests.support.push_service import Device, PushService
from tests.support.visiting import CALM, Visited, visited
from watcher.jobs import queries
from watcher.store import outbox

pytestmark = pytest.mark.long

STUBBED = """
const kept = () => JSON.parse(sessionStorage.getItem("subscribed") || "null");
const made = (device) => device && {
  endpoint: device.endpoint, toJSON: () => device,
  unsubscribe: async () => { sessionStorage.removeItem("subscribed"); return true; },
};
PushManager.prototype.getSubscription = async () => made(kept());
PushManager.prototype.subscribe = async (options) => {
  if (options.applicationServerKey.length !== 65) throw new Error("no key of the watch");
  sessionStorage.setItem("subscribed", JSON.stringify(DEVICE));
  return made(kept());
};
"""
_TAPPED = """
async (action) => {
  const [notification] = await self.registration.getNotifications();
  const event = new NotificationEvent("notificationclick", { notification, action });
  let done;
  // Only the browser's own events may be waited for.
  Object.defineProperty(event, "waitUntil", { value: (work) => { done = work; } });
  self.dispatchEvent(event);
  // The focus is for a hand's tap only: what is refused here is that, after the page has moved.
  await done.catch((error) => { if (error.name !== "InvalidAccessError") throw error; });
}
"""
_SHOWN = """
async () => (await self.registration.getNotifications()).map((n) => ({
  title: n.title, body: n.body, actions: n.actions.map((a) => a.title),
}))
"""


@pytest.fixture
def push_service() -> Iterator[PushService]:
    made = PushService()
    yield made
    made.stop()


@pytest_asyncio.fixture
async def service(tmp_path: Path) -> AsyncIterator[Visited]:
    async with visited(tmp_path, push_anywhere=True) as v:
        yield v


async def _opened(o: Open, push_service: PushService, device: Device) -> None:
    """Open the page of devices in a browser that subscribes as this device."""
    content = {"endpoint": push_service.endpoint(), "keys": device.keys}
    await o.context.add_init_script(STUBBED.replace("DEVICE", json.dumps(content)))
    await o.context.grant_permissions(["notifications"], origin=o.url)
    await o.go("/devices")
    await o.kept()


async def _deliver(o: Open, said: dict[str, str]) -> None:
    """Hand a push to the service worker, as the browser does."""
    cdp: CDPSession = await o.context.new_cdp_session(o.page)
    registered: asyncio.Future[str] = asyncio.get_running_loop().create_future()

    def found(event: dict[str, list[dict[str, str]]]) -> None:
        for one in event["registrations"]:
            if not registered.done():
                registered.set_result(one["registrationId"])

    cdp.on("ServiceWorker.workerRegistrationUpdated", found)
    await cdp.send("ServiceWorker.enable")
    async with asyncio.timeout(10):
        number = await registered
    await cdp.send(
        "ServiceWorker.deliverPushMessage",
        {"origin": o.url, "registrationId": number, "data": json.dumps(said)},
    )


def _worker(o: Open) -> Worker:
    [worker] = o.context.service_workers
    return worker


async def _notifications(o: Open) -> list[dict[str, object]]:
    """What is shown on the device, once there is something."""
    shown: list[dict[str, object]] = []
    async with asyncio.timeout(10):
        while not shown:
            shown = await _worker(o).evaluate(_SHOWN)
    return shown


async def _subscribe(o: Open) -> None:
    await expect(o.page.locator("#push-says")).to_have_text("Alerts are not pushed to this device.")
    await o.page.locator("#push").click()
    await expect(o.page.locator("#push-says")).to_have_text("Alerts are pushed to this device.")


async def test_a_device_subscribes_and_tries_a_push_to_its_end(
    browser: Browser, service: Visited, push_service: PushService
) -> None:
    device = Device()
    async with opened(browser, service) as o:
        await _opened(o, push_service, device)
        await expect(o.page.locator("#push-test")).to_be_hidden()
        await _subscribe(o)
        await expect(o.page.locator("#push")).to_be_hidden()
        await o.page.locator("#push-test").click()
        says = o.page.locator("#push-says")
        await expect(says).to_contain_text("Taken by the push service")
        [got] = await asyncio.to_thread(push_service.wait_for)
        await _deliver(o, device.read(got))
        await expect(says).to_contain_text("Shown on this device")
        [shown] = await _worker(o).evaluate(_SHOWN)
        assert shown["title"] == "Test of the weather watch"
        assert shown["actions"] == ["I have seen this"]
        await _worker(o).evaluate(_TAPPED, "seen")
        await expect(says).to_contain_text("Answered on this device")
        assert await _worker(o).evaluate(_SHOWN) == []
        await o.page.reload()  # it knows so when it comes back
        await expect(says).to_have_text("Alerts are pushed to this device.")
        assert o.wrong == []


async def test_the_push_service_s_refusal_is_told_in_plain_words(
    browser: Browser, service: Visited, push_service: PushService
) -> None:
    push_service.status = 403
    async with opened(browser, service) as o:
        await _opened(o, push_service, Device())
        await _subscribe(o)
        await o.page.locator("#push-test").click()
        await expect(o.page.locator("#push-says")).to_have_text(
            "The push service refused it; it is not tried again (HTTP 403)."
        )
        assert o.wrong == []


async def test_a_push_service_that_nothing_is_sent_to_is_told_on_the_page(
    browser: Browser, tmp_path: Path, push_service: PushService
) -> None:
    async with visited(tmp_path) as v, opened(browser, v) as o:
        await _opened(o, push_service, Device())
        await o.page.locator("#push").click()
        await expect(o.page.locator("#push-says")).to_have_text(
            "this device cannot be pushed to: the push service must be reached by https"
        )


async def test_a_device_that_refuses_notifications_is_told_how_to_allow_them(
    browser: Browser, service: Visited
) -> None:
    async with opened(browser, service) as o:
        await o.page.add_init_script(
            "Object.defineProperty(Notification, 'permission', { get: () => 'denied' });"
        )
        await o.go("/devices")
        await expect(o.page.locator("#push-says")).to_contain_text("Allow them in the settings")
        await expect(o.page.locator("#push")).to_be_hidden()


async def test_the_page_speaks_spanish_of_pushes(
    browser: Browser, service: Visited, push_service: PushService
) -> None:
    async with opened(browser, service, locale="es-MX") as o:
        await _opened(o, push_service, Device())
        await expect(o.page.locator("#push-says")).to_have_text(
            "Las alertas no llegan a este dispositivo."
        )


async def _alert(v: Visited) -> None:
    watch = v.service.watch
    with watch.transactions.store.writing() as session:
        job_steps.start(session, watch.transactions.plan, "hill", "coarse", v.service.clock.at)
    await v.service.judged()
    v.service.clock.at += 60
    await v.service.post(**CALM | {"gust": "19 mph"})
    await v.service.judged()


async def test_an_alert_of_a_job_is_answered_from_the_notification(
    browser: Browser, service: Visited, push_service: PushService
) -> None:
    device, log = Device(), service.service.watch.transactions.store
    async with opened(browser, service) as o:
        await _opened(o, push_service, device)
        await _subscribe(o)
        await _alert(service)
        [got] = await asyncio.to_thread(push_service.wait_for)
        said = device.read(got)
        await _deliver(o, said)
        [shown] = await _notifications(o)
        assert shown["actions"] == ["Pause", "I have seen this"]
        await o.context.set_offline(True)
        await _worker(o).evaluate(_TAPPED, "pause")
        [kept] = await _worker(o).evaluate(_SHOWN)
        assert kept["body"] == "Not taken: no answer from the watch. Tap to open the page."
        await o.context.set_offline(False)
        await _worker(o).evaluate(_TAPPED, "pause")
        assert await _worker(o).evaluate(_SHOWN) == []
        with log.reading() as session:
            assert queries.story(session, 1, service.service.clock.at).view.job.state == "paused"
            first = outbox.first_acknowledged(session, said["tag"])
        assert first == (service.service.clock.at, "grower")


async def test_a_pause_that_the_watch_refuses_is_said_on_the_notification(
    browser: Browser, service: Visited, push_service: PushService
) -> None:
    device, watch = Device(), service.service.watch
    async with opened(browser, service) as o:
        await _opened(o, push_service, device)
        await _subscribe(o)
        await _alert(service)
        [got] = await asyncio.to_thread(push_service.wait_for)
        await _deliver(o, device.read(got))
        await _notifications(o)
        with watch.transactions.store.writing() as session:
            job_steps.finish(session, 1, service.service.clock.at)
        await _worker(o).evaluate(_TAPPED, "pause")
        [kept] = await _notifications(o)
        assert kept["body"] == "Not taken: the watch refused it. Tap to open the page and see why."


async def test_a_tap_on_the_notification_opens_the_page_of_the_job(
    browser: Browser, service: Visited, push_service: PushService
) -> None:
    device = Device()
    async with opened(browser, service) as o:
        await _opened(o, push_service, device)
        await _subscribe(o)
        await _alert(service)
        [got] = await asyncio.to_thread(push_service.wait_for)
        await _deliver(o, device.read(got))
        await _notifications(o)
        await _worker(o).evaluate(_TAPPED, "")
        await o.page.wait_for_url("**/jobs/1")
