"""Floods from outside against the real service: alerts leave and posts are taken all the same."""

import time
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest

from tests.support import job_steps
from tests.support.flooding import pages_in_loops, silent_connections, still_open
from tests.support.receiver import Receiver
from tests.support.service_process import Service, write_farm
from watcher.cli.login import KEYRING
from watcher.farm.load import load
from watcher.limits.farm_arrays import FarmArrays
from watcher.store.database import Database
from watcher.web.auth.sessions import SessionStore
from watcher.web.auth.users import Role, User
from watcher.web.connections import KEPT_DESCRIPTORS

pytestmark = pytest.mark.long

DESCRIPTORS = 512
_WITHIN_S = 60.0
"""An alert takes a second or two here; before there were bounds it took as long as the flood."""


@pytest.fixture
def receiver() -> Iterator[Receiver]:
    receiver = Receiver()
    yield receiver
    receiver.close()


@pytest.fixture
def service(tmp_path: Path, receiver: Receiver) -> Iterator[Service]:
    write_farm(tmp_path)
    url = receiver.url().get_secret_value()
    with Service(tmp_path, url, descriptors=DESCRIPTORS) as service:
        service.start()
        assert service.post() == 200
        yield service


def _alert_arrives(service: Service, receiver: Receiver) -> None:
    """Begin a job, post a gust over its limit, and wait until the phone has been told."""
    log = Database(service.database)
    with log.writing() as session:
        plan = FarmArrays.of(load(service.folder / "farm.toml"))
        job_steps.start(session, plan, "hill", "coarse", int(time.time()))
    log.close()
    assert service.post(gust="19 mph") == 200
    until = time.monotonic() + _WITHIN_S
    while not any("gust" in (push.title + push.body).lower() for push in receiver.got):
        assert time.monotonic() < until, "no alert arrived"
        time.sleep(0.05)


def _descriptors(service: Service) -> int:
    return sum(1 for _ in Path(f"/proc/{service.pid}/fd").iterdir())


def _logged(service: Service) -> int:
    return (service.folder / "output.txt").stat().st_size


def test_two_thousand_silent_connections_keep_nothing_waiting(
    service: Service, receiver: Receiver
) -> None:
    before = _logged(service)
    with silent_connections(service.port, 2000) as connections:
        _alert_arrives(service, receiver)
        assert _descriptors(service) < DESCRIPTORS - KEPT_DESCRIPTORS / 2
        # The others were closed, or wait at the port to be.
        assert still_open(connections) < len(connections) / 2
        health = httpx.get(f"http://127.0.0.1:{service.port}/health", timeout=30)
        assert health.status_code in {200, 503}
        assert "well" in health.json()
    assert _logged(service) - before < 10_000
    assert service.stop() == 0


def test_fifty_clients_that_fetch_pages_in_loops_keep_nothing_waiting(
    service: Service, receiver: Receiver
) -> None:
    before = _logged(service)
    sessions = SessionStore(service.folder / KEYRING)
    cookie = sessions.open(User("grower", Role.RUN), int(time.time()), by_link=True)
    sessions.close()
    with pages_in_loops(service.port, cookie, clients=50, seconds=_WITHIN_S) as asking:
        _alert_arrives(service, receiver)
        assert asking.poll() is None, "the flood was over before the alert"
    assert _logged(service) - before < 10_000
    assert service.stop() == 0
