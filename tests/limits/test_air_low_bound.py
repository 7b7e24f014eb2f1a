"""The low bound on the wind is about still air: by day, mixed, it asks for no room."""

from typing import Any

import numpy as np
import pytest

from tests.support.english import english
from tests.support.farms import build, tables
from tests.support.skies import MPH, timeline
from watcher.farm.origin import Origin
from watcher.judge.judgement import Judgement, judge
from watcher.judge.reasons import Reason, reasons
from watcher.limits.catalogue import Limit
from watcher.limits.farm_arrays import FarmArrays
from watcher.limits.status import LimitState, Status
from watcher.messages.reasons import Speaker

NOON, DUSK = 0, 10
"""Hours from 11:00 on the tenth of June: the sun has set by the second."""
CLEAR_NIGHT = 12


def config(**rules: Any) -> dict[str, Any]:
    farm = tables()
    farm["neighbours"] = {}
    if rules:
        farm["windows"]["contact"] |= {"wind": {}, "rules": [{"kind": "wind"} | rules]}
    return farm


def judged(farm: dict[str, Any], wind_mph: float, **weather: Any) -> Judgement:
    look = timeline(wind_mph=wind_mph, gust_mph=wind_mph + 2, **weather)
    return judge(FarmArrays.of(build(farm)), look.series)


def wind(judgement: Judgement, time: int, setup: str = "coarse") -> Reason:
    plan = judgement.plan
    case = plan.fields.index("hill"), plan.setups.index(setup), time
    return next(r for r in reasons(judgement, *case) if r.limit is Limit.WIND)


LABEL = {"low": "3 mph", "high": "10 mph", "height": "boom", "gusts": "not counted"}
FARMS = [config(), config(**LABEL)]


@pytest.mark.parametrize("farm", FARMS, ids=["window", "rule"])
def test_by_day_a_wind_just_over_the_low_bound_is_not_marginal(farm: dict[str, Any]) -> None:
    judgement = judged(farm, 3.2, cloud_pct=100.0)
    assert wind(judgement, NOON).stand is LimitState.HOLDS
    plan = judgement.plan
    case = plan.fields.index("hill"), plan.setups.index("coarse"), NOON
    assert judgement.instant[case] == Status.SUITABLE


@pytest.mark.parametrize("farm", FARMS, ids=["window", "rule"])
def test_under_the_low_bound_it_is_shut_by_day_too(farm: dict[str, Any]) -> None:
    assert wind(judged(farm, 2.9, cloud_pct=100.0), NOON).stand is LimitState.BROKEN


@pytest.mark.parametrize("farm", FARMS, ids=["window", "rule"])
def test_at_night_near_the_low_bound_is_near(farm: dict[str, Any]) -> None:
    judgement = judged(farm, 3.2, cloud_pct=100.0)
    assert wind(judgement, CLEAR_NIGHT).stand is LimitState.NEAR
    assert wind(judgement, CLEAR_NIGHT).side == "low"


@pytest.mark.parametrize("farm", FARMS, ids=["window", "rule"])
def test_by_day_with_a_sign_of_an_inversion_near_the_low_bound_is_near(farm) -> None:
    judgement = judged(farm, 3.2, cloud_pct=0.0)
    hinted = np.flatnonzero(judgement.inversion.finding[:10] > 0)
    assert hinted.size, "the evening before sunset shows one"
    assert wind(judgement, int(hinted[0])).stand is LimitState.NEAR


@pytest.mark.parametrize("farm", FARMS, ids=["window", "rule"])
def test_near_the_high_bound_stays_near_by_day(farm: dict[str, Any]) -> None:
    found = wind(judged(farm, 9.5, cloud_pct=100.0), NOON)
    assert found.stand is LimitState.NEAR
    assert found.side == "high"


def test_the_upper_part_of_the_range_is_named_as_what_acts() -> None:
    judgement = judged(config(), 6.4, cloud_pct=100.0)
    found = wind(judgement, NOON)
    assert found.stand is LimitState.NEAR
    assert found.upper_from == pytest.approx(6 * MPH)
    assert english(Speaker(judgement.plan.farm).reason("hill", found)) == (
        "wind 6.4 mph, at most 10 mph (label), 3.6 mph to spare; marginal over 6 mph (our default)"
    )


def test_a_share_of_the_range_that_the_grower_wrote_is_his() -> None:
    farm = config() | {"judging": {"calm_share": 0.6}}
    found = wind(judged(farm, 6.4, cloud_pct=100.0), NOON)
    assert found.upper_origin is Origin.OWN


def test_a_range_that_rules_alone_bound_names_its_upper_part_too() -> None:
    judgement = judged(config(**LABEL), 6.4, cloud_pct=100.0)
    found = wind(judgement, NOON)
    said = english(Speaker(judgement.plan.farm).reason("hill", found))
    assert found.stand is LimitState.NEAR
    assert said == "wind 6.4 mph, marginal over 6 mph (our default)"


def test_each_bound_keeps_its_own_origin() -> None:
    farm = config()
    farm["windows"]["contact"]["wind"] |= {"origin": "own", "low_origin": "label"}
    for mph, side, origin in ((3.2, "low", Origin.LABEL), (9.5, "high", Origin.OWN)):
        found = wind(judged(farm, mph, cloud_pct=100.0), CLEAR_NIGHT)
        assert (found.low_origin, found.high_origin) == (Origin.LABEL, Origin.OWN)
        assert (found.side, found.origin) == (side, origin)


def test_a_gust_bound_that_nobody_wrote_is_our_default() -> None:
    farm = config()
    del farm["windows"]["contact"]["gust"]
    judgement = judged(farm, 5.0, cloud_pct=100.0)
    case = judgement.plan.fields.index("hill"), 0, NOON
    gust = next(r for r in reasons(judgement, *case) if r.limit is Limit.GUST)
    assert (gust.low_origin, gust.high_origin, gust.origin) == (
        None,
        Origin.DEFAULT,
        Origin.DEFAULT,
    )


def test_a_field_that_tightens_the_high_bound_leaves_the_low_one_the_labels() -> None:
    farm = config()
    farm["fields"]["hill"]["limits"] = {"wind": {"high": "8 mph"}}
    found = wind(judged(farm, 5.0, cloud_pct=100.0), NOON)
    assert (found.low_origin, found.high_origin) == (Origin.LABEL, Origin.OWN)
