"""The real service started beside another copy, on a spoilt log, and with a mistaken farm file.

Every start takes seconds: four of them every day, the rest in the laboratory.
"""

import sqlite3
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import httpx
import pytest

from tests.support import job_steps
from tests.support.logs import Cluster
from tests.support.receiver import Receiver
from tests.support.service_process import Service, write_farm
from watcher.farm.load import load
from watcher.limits.farm_arrays import FarmArrays
from watcher.store.database import Database

pytestmark = pytest.mark.long

TAKEN = {200, 201, 202}
BLIND = "Cannot see: the watch does not judge"
"""What is told without a log that was ever read: who sprays is not known."""


@pytest.fixture
def receiver() -> Iterator[Receiver]:
    receiver = Receiver()
    yield receiver
    receiver.close()


Made = Callable[..., Service]


@pytest.fixture
def made(tmp_path: Path, receiver: Receiver) -> Iterator[Made]:
    """Make a service over the test's folder, on the SQLite file there or another database."""
    write_farm(tmp_path)
    services: list[Service] = []

    def make(database: str | None = None) -> Service:
        services.append(Service(tmp_path, receiver.url().get_secret_value(), database))
        return services[-1]

    yield make
    for service in services:
        service.__exit__()


def start_job(service: Service) -> None:
    log = Database(service.database)
    with log.writing() as session:
        plan = FarmArrays.of(load(service.folder / "farm.toml"))
        job_steps.start(session, plan, "hill", "coarse", int(time.time()))
    log.close()


def until(true: Callable[[], bool], timeout_s: float = 180.0) -> None:
    end = time.monotonic() + timeout_s
    while not true():
        assert time.monotonic() < end, "it did not happen in time"
        time.sleep(0.05)


def titles(receiver: Receiver) -> list[str]:
    return [push.title for push in receiver.got]


def body_of(receiver: Receiver, title: str) -> str:
    """Wait for a message of this title and return its body."""
    until(lambda: title in titles(receiver))
    return next(push.body for push in receiver.got if push.title == title)


def noted(service: Service, words: str) -> None:
    """Wait until something stands in the file beside the log."""
    file = service.folder / "watch.db.known.json"
    until(lambda: file.exists() and words in file.read_text())


@pytest.mark.laboratory
def test_a_second_copy_is_refused_before_it_tells_or_writes_anything(
    empty_url: str, made: Made, receiver: Receiver, tmp_path: Path
) -> None:
    first = made(empty_url)
    first.start()
    start_job(first)
    assert first.post() in TAKEN
    # With a mistake, of which the second copy must not tell, either.
    mistaken = tmp_path / "mistaken.toml"
    mistaken.write_text((tmp_path / "farm.toml").read_text() + "a mistake\n")
    before = len(receiver.got)
    for _ in range(2):
        second = first.command("run", WATCHER_PORT="1", WATCHER_FARM=str(mistaken))
        assert second.returncode == 2
        assert f"process {first.pid} on " in second.stderr
        assert "stop that one first" in second.stderr
    assert len(receiver.got) == before
    assert first.command("now").returncode == 0  # commands go on beside it
    assert first.command("job", "list").returncode == 0
    assert first.post() in TAKEN
    assert first.stop() == 0
    assert "Watch was down" not in " ".join(titles(receiver))
    again = made(empty_url)
    again.start()
    assert again.stop() == 0


def test_a_damaged_log_is_told_and_the_watch_goes_on_with_a_new_one(
    made: Made, receiver: Receiver, tmp_path: Path
) -> None:
    service = made()
    service.start()
    start_job(service)
    assert service.post() in TAKEN
    noted(service, '"hill"')
    assert service.stop() == 0
    (tmp_path / "watch.db").write_bytes(b"This is not a database.\n" * 1000)
    service.start()
    body = body_of(receiver, "The watch's log was damaged")
    assert body.startswith("A job on hill may be running: start it again if you still spray.")
    (aside,) = tmp_path.glob("watch.db.damaged-*")
    assert aside.name in body
    assert aside.read_bytes() == b"This is not a database.\n" * 1000
    assert service.post() in TAKEN
    start_job(service)
    assert service.stop() == 0


@pytest.mark.laboratory
def test_damage_met_while_it_runs_is_told_and_the_same_process_goes_on(
    made: Made, receiver: Receiver, tmp_path: Path
) -> None:
    service = made()
    service.start()
    start_job(service)
    assert service.post() in TAKEN
    noted(service, '"hill"')
    path = tmp_path / "watch.db"
    other = sqlite3.connect(path, timeout=30.0)
    other.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    other.close()
    with path.open("r+b") as spoilt:
        spoilt.seek(4096)
        spoilt.write(b"\xff" * (path.stat().st_size - 4096))

    def takes() -> bool:
        try:
            return service.post() in TAKEN
        except httpx.TransportError:  # it begins anew, and its port with it
            return False

    assert not takes()
    body = body_of(receiver, "The watch's log was damaged")
    assert "A job on hill may be running" in body
    until(takes)
    assert service.stop() == 0
    assert len(list(tmp_path.glob("watch.db.damaged-*Z"))) == 1
    assert "Watch stops: nobody watches" not in titles(receiver)


def mistake(folder: Path) -> None:
    farm = folder / "farm.toml"
    farm.write_text(farm.read_text().replace('boom_width = "90 ft"', "boom_width = 90"))


@pytest.mark.laboratory
def test_a_mistaken_farm_file_is_told_and_the_farm_before_is_used(
    made: Made, receiver: Receiver, tmp_path: Path
) -> None:
    service = made()
    service.start()
    assert service.stop() == 0
    right = (tmp_path / "farm.toml").read_text()
    mistake(tmp_path)
    (tmp_path / "fields.geojson").unlink()  # its text was kept, too
    for _ in range(2):
        service.start()
        body = body_of(receiver, "The farm file has a mistake")
        assert service.post() in TAKEN
        health = httpx.get(f"http://127.0.0.1:{service.port}/health", timeout=30.0)
        assert (health.status_code, health.json()["well"]) == (503, False)
        assert health.json()["farm_mistakes"] == 2
        assert service.stop() == 0
    assert titles(receiver).count("The farm file has a mistake") == 1
    assert "farm.toml: sprayers.boom.boom_width" in body
    assert 'write a number with its unit, such as ft or m; for example "30 ft"' in body
    assert "sprayers.boom.boom_width" in (tmp_path / "output.txt").read_text()
    (tmp_path / "farm.toml").write_text(right)
    write_farm(tmp_path)
    service.start()
    health = httpx.get(f"http://127.0.0.1:{service.port}/health", timeout=30.0)
    assert health.json()["farm_mistakes"] == 0
    assert service.stop() == 0


def test_without_an_earlier_farm_it_does_not_start_and_tells_so_once(
    made: Made, receiver: Receiver, tmp_path: Path
) -> None:
    mistake(tmp_path)
    service = made()
    for _ in range(2):
        done = service.command("run")
        assert done.returncode == 2
        assert "sprayers.boom.boom_width" in done.stderr
    (push,) = receiver.got
    assert push.title == "The watch does not start"
    assert "sprayers.boom.boom_width" in push.body
    assert not (tmp_path / "watch.db").exists()


@pytest.mark.laboratory
def test_a_log_of_a_newer_program_stops_it_and_is_told(
    made: Made, receiver: Receiver, tmp_path: Path
) -> None:
    service = made()
    service.start()
    assert service.stop() == 0
    with sqlite3.connect(tmp_path / "watch.db") as newer:
        newer.execute("UPDATE alembic_version SET version_num = '9999'")
    newer.close()
    assert service.command("run").returncode == 2
    assert "newer version" in body_of(receiver, "The watch does not start")


@pytest.mark.laboratory
def test_a_server_that_is_not_there_yet_is_told_once_and_waited_for(
    own_cluster: Cluster, made: Made, receiver: Receiver
) -> None:
    database = own_cluster.new_database()
    own_cluster.stop()
    service = made(own_cluster.url(database))
    service.start()
    body_of(receiver, BLIND)
    assert service.post() == 503
    own_cluster.start_again()
    body_of(receiver, "Watch sees again")
    assert service.post() in TAKEN
    assert service.stop() == 0
    assert titles(receiver) == [BLIND, "Watch sees again"]


@pytest.mark.laboratory
def test_a_watch_that_waits_for_its_server_can_be_stopped(made: Made, receiver: Receiver) -> None:
    service = made("postgresql://watch@/watch?host=/nowhere")
    service.start()
    body_of(receiver, BLIND)
    assert service.stop() == 0
