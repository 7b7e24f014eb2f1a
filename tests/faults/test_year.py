"""A long time simulated in one run: briefs on every day, nothing said without its cause."""

from collections import defaultdict
from collections.abc import Iterator
from datetime import UTC, datetime, time, timedelta
from pathlib import Path

import pytest
from sqlalchemy import select

from tests.support import job_steps
from tests.support.farms import build, tables
from tests.support.new_log import new_log
from tests.support.year import STEP_S, cycles, weather
from watcher.alerts import cycle
from watcher.alerts.enqueue import Enqueue
from watcher.farm import Farm
from watcher.limits.farm_arrays import FarmArrays
from watcher.limits.status import LimitState
from watcher.messages.reasons import Speaker
from watcher.store import jobs, outbox
from watcher.store.database import Database
from watcher.store.tables import Condition, Outgoing

pytestmark = pytest.mark.long

# Zones with clock changes of an hour and of half an hour, and one half an hour off the full hour.
ZONES = ("America/Chicago", "Australia/Lord_Howe", "Australia/Adelaide")
AGAIN_S = 1800


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Database]:
    log = new_log(tmp_path / "watch.db")
    yield log
    log.close()


def farm_in(zone: str) -> Farm:
    config = tables()
    config["farm"]["time_zone"] = zone
    config["brief"] = {"morning": time(2, 30), "evening": time(19)}
    return build(config)


class Run:
    """Lives through the days; a job runs from ten to noon of every second day."""

    def __init__(self, store: Database, zone: str) -> None:
        self.store, self.farm = store, farm_in(zone)
        self.plan, self.post = FarmArrays.of(self.farm), Enqueue(Speaker(self.farm))
        self.sprayed: list[tuple[int, int]] = []
        self.broken: dict[int, set[str]] = defaultdict(set)
        self.unseen: dict[int, set[str]] = defaultdict(set)

    def live(self, start: int, days: int, seed: int) -> None:
        for judgement, look, ranking in cycles(self.plan, weather(start, days, seed), days):
            local = datetime.fromtimestamp(look.now, self.farm.zone)
            with self.store.writing() as session:
                self._work(session, local, look.now)
                cycle.run(session, self.post, judgement, look, ranking)
                self._note(session, judgement, look)

    def _work(self, session, local: datetime, now: int) -> None:
        open_jobs = jobs.open_jobs(session)
        if local.hour >= 12 and open_jobs:
            job_steps.finish(session, open_jobs[0].id, now)
            self.sprayed.append((open_jobs[0].started_at, now))
        elif local.hour == 10 and local.day % 2 and not open_jobs:
            job_steps.start(session, self.plan, "creek_side", "coarse", now)

    def _note(self, session, judgement, look) -> None:
        """Which limits are broken on the field being sprayed, worked out apart from the alerts."""
        field, setup = self.plan.fields.index("creek_side"), self.plan.setups.index("coarse")
        for checked in judgement.checks:
            stand = checked.stand
            picked = stand[
                min(field, stand.shape[0] - 1),
                min(setup, stand.shape[1] - 1),
                min(look.now_index, stand.shape[2] - 1),
            ]
            if picked == LimitState.BROKEN:
                self.broken[look.now].add(checked.limit.value)
            elif picked == LimitState.UNKNOWN:
                self.unseen[look.now].add(checked.limit.value)


def check(run: Run, start: int, days: int) -> int:
    """What must hold of a simulated time; returns how many mid-job alerts there were."""
    zone = run.farm.zone
    with run.store.reading() as session:
        messages = [
            m
            for m in session.scalars(select(Outgoing).order_by(Outgoing.id))
            if m.recipient == "grower"
        ]
        left = list(session.scalars(select(Condition).where(Condition.state == "raised")))
        ended = not jobs.open_jobs(session)
    _briefs_once_a_day(messages, zone, start, days)
    stops = [m for m in messages if m.kind == "stop"]
    for m in stops:
        assert any(a <= m.created_at <= b for a, b in run.sprayed), "told with nobody spraying"
        if "rain in" in m.title:  # counted from what is left of the job
            continue
        # A stop that stands is told again when what called for it can no longer be seen.
        causes = run.unseen if "cannot see" in m.title else run.broken
        assert causes[m.created_at], (m.title, "told without its cause")
    assert ended
    assert [c for c in left if c.subject.startswith("job:")] == []
    for m in messages:
        assert m.expires_at is not None
    return len(stops)


def _briefs_once_a_day(messages, zone, start: int, days: int) -> None:
    first = datetime.fromtimestamp(start, zone).date()
    for kind, count in (("morning brief", days), ("evening look-ahead", days)):
        heard = [datetime.fromtimestamp(m.created_at, zone) for m in messages if m.kind == kind]
        by_day = [t.date() for t in heard]
        assert len(by_day) == len(set(by_day)), f"two of {kind} on one day"
        assert len(by_day) >= count - 1
        missing = {first + timedelta(days=d) for d in range(1, days - 1)} - set(by_day)
        assert not missing, f"no {kind} on {missing}"


def _everything_drains(store: Database, now: int) -> None:
    with store.writing() as session:
        outbox.expire(session, now + 10 * 86400)
        assert set(outbox.counts(session)) <= {"expired"}


CHANGES = [
    ("America/Chicago", datetime(2026, 10, 25, 12, tzinfo=UTC)),
    ("Australia/Lord_Howe", datetime(2026, 3, 29, 12, tzinfo=UTC)),
    ("Australia/Adelaide", datetime(2026, 9, 27, 12, tzinfo=UTC)),
]


@pytest.mark.parametrize(
    ("zone", "begins"),
    [
        ("America/Chicago", datetime(2026, 3, 1, 12, tzinfo=UTC)),
        *(pytest.param(*change, marks=pytest.mark.laboratory) for change in CHANGES),
    ],
)
def test_nine_days_over_a_clock_change(store, zone, begins):
    start = int(begins.timestamp())
    run = Run(store, zone)
    run.live(start, 9, seed=3)
    assert check(run, start, 9) > 0
    _everything_drains(store, start + 9 * 86400)


@pytest.mark.bench
@pytest.mark.parametrize("zone", ZONES)
def test_a_year(store, zone):
    start = int(datetime(2026, 1, 1, 12, tzinfo=UTC).timestamp())
    run = Run(store, zone)
    run.live(start, 365, seed=4)
    stops = check(run, start, 365)
    print(f"\n{zone}: 365 days, {365 * 86400 // STEP_S} cycles, {stops} mid-job alerts")
    assert stops > 20
