"""Which stops of a job belong together, and how long an all-clear then waits."""

from types import SimpleNamespace
from typing import NamedTuple

import pytest

from watcher.alerts.conditions import ConditionKey, ConditionState
from watcher.alerts.rules.job_action import LATELY, job_action, lately, steady_s, stops_lately
from watcher.farm.models import Alerting
from watcher.judge.job_action import Action, JobAction
from watcher.limits.catalogue import Limit
from watcher.limits.status import LimitState

NOW = 1_781_107_200
JOB = "job:1"


def remembered(*begun: int, not_so_since: int | None = None) -> dict[ConditionKey, ConditionState]:
    state = ConditionState(NOW - 4000, not_so_since=not_so_since, evidence={"begun": list(begun)})
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
    states: dict[ConditionKey, ConditionState], stopped: bool, begun: list[int]
) -> None:
    found = lately(JOB, stopped, states, NOW)
    assert (found.holds, found.evidence["begun"]) == (stopped, begun)


class Stands(NamedTuple):
    """A limit as the job's page tells it."""

    limit: Limit
    stand: LimitState = LimitState.NEAR
    headroom: float = 0.2


def do(
    states: dict[ConditionKey, ConditionState], *limits: Stands, paused_at: int | None = None
) -> JobAction:
    record = SimpleNamespace(paused_at=paused_at)
    facts = SimpleNamespace(job=record, limits=limits)
    job = SimpleNamespace(subject=JOB, state=facts, taken_in_hand_at=NOW - 9000)
    config = SimpleNamespace(alerts=Alerting(all_clear_after="600 s"))
    context = SimpleNamespace(now=NOW, speaker=SimpleNamespace(farm=SimpleNamespace(config=config)))
    return job_action(context, job, states)  # type: ignore[arg-type]


def broken(limit: Limit, since: int, back: int | None = None) -> dict[ConditionKey, ConditionState]:
    kind = f"limit broken: {limit}"
    return {ConditionKey(JOB, kind): ConditionState(NOW - since, not_so_since=back and NOW - back)}


def blind(limit: Limit, since: int) -> dict[ConditionKey, ConditionState]:
    return {ConditionKey(JOB, f"limit unknown: {limit}"): ConditionState(NOW - since)}


WIND, GUST = Stands(Limit.WIND), Stands(Limit.GUST)
UNSEEN = Stands(Limit.GUST, LimitState.UNKNOWN, float("nan"))


def test_it_is_to_stop_since_the_first_of_what_stands() -> None:
    states = broken(Limit.WIND, 300) | broken(Limit.GUST, 900)
    found = do(states, WIND, GUST)
    assert (found.action, found.since) == (Action.STOP, NOW - 900)


def test_what_is_back_waits_from_the_last_that_came_back() -> None:
    states = broken(Limit.WIND, 900, back=600) | broken(Limit.GUST, 900, back=60)
    found = do(states, WIND, GUST)
    assert (found.action, found.since, found.steady_at) == (Action.WAIT, NOW - 60, NOW + 540)


def test_one_that_still_stands_is_the_cause_and_not_the_one_that_is_back() -> None:
    states = broken(Limit.WIND, 900, back=600) | broken(Limit.GUST, 300)
    found = do(states, WIND, GUST)
    assert (found.action, found.since) == (Action.STOP, NOW - 300)
    assert [cause.limit for cause in found.causes] == [Limit.GUST]


def test_what_cannot_be_seen_is_so_since_the_first_that_could_not() -> None:
    other = UNSEEN._replace(limit=Limit.WIND)
    found = do(blind(Limit.GUST, 120) | blind(Limit.WIND, 60), UNSEEN, other)
    assert (found.action, found.since) == (Action.CANNOT_SEE, NOW - 120)
    seen_again = do(blind(Limit.GUST, 120), GUST)  # remembered for a while, and known again
    assert seen_again.action is Action.GO_ON


def test_without_anything_it_goes_on_since_it_was_taken_in_hand_and_rests_since_its_pause() -> None:
    assert (do({}).action, do({}).since) == (Action.GO_ON, NOW - 9000)
    resting = do(broken(Limit.WIND, 300), WIND, paused_at=NOW - 30)
    assert (resting.action, resting.since) == (Action.PAUSED, NOW - 30)
    assert resting.causes


def test_signs_ask_to_get_ready_since_the_first_of_them() -> None:
    signs = {
        ConditionKey(JOB, "wind likely over"): ConditionState(NOW - 60),
        ConditionKey(JOB, "ends soon"): ConditionState(NOW - 240),
    }
    found = do(signs)
    assert (found.action, found.since) == (Action.GET_READY, NOW - 240)
    assert found.signs == ("wind likely over", "ends soon")
