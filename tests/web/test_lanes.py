"""Requests take turns: few at once, a bounded queue, and nobody behind another one's flood."""

import asyncio
from collections.abc import AsyncIterator

import httpx
import pytest
from starlette.requests import ClientDisconnect, Request
from starlette.responses import PlainTextResponse
from starlette.types import Receive, Scope, Send

from watcher.web.lanes import MOST_FORM_BYTES, FullError, Lane, Lanes


async def _line_up(lane: Lane, who: str, done: list[str], go: asyncio.Event) -> None:
    async with lane.turn(who):
        await go.wait()
        done.append(who)


async def _settle() -> None:
    for _ in range(20):
        await asyncio.sleep(0)


async def test_a_lane_lets_so_many_in_at_once() -> None:
    lane, inside, most = Lane(at_once=2, waiting=50, of_one=50), 0, 0

    async def enter() -> None:
        nonlocal inside, most
        async with lane.turn("a"):
            inside += 1
            most = max(most, inside)
            await asyncio.sleep(0)
            inside -= 1

    await asyncio.gather(*(enter() for _ in range(20)))
    assert (most, inside) == (2, 0)


async def test_senders_take_turns_however_much_one_asks() -> None:
    lane, done, go = Lane(at_once=1, waiting=50, of_one=50), [], asyncio.Event()
    tasks = [asyncio.create_task(_line_up(lane, "flood", done, go)) for _ in range(20)]
    await _settle()
    tasks.append(asyncio.create_task(_line_up(lane, "phone", done, go)))
    await _settle()
    go.set()
    await asyncio.gather(*tasks)
    assert done.index("phone") <= 2
    assert len(done) == 21


async def test_a_full_queue_refuses_at_once() -> None:
    lane, done, go = Lane(at_once=1, waiting=3, of_one=2), [], asyncio.Event()
    tasks = [asyncio.create_task(_line_up(lane, "a", done, go)) for _ in range(3)]
    await _settle()
    with pytest.raises(FullError):
        await _line_up(lane, "a", done, go)  # one sender's share
    tasks.append(asyncio.create_task(_line_up(lane, "b", done, go)))
    await _settle()
    with pytest.raises(FullError):
        await _line_up(lane, "c", done, go)  # everybody's
    go.set()
    await asyncio.gather(*tasks)
    assert len(done) == 4


async def test_who_gives_up_while_waiting_leaves_the_lane_in_order() -> None:
    lane, done, go = Lane(at_once=1, waiting=50, of_one=50), [], asyncio.Event()
    tasks = [asyncio.create_task(_line_up(lane, str(n), done, go)) for n in range(6)]
    await _settle()
    for task in tasks[1:4]:
        task.cancel()
    await _settle()
    go.set()
    await asyncio.gather(*tasks, return_exceptions=True)
    assert done == ["0", "4", "5"]
    await asyncio.wait_for(_line_up(lane, "later", done, go), 5)


class _Held:
    """An application that answers when it is told to, and counts what it was asked."""

    def __init__(self) -> None:
        self.go = asyncio.Event()
        self.asked: list[tuple[str, bytes]] = []

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        body = await Request(scope, receive).body()
        self.asked.append((scope["path"], body))
        if scope["path"] in {"/", "/login"}:
            await self.go.wait()
        await PlainTextResponse("answered")(scope, receive, send)


def _client(lanes: Lanes, address: str = "203.0.113.1") -> httpx.AsyncClient:
    transport = httpx.ASGITransport(lanes, client=(address, 1))
    return httpx.AsyncClient(transport=transport, base_url="http://farm.example")


async def test_a_flood_of_pages_is_refused_and_keeps_nothing_else_waiting() -> None:
    app = _Held()
    lanes = Lanes(app, held_s=0.0)
    async with _client(lanes) as web:
        flood = [asyncio.create_task(web.get("/")) for _ in range(300)]
        async with asyncio.timeout(20):
            while sum(task.done() for task in flood) < 200:  # noqa: ASYNC110
                await asyncio.sleep(0.01)
            assert len([path for path, _ in app.asked if path == "/"]) == lanes.pages.at_once
            for path in (
                "/stations/mast/readings",
                "/api/v1/stations/mast/readings",
                "/seen/x",
                "/jobs/1/seen",
                "/api/v1/jobs/1/pause",
            ):
                assert (await web.post(path, content=b"a=b")).status_code == 200
            assert (await web.get("/health")).status_code == 200
        app.go.set()
        answers = await asyncio.gather(*flood)
    refused = [answer for answer in answers if answer.status_code == 503]
    assert 200 <= len(refused) < 300
    assert {answer.headers["retry-after"] for answer in refused} == {"2"}
    assert {a.status_code for a in answers} == {200, 503}


async def test_a_flood_of_log_ins_keeps_no_page_waiting() -> None:
    app = _Held()
    async with _client(Lanes(app, held_s=0.0)) as web:
        flood = [asyncio.create_task(web.post("/login", content=b"a=b")) for _ in range(50)]
        await asyncio.sleep(0.05)
        async with asyncio.timeout(20):
            assert (await web.get("/hours")).status_code == 200
        assert len([path for path, _ in app.asked if path == "/login"]) == 1
        app.go.set()
        assert {a.status_code for a in await asyncio.gather(*flood)} == {200, 503}


async def test_a_body_is_handed_on_whole() -> None:
    async def parts() -> AsyncIterator[bytes]:
        yield b"field=hill"
        yield b"&setup=coarse"

    app = _Held()
    async with _client(Lanes(app)) as web:
        await web.post("/jobs", content=parts())
    assert app.asked == [("/jobs", b"field=hill&setup=coarse")]


async def test_a_form_that_is_too_large_is_refused_before_its_turn() -> None:
    app = _Held()
    async with _client(Lanes(app)) as web:
        answer = await web.post("/jobs", content=b"x" * (MOST_FORM_BYTES + 1))
    assert answer.status_code == 413
    assert app.asked == []


async def test_a_body_cut_off_in_the_middle_is_not_taken_for_a_whole_one() -> None:
    app = _Held()
    found = iter(
        [
            {"type": "http.request", "body": b"note=do not sp", "more_body": True},
            {"type": "http.disconnect"},
        ]
    )

    async def receive() -> dict[str, object]:
        return next(found)

    async def send(_message: object) -> None:
        raise AssertionError("there is nobody to answer")

    scope = {"type": "http", "method": "POST", "path": "/jobs", "headers": [], "client": None}
    with pytest.raises(ClientDisconnect):
        await Lanes(app)(scope, receive, send)  # type: ignore[arg-type]
    assert app.asked == []
