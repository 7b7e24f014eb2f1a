"""The model of conditions as a truth table: one sentence a row."""

import pytest

from watcher.alerts.conditions import (
    ConditionKey,
    ConditionState,
    Evaluation,
    Rule,
    TransitionKind,
    Urgency,
    advance,
    step,
)
from watcher.farm.models import Topic

NOW = 10_000
RULE = Rule(
    "limit broken",
    Topic.JOB,
    Urgency.NOW,
    expires_after_s=3600,
    raise_after_s=60,
    clear_after_s=600,
    repeat_after_s=1800,
)
RAISED, REPEATED, CLEARED = TransitionKind.RAISED, TransitionKind.REPEATED, TransitionKind.CLEARED


@pytest.mark.parametrize(
    ("sentence", "state", "holds", "after", "change"),
    [
        ("nothing is so and nothing was", None, False, None, None),
        ("nothing can be known and nothing was", None, None, None, None),
        ("it has only just begun", None, True, ConditionState(NOW), None),
        (
            "it has not been so for long",
            ConditionState(NOW - 59),
            True,
            ConditionState(NOW - 59),
            None,
        ),
        (
            "it has been so for long",
            ConditionState(NOW - 60),
            True,
            ConditionState(NOW - 60, NOW),
            RAISED,
        ),
        ("it was over before it was told", ConditionState(NOW - 59), False, None, None),
        (
            "not knowing forgets nothing that began",
            ConditionState(NOW - 59),
            None,
            ConditionState(NOW - 59),
            None,
        ),
        (
            "it lasts and was told",
            ConditionState(NOW - 900, NOW - 900),
            True,
            ConditionState(NOW - 900, NOW - 900),
            None,
        ),
        (
            "it lasts and was told long ago",
            ConditionState(NOW - 1800, NOW - 1800),
            True,
            ConditionState(NOW - 1800, NOW),
            REPEATED,
        ),
        (
            "it is no longer so, since now",
            ConditionState(NOW - 900, NOW - 900),
            False,
            ConditionState(NOW - 900, NOW - 900, NOW),
            None,
        ),
        (
            "it is no longer so, not for long",
            ConditionState(0, 60, NOW - 599),
            False,
            ConditionState(0, 60, NOW - 599),
            None,
        ),
        ("it is no longer so, for long", ConditionState(0, 60, NOW - 600), False, None, CLEARED),
        (
            "it came back in between",
            ConditionState(NOW - 900, NOW - 900, NOW - 599),
            True,
            ConditionState(NOW - 900, NOW - 900),
            None,
        ),
        (
            "not knowing is no recovery",
            ConditionState(NOW - 900, NOW - 900, NOW - 599),
            None,
            ConditionState(NOW - 900, NOW - 900),
            None,
        ),
        (
            "the clock was set back since",
            ConditionState(NOW + 3600, NOW + 3600, NOW + 3600),
            False,
            ConditionState(NOW, NOW, NOW),
            None,
        ),
    ],
)
def test_step(sentence, state, holds, after, change):
    assert step(Evaluation(RULE, "job:1", holds), state, NOW) == (after, change), sentence


def test_what_was_told_before_the_grower_acted_is_told_again():
    evaluation = Evaluation(RULE, "job:1", True, unsaid_before=NOW - 10)
    assert step(evaluation, ConditionState(NOW - 100, NOW - 100), NOW)[1] is REPEATED
    assert step(evaluation, ConditionState(NOW - 100, NOW - 10), NOW)[1] is None


def test_an_act_ahead_of_a_clock_that_was_set_back_does_not_tell_the_same_again_and_again():
    evaluation = Evaluation(RULE, "job:1", True, unsaid_before=NOW + 3600)
    assert step(evaluation, ConditionState(NOW - 100, NOW - 100), NOW)[1] is None


def test_what_somebody_has_seen_is_not_repeated():
    evaluation = Evaluation(RULE, "job:1", True, seen_at=NOW - 3000)
    assert step(evaluation, ConditionState(NOW - 3600, NOW - 3600), NOW)[1] is None
    assert step(evaluation, ConditionState(NOW - 3600, NOW - 2000), NOW)[1] is REPEATED


def test_a_rule_without_durations_is_told_and_cleared_at_once():
    rule = Rule("at once", Topic.JOB, Urgency.NOW, expires_after_s=3600)
    state, change = step(Evaluation(rule, "job:1", True), None, NOW)
    assert (state, change) == (ConditionState(NOW, NOW), RAISED)
    assert step(Evaluation(rule, "job:1", False), state, NOW + 1) == (None, CLEARED)


def test_without_a_repeat_interval_a_thing_is_told_once_however_long_it_lasts():
    rule = Rule("once", Topic.JOB, Urgency.NOW, expires_after_s=3600)
    assert step(Evaluation(rule, "job:1", True), ConditionState(0, 0), 10**9)[1] is None


def test_limits_of_one_job_are_separate_conditions():
    wind, gust = (Evaluation(RULE, "job:1", True, about) for about in ("wind", "gust"))
    lasting, transitions = advance([wind, gust], {wind.key: ConditionState(NOW - 60)}, NOW)
    assert lasting == {wind.key: ConditionState(NOW - 60, NOW), gust.key: ConditionState(NOW)}
    assert [n.evaluation.about for n in transitions] == ["wind"]


def test_a_condition_nothing_is_stated_about_is_over_without_a_word():
    gone = {ConditionKey("job:1", "limit broken: wind"): ConditionState(0, 0)}
    assert advance([], gone, NOW) == ({}, [])


def test_the_news_of_a_clearing_says_since_when_it_was_not_so():
    evaluation = Evaluation(RULE, "job:1", False)
    _, transitions = advance([evaluation], {evaluation.key: ConditionState(0, 60, NOW - 700)}, NOW)
    assert [(n.change, n.state.not_so_since) for n in transitions] == [(CLEARED, NOW - 700)]
