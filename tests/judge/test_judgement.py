"""The status of a whole job, from how its limits stand at every time until its end."""

from typing import Any

import numpy as np
import pytest

from tests.support.worked_farm import build_farm, fair_weather, farm_tables
from watcher.judge.judgement import Judgement, judge
from watcher.limits.farm_arrays import FarmArrays
from watcher.limits.status import Status

HOURS = np.arange(12)
FROM = 6
"""The hour in which something changes."""
OPEN, NEAR, UNKNOWN, SHUT = Status.SUITABLE, Status.MARGINAL, Status.UNKNOWN, Status.UNSUITABLE


def judged(after: float, **changed: Any) -> Judgement:
    """Field C alone, whose job takes between two and three hours; warmer from then on."""
    told = farm_tables() | changed
    told["fields"] = {"C": told["fields"]["C"]}
    told["neighbours"] = {}
    told["sprayers"]["boom"]["speed"] = "2.3 mph"
    told["windows"]["contact"] = {"temperature": {"high": "25 degC"}}
    plan = FarmArrays.of(build_farm(told))
    assert 2.1 * 3600 < plan.duration_s[0, 0] < 2.9 * 3600
    return judge(plan, fair_weather(hours=12, temp_c=np.where(HOURS < FROM, 20.0, after)))


@pytest.mark.parametrize(
    ("after", "statuses"),
    [
        (30.0, [OPEN] * 4 + [NEAR] * 2 + [SHUT]),  # half of it holds
        (24.5, [OPEN] * 4 + [NEAR] * 3),
        (np.nan, [OPEN] * 4 + [UNKNOWN] * 3),
    ],
)
def test_what_comes_before_a_jobs_end_is_in_its_status(
    after: float, statuses: list[Status]
) -> None:
    assert judged(after).status[0, 0, : FROM + 1].tolist() == statuses


def test_a_job_that_ends_after_all_that_is_known_is_unknown() -> None:
    assert judged(20.0).status[0, 0].tolist() == [OPEN] * 10 + [UNKNOWN] * 2


def test_the_share_that_is_done_before_limits_break() -> None:
    found = judged(30.0)
    takes_h = found.plan.duration_s[0, 0] / 3600
    assert found.breaks_at[0, 0, : FROM + 1].tolist() == [found.series.times[FROM]] * (FROM + 1)
    assert found.share_done[0, 0, 3 : FROM + 1] == pytest.approx([1.0, 2 / takes_h, 1 / takes_h, 0])


def test_the_best_setup_a_field_may_use_speaks_for_it() -> None:
    told = farm_tables()
    told["fields"]["C"] |= {"setups": ["coarse15"]}
    found = judged(30.0, fields=told["fields"])
    assert found.status[0, 0, 0] == SHUT  # it may not be used
    assert found.best[0].tolist() == found.status[0, 1].tolist()
    assert found.best[0, 0] == OPEN
