"""A source lies beside one that does not: the truth is told, and the lie never looks good."""

import random
from pathlib import Path

import pytest

from tests.support.laboratory import SEED, Bench, Tally, find
from tests.support.lies import FEED, MAST
from tests.support.story import Experiment, tell

FEED_LIES = [Experiment(f"feed: {lie}", feed=lie) for lie in FEED]
MAST_LIES = [Experiment(f"mast: {lie}", mast=lie) for lie in MAST]


def test_an_honest_feed_makes_hours_ahead_suitable(template_without_forecast: Path, tmp_path: Path):
    """Or else no lie would be found out by them."""
    honest = Experiment("honest", feed="")
    history = tell(honest, template_without_forecast, tmp_path / "story").history
    assert any(look.ahead for look in history.looks)


@pytest.mark.parametrize("lies", [FEED_LIES, MAST_LIES], ids=["feed", "mast"])
def test_a_few_lies(
    lies: list[Experiment], template_without_forecast: Path, tmp_path: Path, tally: Tally
):
    drawn = random.Random(f"{SEED} lies").sample(lies, 2)
    found = [find(each, template_without_forecast, tmp_path / "story") for each in drawn]
    tally.add("a source lies", found)


@pytest.mark.laboratory
@pytest.mark.parametrize("lies", [FEED_LIES, MAST_LIES], ids=["feed", "mast"])
def test_every_lie(
    lies: list[Experiment], workbench: Bench, template_without_forecast: Path, tally: Tally
):
    tally.add("a source lies", workbench.all(lies, template_without_forecast))
