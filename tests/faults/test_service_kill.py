"""The real service, killed in the middle of its work and started again."""

import random
import re
import time
from collections import Counter
from pathlib import Path

import pytest
from sqlalchemy import select

from tests.support.receiver import Receiver
from tests.support.service_process import Service, write_farm
from watcher.farm.load import load
from watcher.jobs import book
from watcher.judge.plan import Plan
from watcher.store import jobs
from watcher.store.database import Log
from watcher.store.tables import Message


@pytest.fixture
def receiver():
    receiver = Receiver()
    yield receiver
    receiver.close()


@pytest.fixture
def service(tmp_path: Path, receiver):
    write_farm(tmp_path)
    with Service(tmp_path, receiver.url().get_secret_value()) as service:
        yield service


def begin_job(service: Service, plan: Plan) -> int:
    """End the job there is and begin another, as the command line does beside the service."""
    log = Log(service.database)
    with log.writing() as session:
        now = int(time.time())
        for job in jobs.open_jobs(session):
            jobs.finish(session, job.id, now)
        number = book.start(session, plan, "hill", "coarse", now).id
    log.close()
    return number


def messages(service: Service) -> list[Message]:
    log = Log(service.database)
    with log.reading() as session:
        found = list(session.scalars(select(Message).order_by(Message.id)))
    log.close()
    return found


def wait_for(true, timeout_s: float = 90.0) -> None:
    until = time.monotonic() + timeout_s
    while not true():
        assert time.monotonic() < until, "it did not happen in time"
        time.sleep(0.05)


def told_to_stop(service: Service, job: int) -> bool:
    return any(
        m.about == f"job:{job}" and m.kind == "limit broken" and m.state == "sent"
        for m in messages(service)
    )


def test_every_job_in_a_storm_is_told_to_stop_however_the_service_is_killed(
    tmp_path: Path, receiver, service
):
    plan = Plan.of(load(tmp_path / "farm.toml"))
    chances, kills = random.Random(5), 0
    service.start()
    for _ in range(4):
        job = begin_job(service, plan)
        assert service.post(gust="19 mph") in {200, 201, 202}
        time.sleep(chances.uniform(0.0, 0.4))
        service.kill()
        kills += 1
        service.start()
        wait_for(lambda number=job: told_to_stop(service, number))
    assert service.stop() == 0
    sent = messages(service)
    assert {m.state for m in sent} == {"sent"}
    came = Counter(ref for p in receiver.got for ref in re.findall(r"\[([A-Z2-7]{5})\]", p.body))
    assert {m.short_id for m in sent} == set(came)
    assert sum(n - 1 for n in came.values()) <= kills
    down = [m for m in sent if m.kind == "watch was down"]
    assert len(down) == 1  # with somebody spraying at once, and not again within ten minutes
    assert [m.title for m in sent if m.kind == "watch stops"] == ["Watch stops: hill"]
    stops = Counter(m.about for m in sent if m.kind == "limit broken")
    assert len(stops) == 4


def test_secrets_are_in_no_line_the_service_writes(tmp_path: Path, service):
    service.start()
    assert service.post() in {200, 201, 202}
    assert service.stop() == 0
    written = (tmp_path / "output.txt").read_text()
    assert "hidden-word" not in written
    assert "a-token-long-enough" not in written
