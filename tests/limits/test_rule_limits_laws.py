"""Laws that hold for any rule: what is legal is no physics, advice is no ban, a verdict tells all.

That another product never opens an hour, and that what is not known never passes, is held by
``test_rules``; that a reduction never makes a buffer negative by ``test_buffers``.
"""

from typing import Any

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.limits.test_rule_limits import BOOM, RULES, SKIES, judged, limits, tables
from tests.support.english import english
from tests.support.worked_farm import build_farm, fair_weather
from watcher.limits.catalogue import Limit
from watcher.limits.farm_arrays import FarmArrays
from watcher.limits.status import LimitState, Status
from watcher.messages.reasons import Speaker

MEASURES = ["hood", "windbreak", "approved nozzles"]
percents = st.integers(0, 100)


def with_buffer(percent: int, measures: list[str], reduction: int | None) -> dict[str, Any]:
    """The field with vines beside it that mind, a buffer with a percent, and what proves it."""
    config = tables({"kind": "wind", "low": "3 mph", "high": "10 mph"} | BOOM)
    config["neighbours"] = {
        "vines_C": {"grows": "vines", "susceptibility": "susceptible", "kinds": ["crop"]}
    }
    config["products"]["a"]["buffers"] = [
        {
            "protects": ["crop"],
            "base": "60 m",
            "reductions": [{"needs": ["hood"], "percent": f"{percent} %"}],
            "combine": "add and cap",
        }
    ]
    setup = config["setups"]["coarse15"]
    setup["measures"] = measures
    if reduction is not None:
        setup["drift_reduction"] = f"{reduction} %"
    return config


@settings(max_examples=12, deadline=None)
@given(percents, st.lists(st.sampled_from(MEASURES), unique=True), percents)
def test_a_legal_percent_never_changes_modelled_drift(percent, measures, direction) -> None:
    series = fair_weather(hours=2, wind_from_deg=180.0 + direction / 4)
    plain, proven = (
        limits(judged(with_buffer(p, m, None), series))[Limit.DEPOSIT]
        for p, m in ((0, []), (percent, measures))
    )
    assert proven.value == plain.value
    assert [e.upper_pct for e in proven.deposits] == [e.upper_pct for e in plain.deposits]


@settings(max_examples=12, deadline=None)
@given(percents, percents)
def test_modelled_drift_never_changes_a_legal_buffer(percent, reduction) -> None:
    plans = [
        FarmArrays.of(build_farm(with_buffer(percent, ["hood"], r))) for r in (None, reduction)
    ]
    required = [plan.buffers.required_m for plan in plans]
    np.testing.assert_array_equal(required[0], required[1])


@settings(max_examples=30, deadline=None)
@given(RULES, SKIES)
def test_advice_never_shuts_a_field_and_a_ban_is_never_shown_as_advice(rule, sky) -> None:
    advised, banned = (
        judged(tables(rule | {"force": force}), fair_weather(hours=30, **sky))
        for force in ("advice", "ban")
    )
    free = judged(tables(), fair_weather(hours=30, **sky))
    for limit, reason in limits(advised).items():
        if reason.rule is None:
            continue
        assert reason.stand >= LimitState.NEAR, (limit, reason)
        said = english(Speaker(advised.plan.farm).reason("C", reason))
        assert "advice" in said, said
    # Advice makes marginal at most: what was open stays open.
    opened = free.instant[0] >= Status.MARGINAL
    assert (advised.instant[0][opened] >= Status.MARGINAL).all()
    for reason in limits(banned).values():
        if reason.rule is not None:
            said = english(Speaker(banned.plan.farm).reason("C", reason))
            assert "advice" not in said, said
            if reason.stand is LimitState.BROKEN and reason.limit is not Limit.BEGIN:
                assert banned.instant[0, 1, 0] == Status.UNSUITABLE


@settings(max_examples=30, deadline=None)
@given(
    st.integers(1, 14),
    st.sampled_from(["boom", "2 m", "10 m", "unstated"]),
    st.sampled_from(["label", "state law", "national law", "law"]),
    st.sampled_from(["section 3", "article 2 (invented)"]),
    st.floats(0.5, 15),
)
def test_a_verdict_names_rule_height_number_and_citation(high, height, origin, cited, wind) -> None:
    rule = {"kind": "wind", "high": f"{high} mph", "height": height, "gusts": "not counted"}
    config = tables(rule | {"origin": origin, "citation": cited})
    judgement = judged(config, fair_weather(hours=2, wind_mph=wind))
    reason = limits(judgement)[Limit.WIND]
    if reason.rule is None:
        return  # the upper part of its range, which is ours, says so instead
    said = english(Speaker(judgement.plan.farm).reason("C", reason))
    where = {"boom": "at the boom", "2 m": "at 6.6 ft", "10 m": "at 32.8 ft"}
    wanted = where.get(height, "no height is named")
    for words in (origin, "product a", cited, wanted, f"at most {high}.0 mph"):
        assert words in said, (words, said)
