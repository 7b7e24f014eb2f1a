"""The real service at the limits of its machine: descriptors, memory, disk, dying children."""

import contextlib
import os
import resource
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import httpx
import pytest

from tests.faults.invariants import Verdict
from tests.support.laboratory import Finding, Tally
from tests.support.lies import FEED, LyingFeed, Say, body, zipped
from tests.support.real_story import RealStory, children, resident_mib
from tests.support.receiver import Receiver, status
from tests.support.service_process import TOKEN, Service, write_farm

pytestmark = pytest.mark.long

MIB = 2**20
_FEED = '\n[sources.feed]\nkind = "met_norway"\nbase_url = "{url}"\n'
# Connects so many times to a port, says nothing, and holds on until its input ends.
_SILENT = """
import resource, socket, sys
resource.setrlimit(resource.RLIMIT_NOFILE, (4096, 4096))
held = []
for _ in range(int(sys.argv[2])):
    try:
        held.append(socket.create_connection(("127.0.0.1", int(sys.argv[1])), timeout=1.0))
    except OSError:
        pass
print(len(held), flush=True)
sys.stdin.read()
"""


@pytest.fixture
def receiver() -> Iterator[Receiver]:
    receiver = Receiver()
    yield receiver
    receiver.close()


@contextlib.contextmanager
def lived(service: Service, receiver: Receiver) -> Iterator[RealStory]:
    """A service that runs, with calm weather and a job under way."""
    with service:
        service.start()
        story = RealStory(service, receiver)
        story.post()
        story.spray()
        yield story


def rises(story: RealStory) -> None:
    """The wind rises, and whoever sprays is told to stop."""
    story.post(8.0, 19.0)
    story.until(lambda: story.got("Stop "), "a stop")


def count(tally: Tally, kind: str, name: str, verdict: Verdict) -> None:
    tally.add(kind, [Finding(name, verdict, 1)])


def url_of(receiver: Receiver) -> str:
    return receiver.url().get_secret_value()


@contextlib.contextmanager
def silent_connections(port: int, count: int) -> Iterator[int]:
    """So many connections that say nothing, from a process of their own."""
    command = [sys.executable, "-c", _SILENT, str(port), str(count)]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as process:
        assert process.stdout is not None
        assert process.stdin is not None
        yield int(process.stdout.readline())
        process.stdin.close()


@pytest.mark.laboratory
def test_thousands_of_silent_connections_and_few_descriptors(
    tmp_path: Path, receiver: Receiver, tally: Tally
):
    write_farm(tmp_path)
    limits = {resource.RLIMIT_NOFILE: 256}
    with lived(Service(tmp_path, url_of(receiver), limits=limits), receiver) as story:
        written = (tmp_path / "output.txt").stat().st_size
        with silent_connections(story.service.port, 2000):
            rises(story)
        grown = (tmp_path / "output.txt").stat().st_size - written
    assert grown < 5 * MIB, f"its own log grew by {grown / MIB:.0f} MiB"
    count(tally, "few descriptors", "2,000 silent connections", story.verdict())


def _repeated_keys(size: int) -> bytes:
    key = b'"a": 1, '
    return b'{"properties": {' + key * (size // len(key)) + b'"a": 1}}'


def _trickled(request: object) -> None:
    """A byte now and then, for ever."""
    body(b"", Content_Length="1000000")(request)
    with contextlib.suppress(OSError):
        while True:
            request.wfile.write(b" ")
            time.sleep(0.5)


BODIES: dict[str, Callable[[], Say]] = {
    "repeated keys": lambda: body(_repeated_keys(5_900_000)),
    "a bomb in a bomb": lambda: zipped(b"0" * 2**31, times=2),
    "nested without end": lambda: FEED["nested without end"],
    "a number of millions of digits": lambda: body(b'{"properties": ' + b"9" * 7_000_000 + b"}"),
    "a trickle": lambda: _trickled,
}


@pytest.mark.laboratory
@pytest.mark.parametrize("kind", list(BODIES))
def test_a_hostile_answer_of_a_feed_stops_nothing_and_takes_no_memory(
    kind: str, tmp_path: Path, receiver: Receiver, tally: Tally
):
    with LyingFeed(BODIES[kind]()) as feed:
        write_farm(tmp_path, _FEED.format(url=feed.url))
        with lived(Service(tmp_path, url_of(receiver)), receiver) as story:
            story.until(lambda: feed.asked > 0, "the feed was asked")
            rises(story)
            story.until(lambda: _listens(story), "it answers")
            most = resident_mib(story.service.pid)
    assert most < 1024, f"{most:.0f} MiB"
    count(tally, "hostile bodies", kind, story.verdict())


def _listens(story: RealStory) -> bool:
    with contextlib.suppress(httpx.TransportError):
        httpx.get(f"http://127.0.0.1:{story.service.port}/health", timeout=5.0)
        return True
    return False


@pytest.mark.laboratory
def test_a_hostile_post_of_a_station_keeps_nobody_waiting(
    tmp_path: Path, receiver: Receiver, tally: Tally
):
    write_farm(tmp_path)
    with lived(Service(tmp_path, url_of(receiver)), receiver) as story:
        poster = threading.Thread(target=_post_body, args=(story, _repeated_keys(209_000)))
        poster.start()
        rises(story)
        poster.join()
    count(tally, "hostile bodies", "a post with repeated keys", story.verdict())


def _post_body(story: RealStory, content: bytes) -> None:
    with contextlib.suppress(httpx.TransportError):
        httpx.post(
            f"http://127.0.0.1:{story.service.port}/api/v1/stations/mast/readings",
            content=content,
            headers={"Authorization": f"Bearer {TOKEN}", "Content-Type": "application/json"},
            timeout=60.0,
        )


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A file system of a few megabytes."""
    folder = tmp_path / "disk"
    folder.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=4m", "tmpfs", str(folder)]
    if os.geteuid() != 0 or subprocess.run(mount, check=False, capture_output=True).returncode:
        pytest.skip("no file system can be mounted here: that takes root")
    yield folder
    subprocess.run(["umount", "--lazy", str(folder)], check=True)


@pytest.mark.laboratory
@pytest.mark.parametrize("failures", [0, 1, 3], ids=["", "one push fails", "three pushes fail"])
def test_a_full_disk_is_told_past_the_log_and_the_stop_when_there_is_room(
    failures: int, small_disk: Path, tmp_path: Path, receiver: Receiver, tally: Tally
):
    write_farm(tmp_path)
    service = Service(tmp_path, url_of(receiver), state=small_disk)
    with lived(service, receiver) as story:
        with story.broken("log"):
            _fill(small_disk / "filler")
            receiver.answers = [status(500)] * failures
            _post_in_vain(story)
            found = "Check: the watch cannot write its log"
            story.until(lambda: story.got(found), "that it writes no log")
        (small_disk / "filler").unlink()
        rises(story)
    count(tally, "disk full", f"{failures} pushes fail", story.verdict())


def _fill(file: Path) -> None:
    with file.open("wb", buffering=0) as filler, contextlib.suppress(OSError):
        for size in (65_536, 4096):
            with contextlib.suppress(OSError):
                while True:
                    filler.write(b"\0" * size)


def _post_in_vain(story: RealStory) -> None:
    """Post until a reading is refused: what room there is inside the log's pages is used up."""
    for _ in range(400):
        if story.service.post(gust="7.5 mph") == 503:
            return
    pytest.fail("the log took everything on a full disk")


@pytest.mark.laboratory
def test_every_child_the_service_has_is_killed_again_and_again(
    tmp_path: Path, receiver: Receiver, tally: Tally
):
    with LyingFeed(body(b'{"properties": ' + b"[1]," * 100 + b"}")) as feed:
        write_farm(tmp_path, _FEED.format(url=feed.url))
        with lived(Service(tmp_path, url_of(receiver)), receiver) as story:
            over = threading.Event()
            killer = threading.Thread(target=_kill_children, args=(story.service.pid, over))
            killer.start()
            try:
                rises(story)
                story.until(lambda: _listens(story), "it answers")
            finally:
                over.set()
                killer.join()
    count(tally, "children killed", "every 20 ms", story.verdict())


def _kill_children(pid: int, over: threading.Event) -> None:
    while not over.wait(0.02):
        for child in children(pid):
            with contextlib.suppress(ProcessLookupError):
                os.kill(child, signal.SIGKILL)


def test_a_hundred_silent_connections_delay_no_stop(
    tmp_path: Path, receiver: Receiver, tally: Tally
):
    """The everyday share of the limits: a hundred connections, held by this process."""
    write_farm(tmp_path)
    service = Service(tmp_path, url_of(receiver))
    with contextlib.ExitStack() as held, lived(service, receiver) as story:
        for _ in range(100):
            address = ("127.0.0.1", service.port)
            held.enter_context(socket.create_connection(address, timeout=10.0))
        rises(story)
    count(tally, "few descriptors", "100 silent connections", story.verdict())
