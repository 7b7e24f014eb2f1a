"""What lies between two jobs: entered ways, tips that are turned or changed, another sprayer."""

from typing import Any

import pytest

from tests.support.farms import build, tables
from watcher.service.between_jobs import BetweenJobs

MINUTE = 60
STRAIGHT_S = 2000 * 1.4 / 6.7056  # 2 km apart, by 1.4, at 15 mph
PRODUCTS = {
    name: {"name": f"Invented {name}", "registration": "0000-0"} for name in ("one", "another")
}


def between(one: tuple[str, str, str], other: tuple[str, str, str], **given: Any) -> float:
    """What lies between two jobs (sprayer, field, setup). [s]"""
    farm = build({**tables(), **given})
    jobs = BetweenJobs(farm, tuple(farm.config.fields))
    states = [jobs.state(*one), jobs.state(*other)]
    found = jobs.change_s
    return float(found[states[0], states[1]])


HILL, CREEK = ("boom", "hill", "coarse"), ("boom", "creek_side", "coarse")


def test_without_an_entered_way_it_is_the_straight_line_with_a_factor() -> None:
    assert between(HILL, CREEK) == pytest.approx(STRAIGHT_S, rel=0.01)


@pytest.mark.parametrize(
    ("way", "takes_s"),
    [
        ({"takes": "25 min"}, 25 * MINUTE),
        ({"distance": "6.7056 km"}, 1000.0),
        ({"takes": "0 min"}, 0.0),
    ],
)
def test_an_entered_way_counts_in_both_directions(way: dict[str, str], takes_s: float) -> None:
    planning = {"ways": [{"between": ["hill", "creek_side"], **way}]}
    assert between(HILL, CREEK, planning=planning) == pytest.approx(takes_s)
    assert between(CREEK, HILL, planning=planning) == pytest.approx(takes_s)


def test_fields_with_a_way_between_them_do_not_lie_together() -> None:
    near = {"together": "5 km"}
    assert between(HILL, CREEK, planning=near) == 0.0
    river = near | {"ways": [{"between": ["hill", "creek_side"], "takes": "40 min"}]}
    assert between(HILL, CREEK, planning=river) == 40 * MINUTE


def sprayers(**boom: Any) -> dict[str, Any]:
    config: dict[str, Any] = tables()["sprayers"]
    return {"sprayers": config | {"boom": config["boom"] | boom}}


def test_tips_that_the_bodies_carry_are_turned_and_others_changed_by_hand() -> None:
    fine = ("boom", "hill", "fine")
    carried = sprayers(tips=["fine", "coarse"], tips_turned_in="4 min")
    assert between(HILL, fine, **carried) == 4 * MINUTE
    assert between(HILL, fine, **sprayers()) == 30 * MINUTE
    assert between(HILL, HILL, **carried) == 0.0


def test_the_way_the_rinsing_and_the_tips_follow_each_other() -> None:
    fields = tables()["fields"]
    fields["hill"]["products"], fields["creek_side"]["products"] = ["one"], ["another"]
    found = between(
        HILL, ("boom", "creek_side", "fine"), fields=fields, products=PRODUCTS, **sprayers()
    )
    assert found == pytest.approx(STRAIGHT_S + 30 * MINUTE + 30 * MINUTE, rel=0.01)


def test_another_sprayer_takes_its_time_and_brings_its_own_tank() -> None:
    old = ("old_boom", "hill", "old_coarse")
    planning = {"other_sprayer": "12 min"}
    assert between(HILL, old, planning=planning) == 12 * MINUTE
    fields = tables()["fields"]
    fields["hill"]["products"], fields["creek_side"]["products"] = ["one"], ["another"]
    farm = build({**tables(), "planning": planning, "fields": fields, "products": PRODUCTS})
    jobs = BetweenJobs(farm, tuple(fields))
    boom, one = jobs.state(*HILL), jobs.state(*old)
    jobs.state("old_boom", "creek_side", "old_coarse")
    # It may have been left with the other product in it: that counts as if it were.
    assert jobs.change_s[boom, one] == (12 + 30) * MINUTE


def test_tips_that_are_not_known_cost_nothing() -> None:
    assert between(("boom", "hill", ""), HILL, **sprayers()) == 0.0
