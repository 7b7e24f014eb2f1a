"""A station that lies or falls silent while somebody sprays: never good news, and told as blind."""

from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from tests.support.farms import build, watched_tables
from tests.support.receiver import Receiver
from tests.support.running import Running, SetClock, put_forecast, running
from tests.support.skies import MORNING
from watcher.farm import Farm
from watcher.jobs import book
from watcher.judge.status import Status
from watcher.store.database import Log

CALM = {
    "wind": "5 mph",
    "gust": "7 mph",
    "wind_from": "0 deg",
    "temperature": "68 degF",
    "humidity": "55 %",
}
SILENT_AFTER_MIN = 15
LIES = {
    "nothing at all": None,
    "999 mph": {"wind": "999 mph", "gust": "999 mph"},
    "negative": {"wind": "-3 mph", "gust": "-3 mph"},
    "not a number": {"wind": "nan mph", "gust": "nan mph"},
    "no unit": {"wind": 5, "gust": 7},
    "a unit of something else": {"wind": "5 degF", "gust": "7 degF"},
    "a gust far below the mean": {"wind": "9 mph", "gust": "1 mph"},
}


@pytest.fixture
def farm() -> Farm:
    return build(watched_tables())


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Log]:
    log = Log(f"sqlite:///{tmp_path / 'watch.db'}")
    log.upgrade()
    put_forecast(log, MORNING)
    yield log
    log.close()


@pytest.fixture
def receiver() -> Iterator[Receiver]:
    receiver = Receiver()
    yield receiver
    receiver.close()


async def _begin(service: Running, store: Log) -> None:
    """Five calm minutes, then a job."""
    for minute in range(5):
        service.clock.at += 60
        gust = f"{7 + 0.2 * (minute % 3):.1f} mph"  # a sensor that never moves would be stuck
        await service.post(**CALM | {"gust": gust, "wind": f"{5 + 0.1 * minute:.1f} mph"})
    with store.writing() as session:
        book.start(session, service.watch.book.plan, "hill", "coarse", service.clock.at)
    await service.judged()


def _statuses(service: Running) -> set[Status]:
    assert service.watch.picture is not None
    return {f.status for f in service.watch.picture.ranking.every.values()}


@pytest.mark.parametrize("lie", list(LIES), ids=list(LIES))
async def test_a_lie_blinds_the_watch_within_its_bound_and_never_looks_good(
    farm, store, receiver, lie
):
    clock = SetClock(MORNING)
    async with running(farm, store, clock, urls={"grower": receiver.url()}) as service:
        await _begin(service, store)
        assert Status.SUITABLE in _statuses(service)
        told = LIES[lie]
        for _ in range(SILENT_AFTER_MIN + 1):
            clock.at += 60
            if told is not None:
                await service.post(**CALM | told)
            await service.judged()
        assert _statuses(service) <= {Status.UNKNOWN, Status.UNSUITABLE}
        await service.watch.courier.drain()
    titles = [push.title for push in receiver.got]
    assert any(t.startswith("Blind: hill") for t in titles), titles
    assert not any(t.startswith("All clear") for t in titles)


async def test_a_station_whose_clock_runs_a_day_ahead_is_not_believed(farm, store, receiver):
    clock = SetClock(MORNING)
    async with running(farm, store, clock, urls={"grower": receiver.url()}) as service:
        await _begin(service, store)
        for _ in range(SILENT_AFTER_MIN + 1):
            clock.at += 60
            ahead = datetime.fromtimestamp(clock.at + 86400, UTC).isoformat()
            await service.http.post("/stations/mast/readings", json=CALM | {"time": ahead})
            await service.judged()
        assert _statuses(service) <= {Status.UNKNOWN, Status.UNSUITABLE}
        await service.watch.courier.drain()
    assert any(push.title.startswith("Blind: hill") for push in receiver.got)
