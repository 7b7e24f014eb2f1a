"""Who is told: a device that is pushed to, people by address, each tried with its outcome shown."""

import json
from collections.abc import Iterator
from html import unescape

import pytest

from tests.support.first_visit import PLACE
from tests.support.push_service import Device, PushService
from tests.support.receiver import Receiver, status
from tests.support.visiting import pushes
from tests.web.first_visit.conftest import Site
from watcher.service.kept_secrets import SecretKind, Secrets

PUSH = "/devices/push"


@pytest.fixture
def service() -> Iterator[PushService]:
    made = PushService()
    yield made
    made.stop()


@pytest.fixture
def receiver() -> Iterator[Receiver]:
    made = Receiver()
    yield made
    made.close()


async def subscribed(site: Site, service: PushService) -> Device:
    site.visit.pushes = pushes(site.visit.door.keyring, anywhere=True)
    assert len((await site.web.get(PUSH)).json()["key"]) == 87
    device = Device()
    told = {"endpoint": service.endpoint(), "keys": device.keys}
    assert (await site.web.post(PUSH, json=told)).status_code == 204
    return device


async def state(site: Site, service: PushService, ref: str = "") -> dict[str, object]:
    told: dict[str, object] = (
        await site.web.post(f"{PUSH}/state", json={"endpoint": service.endpoint(), "ref": ref})
    ).json()
    return told


async def test_this_phone_is_tried_to_the_end(site: Site, service: PushService) -> None:
    device = await subscribed(site, service)
    assert await state(site, service) == {
        "here": True,
        "over": True,
        "says": "Alerts are pushed to this device.",
    }
    answer = await site.web.post(f"{PUSH}/test", json={"endpoint": service.endpoint()})
    ref = answer.json()["ref"]
    assert "Taken by the push service" in str((await state(site, service, ref))["says"])
    [got] = service.wait_for()
    said = device.read(got)
    assert said["title"] == "Test of the weather watch"
    for what, told, over in (("shown", "Shown on this device", False), ("seen", "Answered", True)):
        receipt = {"token": said["token"], "what": what}
        assert (await site.web.post(f"{PUSH}/receipt", json=receipt)).status_code == 204
        found = await state(site, service, ref)
        assert told in str(found["says"])
        assert found["over"] is over
    assert list(site.visit.door.keyring.devices)  # the watch that comes next pushes to it


async def test_a_push_that_is_refused_is_said(site: Site, service: PushService) -> None:
    await subscribed(site, service)
    service.status = 500
    answer = await site.web.post(f"{PUSH}/test", json={"endpoint": service.endpoint()})
    found = await state(site, service, answer.json()["ref"])
    assert "did not take it (HTTP 500): try again" in str(found["says"])
    assert found["over"] is True


async def test_without_a_contact_nothing_is_pushed_and_that_is_said(site: Site) -> None:
    assert "WATCHER_CONTACT" in (await site.web.get("/first/phone")).text
    answer = await site.web.post(PUSH, json={"endpoint": "x", "keys": {}})
    assert answer.status_code == 422
    assert "WATCHER_CONTACT" in answer.text


async def test_what_is_no_subscription_is_refused(site: Site, service: PushService) -> None:
    site.visit.pushes = pushes(site.visit.door.keyring)
    inside = {"endpoint": service.endpoint(), "keys": Device().keys}
    for told in ({}, inside):
        answer = await site.web.post(PUSH, json=told)
        assert answer.status_code == 422, told
    assert (await site.web.post(f"{PUSH}/test", json={})).status_code == 422
    token = {"token": "made.up.here", "what": "seen"}
    assert (await site.web.post(f"{PUSH}/receipt", json=token)).status_code == 403
    site.web.cookies.clear()
    assert (await site.web.post(PUSH, json=inside)).status_code == 401


async def test_an_address_of_the_settings_is_tried_and_its_owner_told_of(
    site: Site, receiver: Receiver
) -> None:
    await site.tell("place", **PLACE)
    site.visit.secrets = Secrets(None, {SecretKind.PUSH: {"grower": receiver.url()}})
    page = await site.web.get("/first/phone")
    assert "hidden-word" not in page.text
    tried = await site.tell("phone", test="grower", **{"grower:start": "21:30"})
    assert "The message to grower was taken" in unescape(tried.text)
    assert 'value="21:30"' in tried.text
    assert receiver.wait_for(1)[0].title == "Test of the weather watch"
    receiver.always = status(500)
    refused = await site.tell("phone", test="grower")
    assert "the message to grower was not taken" in unescape(refused.text)
    assert "no push address" in unescape((await site.tell("phone", test="nobody")).text)
    assert "Nobody is told" in (await site.web.get("/first")).text
    kept = await site.tell("phone", **{"grower:start": "21:30", "grower:end": "05:00"})
    assert (kept.status_code, kept.headers["location"]) == (303, "/first")
    assert "Nobody is told" not in (await site.web.get("/first")).text
    quiet = json.loads(json.dumps(site.visit.farm.raw["recipients"], default=str))
    assert quiet == {"grower": {"quiet_hours": {"start": "21:30:00", "end": "05:00:00"}}}


async def test_quiet_hours_that_cannot_be_are_said_in_place(site: Site, receiver: Receiver) -> None:
    await site.tell("place", **PLACE)
    site.visit.secrets = Secrets(None, {SecretKind.PUSH: {"grower": receiver.url()}})
    answer = await site.tell("phone", **{"grower:start": "late", "grower:end": "05:00"})
    assert answer.status_code == 422
    assert "must be a time of day" in unescape(answer.text)
    assert 'value="late"' in answer.text
    assert "recipients" not in site.visit.farm.raw
