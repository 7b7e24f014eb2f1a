"""Killed with SIGKILL at any instant, under load: nothing lost, at most one repeat a kill."""

import random
from pathlib import Path

import pytest

from tests.support.alert_life import Life
from tests.support.killing import (
    assert_nothing_lost,
    live,
    nursery,
    undisturbed,
    unreliable_receiver,
)

PLACES = ("sent, not marked", "claimed, not sent", "remembered, not told", "told, not kept")


def _rounds(tmp_path: Path, rounds: int, minutes: int, seed: int) -> tuple[int, int, int]:
    """Kill so many lives one after the other, let the last one end; returns kills and the rest."""
    chances = random.Random(seed)
    wanted = undisturbed(tmp_path, minutes)
    path, kills = tmp_path / "watch.db", 0
    with unreliable_receiver(every=7) as (receiver, url), nursery() as process:
        for number in range(rounds):
            place = chances.choice((*PLACES, "random", "random"))
            life = Life(
                f"sqlite:///{path}",
                url,
                minutes,
                die=place,
                after_s=chances.uniform(0.05, 0.6),
                chance=chances.uniform(0.02, 0.4),
                seed=number,
            )
            kills += live(process, life) == "killed"
        assert live(process, Life(f"sqlite:///{path}", url, minutes)) == "exit 0"
        messages, repeats = assert_nothing_lost(path, receiver, wanted, kills)
    return kills, messages, repeats


@pytest.mark.parametrize(
    ("rounds", "minutes"), [(6, 65), pytest.param(20, 210, marks=pytest.mark.laboratory)]
)
def test_kills_lose_nothing(rounds: int, minutes: int, tmp_path: Path) -> None:
    kills, messages, repeats = _rounds(tmp_path, rounds=rounds, minutes=minutes, seed=1)
    assert kills >= 0.5 * rounds
    assert messages > 0.15 * minutes
    assert repeats <= 3 * kills


@pytest.mark.bench
def test_two_hundred_kills_lose_nothing(tmp_path: Path) -> None:
    kills, messages, repeats = _rounds(tmp_path, rounds=200, minutes=3000, seed=2)
    print(f"\n{kills} kills, {messages} messages, none lost, {repeats} repeated")
    assert kills >= 120
