"""The real service, killed in the middle of its work and started again."""

import random
import time
from pathlib import Path

import pytest
from sqlalchemy import select

from tests.support.killing import arrivals
from tests.support.laboratory import Finding
from tests.support.real_story import RealStory
from tests.support.receiver import Receiver
from tests.support.service_process import Service, write_farm
from watcher.store.database import Database
from watcher.store.tables import Outgoing

pytestmark = pytest.mark.long


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


def messages(service: Service) -> list[Outgoing]:
    log = Database(service.database)
    with log.reading() as session:
        found = list(session.scalars(select(Outgoing).order_by(Outgoing.id)))
    log.close()
    return found


def test_every_job_in_a_storm_is_told_to_stop_however_the_service_is_killed(
    receiver, service, tally
):
    chances = random.Random(5)
    service.start()
    story = RealStory(service, receiver)
    for _ in range(3):
        began = story.now()
        story.spray()
        story.post(8.0, 19.0)
        time.sleep(chances.uniform(0.0, 0.4))
        story.kill()
        story.until(lambda since=began: story.got("Stop ", since), "a stop")
    assert service.stop() == 0
    sent = messages(service)
    assert {m.state for m in sent} == {"sent"}
    assert {m.short_id for m in sent} == {ref for _, ref in arrivals(receiver)}
    assert [m.title for m in sent if m.kind == "watch stops"] == ["Watch stops: hill"]
    assert len({m.about for m in sent if m.kind == "stop"}) == 3
    tally.add("service killed", [Finding("three kills", story.verdict(), 3)])


def test_secrets_are_in_no_line_the_service_writes(tmp_path: Path, service):
    service.start()
    assert service.post() in {200, 201, 202}
    assert service.stop() == 0
    written = (tmp_path / "output.txt").read_text()
    assert "hidden-word" not in written
    assert "a-token-long-enough" not in written
