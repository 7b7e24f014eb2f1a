"""A changed farm is used without a restart, a bad one refused aloud; jobs keep their rules."""

from collections.abc import AsyncIterator
from pathlib import Path

import pytest

from tests.support import job_steps
from tests.support.farm_files import written
from tests.support.running import Running, SetClock, put_forecast, running
from watcher.farm.editing.edits import Edit, Remove, RemoveBoundary, SetValue
from watcher.farm.load import load
from watcher.limits.status import Status
from watcher.sources.base import Polled
from watcher.store import outbox
from watcher.store.database import Database

NOON = 1_781_107_200
CALM = {
    "wind": "8 mph",
    "gust": "9 mph",
    "wind_from": "0 deg",
    "temperature": "68 degF",
    "humidity": "55 %",
}
STRICTER = SetValue(("fields", "hill", "limits", "wind", "high"), "7 mph")


@pytest.fixture
def file(tmp_path: Path) -> Path:
    return written(tmp_path)


@pytest.fixture
async def service(file: Path, log: Database) -> AsyncIterator[Running]:
    put_forecast(log, NOON)
    async with running(load(file), log, SetClock(NOON), farm_file=file) as service:
        await service.post(**CALM)
        await service.judged()
        yield service


async def save(service: Running, *edits: Edit, label_changed: bool = False) -> None:
    in_use = service.watch.farm_in_use
    assert in_use is not None
    proposal = in_use.editor.propose(service.watch.transactions.plan.farm, edits)
    await in_use.save(proposal, by="driver", label_changed=label_changed)


def by_hand(file: Path, old: str, new: str) -> str:
    """Change a text in the file as an editor would; returns what it said before."""
    before = file.read_text()
    file.write_text(before.replace(old, new))
    return before


async def look(service: Running) -> None:
    assert service.watch.farm_in_use is not None
    await service.watch.farm_in_use.look()


def status(service: Running, field: str) -> Status:
    assert service.watch.snapshot is not None
    return service.watch.snapshot.ranking.every[field].status


async def test_an_edit_is_judged_when_its_saving_returns(service: Running) -> None:
    assert status(service, "hill") > Status.UNSUITABLE
    await save(service, STRICTER)
    assert status(service, "hill") is Status.UNSUITABLE
    assert status(service, "creek_side") > Status.UNSUITABLE
    await save(service, Remove(("fields", "hill", "limits")))
    assert status(service, "hill") > Status.UNSUITABLE


async def test_a_field_may_go(service: Running) -> None:
    await save(service, Remove(("fields", "hill")), RemoveBoundary("hill"))
    assert service.watch.snapshot is not None
    assert set(service.watch.snapshot.ranking.every) == {"creek_side"}


async def test_a_running_job_keeps_the_rules_it_started_with(service: Running) -> None:
    watch = service.watch
    with watch.transactions.store.writing() as session:
        job = job_steps.start(session, watch.transactions.plan, "hill", "coarse", NOON).id
    await save(
        service, STRICTER, SetValue(("fields", "creek_side", "limits", "wind", "high"), "7 mph")
    )
    assert service.watch.farm_in_use is not None
    assert status(service, "hill") > Status.UNSUITABLE
    assert status(service, "creek_side") is Status.UNSUITABLE
    assert service.watch.farm_in_use.waits
    await look(service)
    assert status(service, "hill") > Status.UNSUITABLE
    with watch.transactions.store.writing() as session:
        job_steps.abandon(session, job, NOON)
    await look(service)
    assert status(service, "hill") is Status.UNSUITABLE
    assert not service.watch.farm_in_use.waits


async def test_a_file_changed_by_hand_is_used(service: Running, file: Path) -> None:
    by_hand(file, 'crop = "soybeans"', 'crop = "oats"')
    await look(service)
    await look(service)
    assert service.watch.transactions.plan.farm.config.fields["hill"].crop == "oats"
    version = service.watch.farm_in_use and service.watch.farm_in_use.editor.versions.newest()
    assert version
    assert version.by == ""


async def test_a_bad_file_is_refused_aloud_and_the_farm_before_stays(
    service: Running, file: Path
) -> None:
    by_hand(file, 'weeds = "clean"', 'weeds = "claen"')
    await look(service)
    await look(service)
    assert service.watch.transactions.plan.farm.config.fields["hill"].weeds.value == "clean"
    health = service.watch.health_now()
    assert 'fields.hill.weeds = "claen"' in health.farm_mistakes[0]
    assert not health.well
    with service.watch.transactions.store.reading() as session:
        heard = [m for m in outbox.newest(session, 10) if m.kind == "farm file mistaken"]
    assert {m.recipient for m in heard} == {"grower", "operator"}
    by_hand(file, 'weeds = "claen"', 'weeds = "clean"')
    await look(service)
    await look(service)
    assert service.watch.health_now().farm_mistakes == ()


class Asked:
    """A feed that counts how often it is asked."""

    every_s = 600.0

    def __init__(self) -> None:
        self.asked = 0

    async def poll(self, now: int) -> Polled:
        self.asked += 1
        return Polled()


async def test_other_sources_are_asked_and_unchanged_ones_left(service: Running) -> None:
    old, new = Asked(), Asked()
    service.watch.sources = {"feed": old}
    service.watch.use_sources({"feed": new, "more": new}, {}, {"more"})
    assert service.watch.sources == {"feed": old, "more": new}
    scheduled = service.watch._scheduled
    assert scheduled is not None
    assert scheduled.get_job("more") is not None
    service.watch.use_sources({"feed": new}, {}, {"more"})
    assert scheduled.get_job("more") is None
    await service.watch._ask_in_turn("more")  # it may be due just then
