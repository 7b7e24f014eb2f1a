"""A write, a commit, a send of a story fails: nothing due is lost for it."""

import random
from pathlib import Path

import pytest

from tests.support.laboratory import SEED, Bench, Tally, each_in_turn, find, nth, pairs
from tests.support.story import Experiment, tell

OCCASIONS = {"write": 100, "commit": 100, "begin": 100, "answer to a commit": 100, "send": 2}
"""About how many of each a story has: a few numbers beyond the last do no harm."""
MOST = 25
"""So many occasions of one kind are tried: the whole laboratory is to end within ten minutes."""
KINDS = pytest.mark.parametrize("kind", [*OCCASIONS, "connect"])


def test_the_undisturbed_story_is_told_as_it_should_be(
    template: Path, tmp_path: Path, tally: Tally
):
    finding = find(Experiment("undisturbed", two_hear=True), template, tmp_path / "story")
    tally.add("nothing broken", [finding])
    assert finding.verdict.due == 2


@KINDS
def test_one_of_a_kind_fails(kind: str, template: Path, tmp_path: Path, tally: Tally):
    number = random.Random(f"{SEED} {kind}").randint(1, OCCASIONS.get(kind, 4))
    finding = find(nth(kind, number), template, tmp_path / "story")
    tally.add(f"one {kind} fails", [finding])


def test_two_of_different_kinds_fail(template: Path, tmp_path: Path, tally: Tally):
    drawn = pairs(OCCASIONS, 3)
    tally.add("two fail", (find(each, template, tmp_path / "story") for each in drawn))


@pytest.mark.laboratory
@KINDS
def test_many_of_a_kind_fail_in_turn(
    kind: str, workbench: Bench, template: Path, tmp_path: Path, tally: Tally
):
    """As many as there is time for, drawn from all that a story has."""
    undisturbed = tell(nth(kind), template, tmp_path / "story")
    experiments = each_in_turn(kind, undisturbed.counts[kind], MOST)
    findings = workbench.all(experiments)
    # What fails changes how often the rest comes about: a few of the last may never come.
    assert sum(finding.struck > 0 for finding in findings) >= len(findings) * 0.8
    tally.add(f"one {kind} fails", findings)


@pytest.mark.laboratory
def test_many_pairs_of_different_kinds_fail(workbench: Bench, tally: Tally):
    tally.add("two fail", workbench.all(pairs(OCCASIONS, 30, seed=SEED + 1)))
