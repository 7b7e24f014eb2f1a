"""At the very moment, metre or share from which a rule holds, and just beside it."""

from types import SimpleNamespace
from typing import Any

import pytest

from watcher.alerts.conditions import ConditionKey, ConditionState, Evaluation
from watcher.alerts.context import Begun
from watcher.alerts.gather import _tank_s
from watcher.alerts.rules import (
    field,
    job,
    job_care,
    job_limits,
    job_strips,
    job_warnings,
    plan,
    recipient,
)
from watcher.alerts.watch_runs import fault_alert
from watcher.farm.models import Adjuvant, Topic
from watcher.limits.catalogue import Limit
from watcher.limits.status import LimitState, Status

NOW = 1_781_107_200
JOB = "job:1"


def a_job(**known: Any) -> Any:
    """A job as the rules see it; ``state`` and its ``job`` may be given in parts."""
    record = SimpleNamespace(
        id=1, field="hill", setup="fine", paused_at=known.pop("paused_at", None), started_at=0
    )
    parts = {"limits": (), "breaks_at": None, "breaks_by": None, "left_s": 3600.0, "by_limit": {}}
    facts = SimpleNamespace(job=record, **parts | known.pop("state", {}))
    usual = {"subject": JOB, "paused": False, "nowcast": None, "strips_agreed": {}}
    return SimpleNamespace(state=facts, **usual | known)


def holds(evaluations: Any, kind: str) -> bool | None:
    (found,) = [s.holds for s in evaluations if s.rule.kind == kind]
    answer: bool | None = found
    return answer


class TestEndsSoon:
    """A quarter of an hour ahead, unless the job is done two minutes after that anyway."""

    @pytest.mark.parametrize(
        ("in_s", "left_s", "soon"),
        [
            (900, 3600.0, True),
            (901, 3600.0, False),
            (0, 3600.0, False),
            (1, 3600.0, True),
            (600, 721.0, True),
            (600, 720.0, False),
        ],
    )
    def test_by_the_second(self, in_s: int, left_s: float, soon: bool) -> None:
        ends = {"breaks_at": NOW + in_s, "breaks_by": Limit.CLOCK, "left_s": left_s}
        evaluations = job_warnings.evaluate(a_job(state=ends), {}, NOW)
        assert holds(evaluations, "ends soon") is soon

    def test_by_nothing_known_it_does_not(self) -> None:
        for gone in ("breaks_at", "breaks_by"):
            ends = {"breaks_at": NOW + 60, "breaks_by": Limit.CLOCK} | {gone: None}
            evaluations = job_warnings.evaluate(a_job(state=ends), {}, NOW)
            assert holds(evaluations, "ends soon") is False

    def test_what_is_here_already_is_no_news(self) -> None:
        broken = SimpleNamespace(limit=Limit.WIND, stand=LimitState.BROKEN)
        ends = {"breaks_at": NOW + 60, "breaks_by": Limit.CLOCK, "limits": (broken,)}
        assert holds(job_warnings.evaluate(a_job(state=ends), {}, NOW), "ends soon") is None


def coming(begins: bool, lasts: bool, unknown: bool = False) -> Any:
    ahead = SimpleNamespace(begins=[begins], lasts=[lasts], unknown=[unknown])
    return SimpleNamespace(mean_ahead=ahead)


@pytest.mark.parametrize(
    ("nowcast", "remembered", "likely"),
    [
        (coming(False, True), None, False),
        (coming(False, True), ConditionState(NOW - 60, NOW - 60), True),
        (coming(False, True), ConditionState(NOW - 60, NOW - 60, NOW - 30), False),
        (coming(True, False), None, True),
        (coming(True, False), ConditionState(NOW - 60, NOW - 60), False),
        (coming(True, True, unknown=True), None, None),
    ],
)
def test_a_likely_wind_begins_at_one_chance_and_lasts_to_another(
    nowcast: Any, remembered: ConditionState | None, likely: bool | None
) -> None:
    states = {} if remembered is None else {ConditionKey(JOB, "wind likely over"): remembered}
    evaluations = job_warnings.evaluate(a_job(nowcast=nowcast), states, NOW)
    assert holds(evaluations, "wind likely over") is likely


@pytest.mark.parametrize("limit", [Limit.WIND, Limit.GUST])
@pytest.mark.parametrize("paused", [True, False])
def test_of_a_wind_that_is_here_its_coming_is_no_news(limit: Limit, paused: bool) -> None:
    """Of a paused job any broken limit is enough, for none of them is said."""
    broken = SimpleNamespace(limit=limit, stand=LimitState.BROKEN)
    job = a_job(nowcast=coming(True, True), paused=paused, state={"limits": (broken,)})
    here = paused or limit is Limit.WIND
    evaluations = job_warnings.evaluate(job, {}, NOW)
    assert holds(evaluations, "wind likely over") is (None if here else True)


@pytest.mark.parametrize(
    ("stand", "headroom", "remembered", "broken", "unknown"),
    [
        (LimitState.BROKEN, -0.1, False, True, False),
        (LimitState.UNKNOWN, float("nan"), True, None, True),
        (LimitState.NEAR, 0.049, False, False, False),
        (LimitState.NEAR, 0.049, True, None, False),  # back, but only just
        (LimitState.NEAR, 0.05, True, False, False),
    ],
)
def test_a_limit_is_back_by_a_twentieth_of_its_scale(
    stand: LimitState, headroom: float, remembered: bool, broken: bool | None, unknown: bool
) -> None:
    reason = SimpleNamespace(limit=Limit.WIND, stand=stand, headroom=headroom)
    job = a_job(state={"limits": (reason,)})
    key = job_limits.key(job, job_limits.BROKEN, Limit.WIND)
    states = {key: ConditionState(NOW - 60)} if remembered else {}
    found = list(job_limits.evaluate(job, states, job_limits.BROKEN))
    assert [s.holds for s in found] == [broken, unknown]


def test_a_limit_by_a_rule_has_no_distance_to_be_back_by() -> None:
    reason = SimpleNamespace(limit=Limit.INVERSION, stand=LimitState.NEAR, headroom=0.0)
    job = a_job(state={"limits": (reason,)})
    key = job_limits.key(job, job_limits.BROKEN, Limit.INVERSION)
    found = list(job_limits.evaluate(job, {key: ConditionState(NOW - 60)}, job_limits.BROKEN))
    assert found[0].holds is False


@pytest.mark.parametrize(
    ("depth_m", "agreed_m", "asked"),
    [
        (1.01, None, True),
        (1.0, None, False),
        (21.0, 20.0, False),
        (21.1, 20.0, True),
        (float("inf"), None, False),
    ],
)
def test_a_strip_a_metre_deeper_than_agreed_is_another_one(
    depth_m: float, agreed_m: float | None, asked: bool
) -> None:
    strip = SimpleNamespace(neighbour="orchard", depth_m=depth_m)
    reason = SimpleNamespace(stand=LimitState.NEAR, strips=(strip,))
    job = a_job(
        state={"by_limit": {Limit.NO_SPRAY: reason}},
        strips_agreed={} if agreed_m is None else {"orchard": agreed_m},
    )
    found = list(job_strips.evaluate(SimpleNamespace(jobs=[job]), {}))  # type: ignore[arg-type]
    assert [s.holds for s in found] == ([True] if asked else [])


def cared(context: dict[str, Any], job: Any, states: Any = None) -> dict[str, Evaluation]:
    setup = SimpleNamespace(adjuvant=context.pop("adjuvant", Adjuvant.NONE))
    config = SimpleNamespace(setups={"fine": setup})
    speaker = SimpleNamespace(farm=SimpleNamespace(config=config))
    seen = SimpleNamespace(now=NOW, acknowledged={}, speaker=speaker)
    evaluations = job_care.evaluate(seen, job, states or {})  # type: ignore[arg-type]
    return {s.rule.kind: s for s in evaluations}


@pytest.mark.parametrize(
    ("left_s", "paused_s", "forgotten"),
    [
        (-1800.0, None, False),
        (-1801.0, None, True),
        (600.0, 3599, False),
        (600.0, 3600, True),
    ],
)
def test_a_job_is_forgotten_half_an_hour_over_its_time_or_paused_for_one(
    left_s: float, paused_s: int | None, forgotten: bool
) -> None:
    paused_at = None if paused_s is None else NOW - paused_s
    job = a_job(state={"left_s": left_s}, paused_at=paused_at, tank_age_s=0.0)
    assert cared({}, job)["job forgotten"].holds is forgotten


@pytest.mark.parametrize(
    ("adjuvant", "age_s", "worn"),
    [
        (Adjuvant.POLYACRYLAMIDE, 3599.0, False),
        (Adjuvant.POLYACRYLAMIDE, 3600.0, True),
        (Adjuvant.GUAR, 36_000.0, False),
        (Adjuvant.NONE, 36_000.0, False),
    ],
)
def test_a_retardant_is_worn_after_an_hour_in_the_pump(
    adjuvant: Adjuvant, age_s: float, worn: bool
) -> None:
    found = cared({"adjuvant": adjuvant}, a_job(tank_age_s=age_s))
    assert found["retardant worn"].holds is worn


@pytest.mark.parametrize(("asked_s", "again"), [(0, 7200), (14_399, 7200), (14_400, None)])
def test_a_forgotten_job_is_asked_about_three_times(asked_s: int, again: int | None) -> None:
    since = NOW - 20_000
    states = {ConditionKey(JOB, "job forgotten"): ConditionState(since, since + asked_s)}
    found = cared({}, a_job(tank_age_s=0.0), states)["job forgotten"]
    assert found.rule.repeat_after_s == again


def ranked(status: Status, closes_in_s: int | None) -> Any:
    closes_at = None if closes_in_s is None else NOW + closes_in_s
    return SimpleNamespace(field="hill", status=status, closes_at=closes_at)


@pytest.mark.parametrize(
    ("status", "closes_in_s", "said_open", "open_", "closing"),
    [
        (Status.SUITABLE, 3600, True, True, True),
        (Status.SUITABLE, 3601, True, True, False),
        (Status.SUITABLE, 3600, False, True, False),
        (Status.MARGINAL, 60, True, True, True),
        (Status.MARGINAL, None, True, True, False),
        (Status.UNSUITABLE, 60, True, False, False),
        (Status.UNKNOWN, 60, True, None, None),
    ],
)
def test_a_field_closes_within_the_hour_where_its_opening_was_said(
    status: Status, closes_in_s: int | None, said_open: bool, open_: Any, closing: Any
) -> None:
    ranking = SimpleNamespace(spray=[ranked(status, closes_in_s)], rest=[])
    context = SimpleNamespace(now=NOW, jobs=[], ranking=ranking)
    said = ConditionState(NOW - 900, NOW - 600 if said_open else None)
    states = {ConditionKey("field:hill", "field open"): said}
    found = list(field.evaluate(context, states))  # type: ignore[arg-type]
    assert [s.holds for s in found] == [open_, closing]


def step(starts_in_s: int) -> Any:
    return SimpleNamespace(field="hill", sprayer="boom", starts_at=NOW + starts_in_s)


@pytest.mark.parametrize(
    ("in_s", "asked_in_s", "due"),
    [
        (1200, 9000, True),
        (1201, 9000, False),
        (600, 1200, False),  # who said yes just before knows it
        (600, 1201, True),
    ],
)
def test_a_step_is_due_twenty_minutes_before_it(in_s: int, asked_in_s: int, due: bool) -> None:
    accepted = SimpleNamespace(
        at=NOW, plan=SimpleNamespace(plan=SimpleNamespace(steps=[step(asked_in_s)]))
    )
    now = SimpleNamespace(accepted=accepted, changed=None, turned=(), steps=[step(in_s)])
    context = SimpleNamespace(now=NOW, plan=now, jobs=[])
    (found,) = plan.evaluate(context, {})  # type: ignore[arg-type]
    assert found.holds is due
    assert found.rule.urgency.value == "soon"


@pytest.mark.parametrize(
    ("paused", "hears", "in_job"),
    [
        (False, {Topic.JOB}, True),
        (True, {Topic.JOB}, False),
        (False, {Topic.BRIEF}, False),
    ],
)
def test_whom_alerts_of_a_running_job_do_not_reach_is_told_at_once(
    paused: bool, hears: set[Topic], in_job: bool
) -> None:
    job = a_job(paused=paused)
    job.state.job.started_at = NOW - 600
    people = {"mate": SimpleNamespace(hears=hears)}
    config = SimpleNamespace(farm=SimpleNamespace(config=SimpleNamespace(recipients=people)))
    context = SimpleNamespace(jobs=[job], out_of_reach={"mate": "why"}, speaker=config)
    (found,) = recipient.evaluate(context, {})  # type: ignore[arg-type]
    assert found.holds is True
    assert found.rule is (recipient.UNREACHABLE_IN_JOB if in_job else recipient.UNREACHABLE)
    assert found.unsaid_before == (NOW - 600 if in_job else 0)


@pytest.mark.parametrize(("age_s", "just"), [(-1, False), (0, True), (59, True), (60, False)])
def test_first_answers_are_waited_for_a_minute(age_s: int, just: bool) -> None:
    assert Begun(NOW, first=True).just(NOW + age_s) is just


def test_a_fault_is_said_once_an_hour() -> None:
    keys = [
        fault_alert(False, ["field open", "field closing"], ValueError(), 3600 * 7 + second).key
        for second in (0, 3599, 3600)
    ]
    assert keys[0] == keys[1] == "watch/fault/field closing/7"
    assert keys[2] == "watch/fault/field closing/8"


def again(
    state: ConditionState,
    *,
    holds_again_at: int | None = None,
    blind: bool = False,
    holds: bool = True,
) -> Evaluation:
    """A stop that is said again every ten minutes at first."""
    alerts = SimpleNamespace(again_after=600)
    farm = SimpleNamespace(config=SimpleNamespace(alerts=alerts))
    context = SimpleNamespace(now=NOW, speaker=SimpleNamespace(farm=farm))
    a_stop = SimpleNamespace(state=SimpleNamespace(holds_again_at=holds_again_at))
    evaluation = Evaluation(job.STOP, JOB, holds)
    return job._again(context, a_stop, evaluation, state, blind=blind)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("stood_s", "every_s"),
    [(0, 600), (599, 600), (600, 1200), (1799, 1200), (1800, 2400), (90_000, 2400)],
)
def test_the_longer_it_stands_the_rarer_it_is_said_again(stood_s: int, every_s: int) -> None:
    """After once, twice and four times ten minutes: at 10, 30 and 70 minutes."""
    found = again(ConditionState(NOW - 100_000, NOW - 100_000 + stood_s))
    assert found.rule.repeat_after_s == every_s


HOURS = 3600


@pytest.mark.parametrize(
    ("said_s", "said_again", "holds_again", "renewed"),
    [
        (1800, 1 * HOURS, 3 * HOURS + 1, True),  # more than two hours later than was said
        (1800, 1 * HOURS, 3 * HOURS, False),
        (1799, 1 * HOURS, 9 * HOURS, False),  # not within half an hour of the last word
        (1800, 1 * HOURS, None, True),  # not in sight any more
        (1800, None, 9 * HOURS, False),  # no end was said
    ],
)
def test_an_end_that_moves_far_is_said_anew(
    said_s: int, said_again: int | None, holds_again: int | None, renewed: bool
) -> None:
    end = None if said_again is None else NOW + said_again
    state = ConditionState(NOW - 3000, NOW - said_s, evidence={"again": end, "blind": False})
    moved_to = None if holds_again is None else NOW + holds_again
    found = again(state, holds_again_at=moved_to)
    assert found.renewed is renewed
    assert found.evidence["again"] == (moved_to if renewed else end)
    assert not again(state, holds_again_at=moved_to, holds=False).renewed


def test_what_was_seen_and_cannot_be_seen_any_more_is_said_anew_once() -> None:
    seen = ConditionState(NOW - 600, NOW - 600, evidence={"again": None, "blind": False})
    unseen = ConditionState(NOW - 600, NOW - 600, evidence={"again": None, "blind": True})
    assert again(seen, blind=True).renewed
    assert not again(unseen, blind=True).renewed
    assert not again(unseen, blind=False).renewed


def test_a_full_tank_lasts_as_long_as_it_covers_ground() -> None:
    """3000 L at 150 L/ha are 20 ha; 12 km/h, 27 m and 65 % make 21.06 ha/h: 3419 s."""
    sprayer = SimpleNamespace(speed=12 / 3.6, boom_width=27.0, field_efficiency=65.0, tank=3000.0)
    config = SimpleNamespace(
        sprayers={"boom": sprayer}, setups={"fine": SimpleNamespace(carrier=150.0)}
    )
    judgement = SimpleNamespace(plan=SimpleNamespace(farm=SimpleNamespace(config=config)))
    of = SimpleNamespace(sprayer="boom", setup="fine")
    assert _tank_s(judgement, of) == pytest.approx(20 / 21.06 * 3600)  # type: ignore[arg-type]
