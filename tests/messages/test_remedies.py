"""Remedies in words: what to do, what it gains, what it costs."""

from typing import Any

import pytest

from tests.support.farms import build, tables
from watcher.i18n.language import ENGLISH, language
from watcher.judge.remedies import Change, ChangeKind, Remedy
from watcher.messages.reasons import Speaker
from watcher.messages.remedies import remedy_line, remedy_lines

NOW = 1_781_107_200  # 11:00 on the farm's clock
RETARDANT = {"kind": "other", "most": "8 fl oz/acre"}
PRODUCTS = {"agent": {"name": "Agent", "registration": "none", "retardant": RETARDANT}}
SPEAKER = Speaker(build(tables() | {"products": PRODUCTS}))
WHOLE = "inside the limits for all that is left"


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (Change(ChangeKind.TIPS, "fine", takes_s=300.0), "turn to the tips of fine"),
        (
            Change(ChangeKind.TIPS, "fine", takes_s=1800.0, by_hand=True),
            "change to the tips of fine by hand",
        ),
        (Change(ChangeKind.TIPS, "fine"), "use fine"),
        (Change(ChangeKind.BOOM, value=0.381), "lower the boom to 15 in"),
        (Change(ChangeKind.SLOWER, value=2.2352), "slow to 5.0 mph"),
        (
            Change(ChangeKind.RETARDANT, "agent"),
            "add agent, from a third to a half of 8 fl oz/acre, its label's maximum",
        ),
        (
            Change(ChangeKind.STRIPS, passes=1, neighbours=("orchard",)),
            "leave 1 pass beside orchard and spray the rest first",
        ),
        (Change(ChangeKind.FIELD, "hill"), "go to hill"),
    ],
)
def test_each_change_in_words(change: Change, words: str) -> None:
    remedy = Remedy((change,), NOW + 7200, whole=True)
    assert remedy_line(SPEAKER, remedy, NOW).render(ENGLISH) == f"{words}: {WHOLE}"
    assert remedy_line(SPEAKER, remedy, NOW).render(language("es")) != words


@pytest.mark.parametrize(
    ("whole", "how_far"), [(True, "for all that is left"), (False, "until 13:00")]
)
def test_a_wait_is_the_forecasts_word(whole: bool, how_far: str) -> None:
    wait = Remedy((Change(ChangeKind.WAIT, value=NOW + 3600.0),), NOW + 7200, whole=whole)
    said = remedy_line(SPEAKER, wait, NOW).render(ENGLISH)
    assert said == f"wait until 12:00: in the forecast inside the limits {how_far}"


def line(**config: Any) -> str:
    changes = (
        Change(ChangeKind.BOOM, value=0.381),
        Change(ChangeKind.STRIPS, passes=2, neighbours=("orchard",)),
    )
    given = {"changes": changes, "until": NOW + 5400, "whole": False} | config
    [text] = remedy_lines(SPEAKER, [Remedy(**given)], NOW)
    return text.render(ENGLISH)


def test_two_changes_with_all_they_gain_and_cost() -> None:
    said = line(drift_before=4.02, drift_after=0.9, loss_pct=5.2, takes_s=60.0, left_m2=20_000.0)
    assert said == (
        "Lower the boom to 15 in + leave 2 passes beside orchard and spray the rest first: "
        "inside the limits until 12:30; "
        "drift 4 down to 0.9 times what the neighbour stands; 5 points less control; "
        "takes about 1 min; 4.9 acre left unsprayed."
    )


def test_drift_that_nobody_minded_is_not_told() -> None:
    assert "drift" not in line(drift_before=0.4, drift_after=0.2)
