"""A device subscribes, is pushed to through the outbox, tries it, and answers."""

import asyncio
import socket
from collections.abc import Callable
from pathlib import Path
from typing import Any

import httpx
import pytest

from tests.support import job_steps
from tests.support.push_service import Device, Got, PushService
from tests.support.visiting import CALM, PROGRAM, Visited, visited
from watcher.jobs import queries
from watcher.store import outbox
from watcher.store.tables import Outgoing
from watcher.web.auth.users import Role

pytestmark = pytest.mark.long


async def _subscribed(v: Visited, endpoint: str, device: Device, **headers: str) -> None:
    v.log_in()
    content = {"endpoint": endpoint, "keys": device.keys}
    answer = await v.web.post("/devices/push", json=content, headers=headers)
    assert answer.status_code == 204


async def _alert(v: Visited) -> None:
    watch = v.service.watch
    with watch.transactions.store.writing() as session:
        job_steps.start(session, watch.transactions.plan, "hill", "coarse", v.service.clock.at)
    await v.service.judged()
    v.service.clock.at += 60
    await v.service.post(**CALM | {"gust": "19 mph"})
    await v.service.judged()


def _rows(v: Visited) -> list[Outgoing]:
    with v.service.watch.transactions.store.reading() as session:
        return [m for m in outbox.newest(session, 50) if m.recipient.startswith("device:")]


async def _sent(v: Visited, state: str = "sent") -> Outgoing:
    await _until(lambda: any(m.state == state for m in _rows(v)))
    return _rows(v)[0]


async def _until(true: Callable[[], bool]) -> None:
    async with asyncio.timeout(15):
        while not true():  # noqa: ASYNC110  # what is waited for is in a file
            await asyncio.sleep(0.02)


async def _first(service: PushService) -> Got:
    return (await asyncio.to_thread(service.wait_for))[0]


async def _state(v: Visited, endpoint: str, ref: str = "", **headers: str) -> dict[str, Any]:
    content = {"endpoint": endpoint, "ref": ref}
    answer = await v.web.post("/devices/push/state", json=content, headers=headers)
    found: dict[str, Any] = answer.json()
    return found


async def _answer(v: Visited, said: dict[str, str], what: str, **more: Any) -> httpx.Response:
    to, found = ("pause", {}) if what == "pause" else ("receipt", {"what": what})
    found |= {"token": said["token"]} | more
    return await v.web.post(f"/devices/push/{to}", json=found)


async def test_an_alert_of_a_job_is_one_row_of_the_outbox_and_pushed_to_the_device(
    tmp_path: Path,
) -> None:
    service, device = PushService(), Device()
    async with visited(tmp_path, push_anywhere=True) as v:
        await _subscribed(v, service.endpoint(), device)
        await _alert(v)
        got = await _first(service)
        row = await _sent(v)
        assert len(_rows(v)) == 1  # two recipients were told too, the device hears it once
    service.stop()
    said = device.read(got)
    assert (said["title"], said["tag"], said["to"]) == (row.title, row.short_id, "/jobs/1")
    assert "hill" in said["title"]
    assert b"hill" not in got.body
    assert row.urgent


async def test_a_tap_on_seen_acknowledges_as_the_user_of_the_device(tmp_path: Path) -> None:
    service, device = PushService(), Device()
    async with visited(tmp_path, push_anywhere=True) as v:
        await _subscribed(v, service.endpoint(), device)
        await _alert(v)
        said = device.read(await _first(service))
        await _sent(v)
        assert (await _answer(v, said, "shown")).status_code == 204
        assert [(m.shown_at, m.acknowledged_at) for m in _rows(v)] == [(v.service.clock.at, None)]
        v.web.cookies.clear()  # the token, which only the device can read, is enough
        assert (await _answer(v, said, "seen")).status_code == 204
        assert [m.acknowledged_by for m in _rows(v)] == ["grower"]
        with v.service.watch.transactions.store.reading() as session:
            first = outbox.first_acknowledged(session, said["tag"])
        assert first == (v.service.clock.at, "grower")
    service.stop()


async def test_an_answer_with_a_token_that_is_not_ours_is_refused(tmp_path: Path) -> None:
    service, device = PushService(), Device()
    async with visited(tmp_path, push_anywhere=True) as v:
        await _subscribed(v, service.endpoint(), device)
        await _alert(v)
        said = device.read(await _first(service))
        forged = said | {"token": said["token"][:-1] + "?"}
        for what in ("shown", "seen"):
            assert (await _answer(v, forged, what)).status_code == 403
        assert (await _answer(v, forged, "pause", key="1", ago=0)).status_code == 403
        assert [(m.shown_at, m.acknowledged_at) for m in _rows(v)] == [(None, None)]
    service.stop()


async def test_a_tap_on_pause_pauses_the_job_once_however_often_it_comes(tmp_path: Path) -> None:
    service, device = PushService(), Device()
    async with visited(tmp_path, push_anywhere=True) as v:
        await _subscribed(v, service.endpoint(), device)
        await _alert(v)
        said = device.read(await _first(service))
        began = v.service.clock.at
        for ago in (0, 30):
            v.service.clock.at = began + ago
            answer = await _answer(v, said, "pause", key="tap 1", ago=ago)
            assert answer.status_code == 204
        with v.service.watch.transactions.store.reading() as session:
            story = queries.story(session, 1, v.service.clock.at)
        assert (story.view.job.state, story.view.job.paused_at) == ("paused", began)
        assert [step.what for step in story.steps].count("paused") == 1
    service.stop()


@pytest.mark.parametrize("role", [Role.LOOK, None])
async def test_who_may_not_run_jobs_pauses_none(tmp_path: Path, role: Role | None) -> None:
    service, device = PushService(), Device()
    async with visited(tmp_path, push_anywhere=True) as v:
        await _subscribed(v, service.endpoint(), device)
        await _alert(v)
        said = device.read(await _first(service))
        v.web.cookies.clear()
        if role is not None:
            v.log_in(role)
        answer = await _answer(v, said, "pause", key="tap 1", ago=0)
        assert answer.status_code == (401 if role is None else 403)
        with v.service.watch.transactions.store.reading() as session:
            assert queries.story(session, 1, v.service.clock.at).view.job.paused_at is None
    service.stop()


async def test_a_test_takes_the_way_of_alerts_and_is_told_of_to_its_end(tmp_path: Path) -> None:
    service, device = PushService(), Device()
    async with visited(tmp_path, push_anywhere=True) as v:
        endpoint = service.endpoint()
        await _subscribed(v, endpoint, device)
        answer = await v.web.post("/devices/push/test", json={"endpoint": endpoint})
        ref = answer.json()["ref"]
        said = device.read(await _first(service))
        row = await _sent(v)
        assert (row.short_id, row.kind, row.title) == (
            ref,
            "test push",
            "Test of the weather watch",
        )
        assert "label" in said["body"]  # the caution
        assert said["to"] == "/devices"
        heard = []
        for what in ("", "shown", "seen"):
            if what:
                await _answer(v, said, what)
            found = await _state(v, endpoint, ref)
            heard.append((found["says"].split()[0], found["over"]))
        assert heard == [("Taken", False), ("Shown", False), ("Answered", True)]
    service.stop()


async def test_a_test_that_the_service_refuses_says_so_and_one_that_waits_says_why(
    tmp_path: Path,
) -> None:
    service, device = PushService(403), Device()
    async with visited(tmp_path, push_anywhere=True) as v:
        endpoint = service.endpoint()
        await _subscribed(v, endpoint, device)
        ref = (await v.web.post("/devices/push/test", json={"endpoint": endpoint})).json()["ref"]
        await _sent(v, "failed")
        assert await _state(v, endpoint, ref) == {
            "here": True,
            "over": True,
            "says": "The push service refused it; it is not tried again (HTTP 403).",
        }
        service.status = 503
        v.service.clock.at += 60
        ref = (await v.web.post("/devices/push/test", json={"endpoint": endpoint})).json()["ref"]
        await _until(lambda: _rows(v)[0].last_error is not None)
        found = await _state(v, endpoint, ref, **{"Accept-Language": "es"})
        assert "todavía no lo aceptó; se intenta otra vez (HTTP 503)" in found["says"]
        assert not found["over"]
    service.stop()


async def test_a_device_that_is_gone_is_told_so_on_its_page_and_may_subscribe_anew(
    tmp_path: Path,
) -> None:
    service, device = PushService(410), Device()
    async with visited(tmp_path, push_anywhere=True) as v:
        endpoint = service.endpoint()
        await _subscribed(v, endpoint, device)
        await _alert(v)
        await _sent(v, "failed")
        assert v.sessions.subscriptions() == []
        found = await _state(v, endpoint)
        assert not found["here"]
        assert "ended the pushes to this device (it answered 410)" in found["says"]
        answer = await v.web.post("/devices/push/test", json={"endpoint": endpoint})
        assert answer.status_code == 422
        content = {"endpoint": endpoint, "keys": device.keys}
        assert (await v.web.post("/devices/push", json=content)).status_code == 204
        assert (await _state(v, endpoint))["here"]
    service.stop()


async def test_a_device_is_told_of_itself_only(tmp_path: Path) -> None:
    service = PushService()
    async with visited(tmp_path, push_anywhere=True) as v:
        await _subscribed(v, service.endpoint("one"), Device())
        await _subscribed(v, service.endpoint("two"), Device())  # another session
        assert (await _state(v, service.endpoint("two")))["here"]
        for other in (service.endpoint("one"), ""):
            assert await _state(v, other) == {
                "here": False,
                "over": True,
                "says": "Alerts are not pushed to this device.",
            }
            answer = await v.web.post("/devices/push/test", json={"endpoint": other})
            assert answer.status_code == 422
        page = (await v.web.get("/devices")).text
        assert "127.0.0.1" not in page
        assert _rows(v) == []
    service.stop()


async def test_a_device_put_out_is_pushed_nothing_that_still_waits(tmp_path: Path) -> None:
    service, device = PushService(503), Device()
    async with visited(tmp_path, push_anywhere=True) as v:
        await _subscribed(v, service.endpoint(), device)
        await _alert(v)
        await asyncio.to_thread(service.wait_for)
        session = v.sessions.session(v.web.cookies["watcher"], v.service.clock.at)
        assert session is not None
        v.sessions.shut(session.number)
        service.status = 201
        tried = len(service.got)
        v.service.clock.at += 60
        await v.service.watch.delivery.drain()
        assert len(service.got) == tried
    service.stop()


async def test_without_a_contact_pushes_are_off_and_the_page_says_why(tmp_path: Path) -> None:
    async with visited(tmp_path, contact="") as v:
        v.log_in()
        assert "must set WATCHER_CONTACT" in (await v.web.get("/devices")).text
        answer = await v.web.post("/devices/push", json={"endpoint": "x", "keys": {}})
        assert answer.status_code == 422
        assert "WATCHER_CONTACT" in answer.text


async def test_pushes_are_counted(tmp_path: Path) -> None:
    service = PushService()
    async with visited(tmp_path, push_anywhere=True) as v:
        await _subscribed(v, service.endpoint(), Device())
        await _alert(v)
        await _sent(v)
        headers = {"Authorization": f"Bearer {PROGRAM}"}
        figures = (await v.web.get("/metrics", headers=headers)).text
    service.stop()
    assert 'watcher_messages{channel="device",state="sent"} 1.0' in figures
    assert "watcher_push_devices 1.0" in figures


@pytest.mark.parametrize(
    "endpoint",
    ["http://push.example/1", "https://127.0.0.1/1", "https://localhost/1", "file:///etc/passwd"],
)
async def test_nothing_is_pushed_into_this_network(tmp_path: Path, endpoint: str) -> None:
    async with visited(tmp_path) as v:
        v.log_in()
        content = {"endpoint": endpoint, "keys": {"p256dh": "x", "auth": "y"}}
        answer = await v.web.post("/devices/push", json=content)
        assert answer.status_code == 422
        assert v.sessions.subscriptions() == []


async def test_a_name_that_leads_into_this_network_later_is_not_pushed_to(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    service, device = PushService(), Device()
    leads_to = ["203.0.112.7"]
    plain = socket.getaddrinfo

    def getaddrinfo(host: str, port: int, *a: Any, **named: Any) -> Any:
        if host != "push.example":
            return plain(host, port, *a, **named)
        return [(2, 1, 6, "", (leads_to[0], port))]

    monkeypatch.setattr(socket, "getaddrinfo", getaddrinfo)
    async with visited(tmp_path) as v:
        endpoint = f"https://push.example:{service.server_port}/1"
        await _subscribed(v, endpoint, device)
        leads_to[0] = "127.0.0.1"
        await _alert(v)
        await _until(lambda: _rows(v)[0].last_error is not None)
        assert "open network" in (_rows(v)[0].last_error or "")
    service.stop()
    assert service.got == []


@pytest.mark.parametrize("expected", ["[]", "no JSON", '{"endpoint": 1}', "[" * 20_000])
async def test_what_no_browser_subscribes_with_is_refused(tmp_path: Path, expected: str) -> None:
    async with visited(tmp_path, calm=False) as v:
        v.log_in()
        headers = {"Content-Type": "application/json"}
        answer = await v.web.post("/devices/push", content=expected, headers=headers)
        assert answer.status_code == 422


async def test_a_stranger_subscribes_to_nothing(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        for path in ("", "/state", "/test"):
            assert (await v.web.post(f"/devices/push{path}", json={})).status_code == 401
