"""Which stops of a job belong together, and how long an all-clear then waits."""

import pytest

from watcher.alerts.conditions import ConditionKey, State
from watcher.alerts.rules.job_action import LATELY, lately, steady_s, stops_lately
from watcher.farm.models import Alerting

NOW = 1_781_107_200
JOB = "job:1"


def remembered(*begun: int, not_so_since: int | None = None) -> dict[ConditionKey, State]:
    state = State(NOW - 4000, not_so_since=not_so_since, evidence={"begun": list(begun)})
    return {ConditionKey(JOB, LATELY.kind): state}


def test_stops_of_the_last_hour_belong_together() -> None:
    states = remembered(NOW - 3601, NOW - 3600, NOW - 60, NOW + 60)
    assert stops_lately(JOB, states, NOW) == (NOW - 3600, NOW - 60)
    assert stops_lately("job:2", states, NOW) == ()


@pytest.mark.parametrize(
    ("begun", "given", "steady"),
    [
        ((), 600, 600),
        ((NOW - 60,), 600, 600),
        ((NOW - 900, NOW - 60), 600, 1200),
        ((NOW - 900, NOW - 60), 1800, 1800),
        ((NOW - 4000, NOW - 60), 600, 600),
    ],
)
def test_where_the_wind_comes_and_goes_an_all_clear_waits_longer(
    begun: tuple[int, ...], given: int, steady: int
) -> None:
    alerting = Alerting(all_clear_after=f"{given} s")
    assert steady_s(JOB, remembered(*begun), alerting, NOW) == steady


@pytest.mark.parametrize(
    ("states", "stopped", "begun"),
    [
        ({}, False, []),
        ({}, True, [NOW]),
        (remembered(NOW - 60), True, [NOW - 60]),  # the same stop, still
        (remembered(NOW - 60, not_so_since=NOW - 30), True, [NOW - 60, NOW]),
        (remembered(NOW - 60, not_so_since=NOW - 30), False, [NOW - 60]),
    ],
)
def test_a_stop_that_begins_is_remembered_once(
    states: dict[ConditionKey, State], stopped: bool, begun: list[int]
) -> None:
    found = lately(JOB, stopped, states, NOW)
    assert (found.holds, found.evidence["begun"]) == (stopped, begun)
