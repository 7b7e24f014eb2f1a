"""``watcher run`` without a farm file: one link, screens, then the watch in the same process."""

import os
import re
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from html import unescape
from pathlib import Path

import httpx
import pytest

from tests.support.first_visit import CORNERS, PLACE, SPRAYER, TOKEN
from watcher.farm.load import load

pytestmark = pytest.mark.long

_SENT = {"windspeedmph": 4.3, "windgustmph": 6.9, "winddir": 200, "tempf": 68.4, "humidity": 55}
_TYPED = {
    "place": PLACE,
    "field": {"name": "Hill", "corners": CORNERS},
    "crop": {"crop": "soybeans", "weeds": "clean", "target": "mixed"},
    "sprayer": SPRAYER,
    "label": {"wind:low": "3 mph", "wind:high": "10 mph", "wind:origin": "label"},
}


@pytest.fixture
def run(tmp_path: Path) -> Iterator[tuple[subprocess.Popen[str], str, Path]]:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    output, state = tmp_path / "output.txt", tmp_path / "state"
    with output.open("w") as out:
        process = subprocess.Popen(
            [sys.executable, "-m", "watcher", "run"],
            env={k: v for k, v in os.environ.items() if not k.startswith("WATCHER_")}
            | {
                "WATCHER_FARM": str(tmp_path / "config" / "farm.toml"),
                "WATCHER_STATE_DIR": str(state),
                "WATCHER_CONTACT": "grower@farm.example",
                "WATCHER_PORT": str(port),
            },
            stdout=out,
            stderr=subprocess.STDOUT,
            text=True,
        )
    yield process, f"http://127.0.0.1:{port}", tmp_path
    process.terminate()
    process.wait(30)


def _until(seconds: float, look: Callable[[], object]) -> object:
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        try:
            if found := look():
                return found
        except httpx.HTTPError:
            pass
        time.sleep(0.1)
    raise AssertionError("it did not come to that in time")


def test_from_no_file_to_the_ranking(
    run: tuple[subprocess.Popen[str], str, Path],
) -> None:
    process, url, folder = run
    printed = folder / "output.txt"
    found = _until(60, lambda: re.search(r"http://\S+/login/\S+", printed.read_text()))
    assert isinstance(found, re.Match)
    with httpx.Client(base_url=url, timeout=30) as web:

        def send(page: str, to: str, **typed: str) -> httpx.Response:
            token = TOKEN.search(web.get(page).text)
            assert token, page
            return web.post(to, data={"form_token": unescape(token[1])} | typed)

        link = found[0].removeprefix(url)
        _until(30, lambda: web.get(link).status_code == 200)
        assert send(link, link).status_code == 303
        assert web.get("/health").status_code == 503
        for screen, typed in _TYPED.items():
            answer = send(f"/first/{screen}", f"/first/{screen}", **typed)
            assert answer.status_code == 303, (screen, answer.text)
        # A station and no feed, so that nothing beyond this machine is asked.
        shown = unescape(web.get("/first/station").text)
        token = {"Authorization": "Bearer " + shown.split("Bearer ")[1].split("<")[0]}
        line = "/" + shown.split("POST ")[1].split("<")[0].removeprefix(url).lstrip("/")
        assert web.post(line, json=_SENT, headers=token).status_code == 202
        looked = unescape(send("/first/station", "/first/station").text)
        digest = looked.split('name="looked" value="')[1].split('"')[0]
        sent = unescape(looked.split('name="sent"')[1].split(">", 1)[1].split("</textarea>")[0])
        typed = {"looked": digest, "sent": sent, "height": "10 ft"}
        assert send("/first/station", "/first/station", **typed).status_code == 303
        assert "starts" in send("/first", "/first/start").text
        assert load(folder / "config" / "farm.toml").config.fields["hill"].crop == "soybeans"
        # The same device is let in to the watch, which says that it knows no weather.
        _until(60, lambda: "/fields/hill" in web.get("/").text)
        assert "/fields/hill/change" in web.get("/fields/hill").text
        # The token that was shown is the one it posts with from now on; any other is refused.
        assert web.post(line, json=_SENT, headers=token).status_code == 200
        assert web.post(line, json=_SENT, headers={"Authorization": "Bearer x"}).status_code == 401
        assert process.poll() is None
    assert list((folder / "state" / "farm-versions").glob("*.json"))


def test_a_stop_during_the_first_visit_is_no_mistake(
    run: tuple[subprocess.Popen[str], str, Path],
) -> None:
    process, url, folder = run
    printed = folder / "output.txt"
    found = _until(60, lambda: re.search(r"http://\S+/login/\S+", printed.read_text()))
    assert isinstance(found, re.Match)
    _until(30, lambda: httpx.get(url + "/first", timeout=5).status_code == 401)
    process.terminate()
    assert process.wait(30) == 0
