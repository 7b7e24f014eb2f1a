"""Estimates of lost control as they are written in the farm file."""

from typing import Any

import pytest

from watcher.farm.control_loss import LossOf
from watcher.farm.load import load

TABLE = """
[judging.loss_by_mode."{of}"]
much_water = {much}
little_water = ["5 %", "30 %"]
"""


@pytest.mark.parametrize("of", list(LossOf))
def test_every_estimate_may_be_written(farm: Any, of: LossOf) -> None:
    loaded = load(farm.add(TABLE.format(of=of.value, much='["1 %", "2 %"]')).write())
    assert loaded.config.judging.loss_by_mode[of].much_water == (1.0, 2.0)


def test_a_low_estimate_over_the_high_one_is_told(farm: Any) -> None:
    problem = farm.add(TABLE.format(of="contact herbicide", much='["8 %", "2 %"]')).problem()
    assert problem.key == 'judging.loss_by_mode."contact herbicide".much_water'
    assert "low estimate is over the high one" in problem.wrong


@pytest.mark.parametrize(
    ("of", "much"),
    [("contact weedkiller", '["1 %", "2 %"]'), ("contact herbicide", '["1 %", "120 %"]')],
)
def test_what_is_no_estimate_is_told(farm: Any, of: str, much: str) -> None:
    assert "loss_by_mode" in str(farm.add(TABLE.format(of=of, much=much)).problem().key)


def test_one_figure_twice_is_an_estimate(farm: Any) -> None:
    load(farm.add(TABLE.format(of="contact herbicide", much='["2 %", "2 %"]')).write())
