"""The machine's clock jumps by an hour or a day, and back, at every moment of a story."""

import random
from pathlib import Path

import pytest

from tests.faults.invariants import Span
from tests.support.laboratory import SEED, Bench, Tally, find
from tests.support.story import ENDS_S, Experiment

HOUR_S, DAY_S = 3600.0, 86_400.0
BACK_AFTER_S = 50.0


def jumps(*, phone_fails: bool = False) -> list[Experiment]:
    """A jump and the way back, at every ten seconds of the story."""
    return [
        Experiment(
            f"{by:+.0f} s from {at} s to {at + BACK_AFTER_S:.0f} s"
            + (", the phone fails" if phone_fails else ""),
            # Whatever is due before or meanwhile waits until the clock is right again.
            phone_fails=Span(at - 20.0, at + BACK_AFTER_S) if phone_fails else None,
            jumps=((at, by), (at + BACK_AFTER_S, -by)),
        )
        for at in range(15, round(ENDS_S - BACK_AFTER_S), 20)
        for by in (HOUR_S, -HOUR_S, DAY_S, -DAY_S)
    ]


@pytest.mark.parametrize("phone_fails", [False, True], ids=["", "the phone fails"])
def test_a_jump_of_the_clock(phone_fails: bool, template: Path, tmp_path: Path, tally: Tally):
    drawn = random.Random(f"{SEED} jumps").sample(jumps(phone_fails=phone_fails), 2)
    tally.add("clock jumps", [find(each, template, tmp_path / "story") for each in drawn])


@pytest.mark.laboratory
@pytest.mark.parametrize("phone_fails", [False, True], ids=["", "the phone fails"])
def test_many_jumps_of_the_clock(phone_fails: bool, workbench: Bench, tally: Tally):
    """Some of all, other ones with a phone that fails: there is time for so many."""
    all_of_them = jumps(phone_fails=phone_fails)
    drawn = random.Random(f"{SEED} many jumps {phone_fails}").sample(all_of_them, 28)
    tally.add("clock jumps", workbench.all(drawn))
