"""The sign of life: sent while all is well, withheld when it is not, never in the way."""

import asyncio
import contextlib
import threading
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

import httpx
import pytest
from pydantic import SecretStr
from structlog.testing import capture_logs

from watcher.delivery.heartbeat import Heartbeat


class Listener:
    def __init__(self) -> None:
        self.heard = 0
        self.status = 200
        listener = self

        class Handler(BaseHTTPRequestHandler):
            def do_GET(self) -> None:
                listener.heard += 1
                self.send_response(listener.status)
                self.end_headers()

            def log_message(self, *_: object) -> None:
                pass

        self.server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.url = SecretStr(f"http://127.0.0.1:{self.server.server_port}/hidden-word")
        threading.Thread(target=self.server.serve_forever, daemon=True).start()


@pytest.fixture
def listener() -> Iterator[Listener]:
    listener = Listener()
    yield listener
    listener.server.shutdown()
    listener.server.server_close()


async def _run_for(heartbeat: Heartbeat, seconds: float, well: bool) -> None:
    task = asyncio.create_task(heartbeat.run(lambda: well))
    await asyncio.sleep(seconds)
    task.cancel()
    with contextlib.suppress(asyncio.CancelledError):
        await task


async def test_it_beats_again_and_again_while_the_watch_is_well(listener):
    await _run_for(Heartbeat(listener.url, every_s=0.05), 0.5, well=True)
    assert listener.heard >= 3


async def test_it_is_withheld_while_the_watch_is_not_well(listener):
    await _run_for(Heartbeat(listener.url, every_s=0.05), 0.3, well=False)
    assert listener.heard == 0


@pytest.mark.parametrize("status", [404, 500])
async def test_an_answer_that_is_an_error_is_told_once_without_the_url(listener, capsys, status):
    listener.status = status
    heartbeat = Heartbeat(listener.url)
    async with httpx.AsyncClient() as client:
        assert not await heartbeat.beat(client)
        assert not await heartbeat.beat(client)
    said = capsys.readouterr().out
    assert said.count("not heard") == 1
    assert "hidden-word" not in said


async def test_nobody_listening_is_no_crash(capsys):
    heartbeat = Heartbeat(SecretStr("http://127.0.0.1:1/hidden-word"))
    async with httpx.AsyncClient() as client:
        assert not await heartbeat.beat(client)
    assert "hidden-word" not in capsys.readouterr().out


async def test_its_log_says_once_that_it_is_not_heard_and_once_that_it_is_again(listener):
    heartbeat, answers = Heartbeat(listener.url), (200, 503, 503, 200, 200)
    with capture_logs() as logs:
        async with httpx.AsyncClient() as client:
            for listener.status in answers:
                await heartbeat.beat(client)
    said = [line["event"] for line in logs]
    assert said == ["the heartbeat is not heard", "the heartbeat is heard again"]
