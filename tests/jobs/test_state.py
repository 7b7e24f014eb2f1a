"""What of the limits a running job is asked for."""

from datetime import datetime
from zoneinfo import ZoneInfo

from tests.support.worked_farm import build_farm, fair_weather, farm_tables
from watcher.jobs.state import look
from watcher.judge.judgement import judge
from watcher.limits.catalogue import Limit
from watcher.limits.farm_arrays import FarmArrays
from watcher.limits.status import LimitState
from watcher.store.tables import Job

SIX = int(datetime(2026, 6, 10, 18, 0, tzinfo=ZoneInfo("America/Chicago")).timestamp())


def test_a_job_begun_in_time_is_not_stopped_by_the_hour_to_begin() -> None:
    config = farm_tables()
    rule = {"kind": "clock", "closes": "17:30", "binds": "start"}
    config["products"] = {"a": {"name": "A", "registration": "0-0", "rules": [rule]}}
    config["fields"]["C"]["products"] = ["a"]
    judgement = judge(FarmArrays.of(build_farm(config)), fair_weather(start=SIX))
    job = Job(
        id=1,
        field="C",
        setup="coarse15",
        sprayer="boom",
        started_at=SIX - 3600,
        planned_s=7200.0,
        paused_s=0.0,
        paused_at=None,
    )
    seen = look(judgement, 0, job)
    assert Limit.BEGIN not in seen.by_limit
    assert all(reason.stand is not LimitState.BROKEN for reason in seen.limits)
    assert seen.breaks_at is None
