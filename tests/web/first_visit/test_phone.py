"""Who is told: a device that is pushed to, people by address, each tried with its outcome shown."""

import json
from collections.abc import Iterator
from html import unescape
from pathlib import Path

import pytest

from tests.support.first_visit import PLACE
from tests.support.push_service import Device, PushService
from tests.support.receiver import Receiver, status
from tests.support.visiting import pushes
from tests.web.first_visit.conftest import Site
from watcher.service import logs
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
    site.visit.pushes = pushes(site.visit.auth.sessions, anywhere=True)
    assert len((await site.web.get(PUSH)).json()["key"]) == 87
    device = Device()
    content = {"endpoint": service.endpoint(), "keys": device.keys}
    assert (await site.web.post(PUSH, json=content)).status_code == 204
    return device


async def state(site: Site, service: PushService, ref: str = "") -> dict[str, object]:
    answer: dict[str, object] = (
        await site.web.post(f"{PUSH}/state", json={"endpoint": service.endpoint(), "ref": ref})
    ).json()
    return answer


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
    for what, given, over in (("shown", "Shown on this device", False), ("seen", "Answered", True)):
        receipt = {"token": said["token"], "what": what}
        assert (await site.web.post(f"{PUSH}/receipt", json=receipt)).status_code == 204
        found = await state(site, service, ref)
        assert given in str(found["says"])
        assert found["over"] is over
    assert list(site.visit.auth.sessions.devices)  # the watch that comes next pushes to it


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
    site.visit.pushes = pushes(site.visit.auth.sessions)
    inside = {"endpoint": service.endpoint(), "keys": Device().keys}
    for found in ({}, inside):
        answer = await site.web.post(PUSH, json=found)
        assert answer.status_code == 422, found
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


async def test_a_push_address_is_typed_tried_and_kept_for_the_watch_to_come(
    site: Site, receiver: Receiver, tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    logs.set_up("json", "debug")
    site.visit.secrets = Secrets(tmp_path / "secrets.json")
    await site.tell("place", **PLACE)
    address = receiver.url().get_secret_value()
    added = await site.tell("phone", new_name="Ana María", address=address, add="yes")
    assert "The message to ana maria was taken" in unescape(added.text)
    assert receiver.wait_for(1)[0].title == "Test of the weather watch"
    found = await site.tell("phone", **{"ana_maria:start": "21:30", "ana_maria:end": "05:00"})
    assert found.status_code == 303
    assert site.visit.farm.raw["recipients"]["ana_maria"]["quiet_hours"]
    end = await site.web.get("/first")
    assert "Nobody is told" not in end.text
    page = await site.web.get("/first/phone")
    assert "a push address is kept, and is not shown again" in page.text
    # The next start of the watch has it; whoever else is on the machine may not read it.
    again = Secrets(tmp_path / "secrets.json")
    assert again.all_of(SecretKind.PUSH)["ana_maria"].get_secret_value() == address
    assert (tmp_path / "secrets.json").stat().st_mode & 0o777 == 0o600
    log = capfd.readouterr()
    shown = (added.text, page.text, end.text, str(site.visit.farm.texts), log.out + log.err)
    assert not [text for text in shown if "hidden-word" in text]
    assert '"a secret was set"' in log.out + log.err


async def test_left_with_next_an_address_is_kept_too_and_may_be_forgotten(
    site: Site, receiver: Receiver
) -> None:
    await site.tell("place", **PLACE)
    found = await site.tell("phone", new_name="grower", address=receiver.url().get_secret_value())
    assert (found.status_code, found.headers["location"]) == (303, "/first")
    assert list(site.visit.addresses) == list(site.visit.farm.raw["recipients"]) == ["grower"]
    gone = await site.tell("phone", forget="grower")
    assert "The push address of grower is forgotten." in unescape(gone.text)
    assert not site.visit.addresses
    assert not site.visit.farm.raw.get("recipients")
    assert "Nobody is told" in (await site.web.get("/first")).text
    assert "no push address has this name" in (await site.tell("phone", forget="grower")).text


@pytest.mark.parametrize(
    ("name", "address", "says"),
    [
        ("grower", "nfty://hidden-word", "did you mean ntfy://?"),
        ("grower", "mailto://hidden-word", "a part is missing or wrong"),
        ("grower", "hidden-word at home", "a scheme, ://, and no spaces"),
        ("grower", "json://a/hidden-word,json://b/hidden-word", "give one, without a comma"),
        ("grower", "x" * 2001 + "hidden-word", "must be one line of 1 to"),
        ("grower", "", "Type the push address, or choose Later"),
        ("", "json://127.0.0.1/hidden-word", "Write a short name"),
        ("json://hidden-word", "", "This is an address: write it below"),
    ],
)
async def test_an_address_that_cannot_be_is_answered_in_place_without_a_part_of_it(
    site: Site, name: str, address: str, says: str
) -> None:
    await site.tell("place", **PLACE)
    answer = await site.tell("phone", new_name=name, address=address, add="yes")
    text = unescape(answer.text)
    assert answer.status_code == 422
    assert says in text
    assert "Nothing was changed yet" in text
    assert ("The push address is not shown again: type it anew" in text) is bool(address)
    if "://" not in name:
        assert "hidden-word" not in text
    assert not site.visit.addresses
    assert "recipients" not in site.visit.farm.raw


async def test_an_address_of_the_settings_stands_first_and_says_so(
    site: Site, receiver: Receiver
) -> None:
    given = {SecretKind.PUSH: {"grower": receiver.url()}}
    site.visit.secrets = Secrets(None, given)
    await site.tell("place", **PLACE)
    page = unescape((await site.web.get("/first/phone")).text)
    assert "set in the settings of the watch (WATCHER_PUSH_URLS__grower)" in page
    assert 'name="forget"' not in page
    answer = await site.tell("phone", new_name="grower", address="json://127.0.0.1/other")
    assert answer.status_code == 422
    assert "is set by WATCHER_PUSH_URLS__grower in the settings" in unescape(answer.text)
    assert site.visit.addresses["grower"] == receiver.url()
    await site.tell("phone", forget="grower")
    assert site.visit.addresses["grower"] == receiver.url()


async def test_a_disk_that_takes_no_address_is_said_and_changes_nothing(
    site: Site, tmp_path: Path
) -> None:
    site.visit.secrets = Secrets(tmp_path / "nowhere" / "secrets.json")
    await site.tell("place", **PLACE)
    answer = await site.tell("phone", new_name="grower", address="json://127.0.0.1/phone")
    assert answer.status_code == 422
    assert "the push address cannot be kept" in answer.text
    assert "recipients" not in site.visit.farm.raw
