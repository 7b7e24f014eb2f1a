"""``watcher season --plan`` on simulated days: what is printed, and what is no season."""

import re
from pathlib import Path

import pytest
import typer

from tests.support.new_log import new_log
from tests.support.simulated_season import at, farm, keep
from watcher.cli.season_plan import show
from watcher.store.database import Database

BOTH = {"hill": 8, "creek_side": 14}


@pytest.fixture
def log(tmp_path: Path):
    log = new_log(tmp_path / "watch.db")
    yield log
    log.close()


def shown(log: Database, days: int, **more: list[int]) -> None:
    with log.reading() as session:
        show(session, farm(), at(0, 0), at(days, 0), **more)


def test_each_day_is_told_and_what_they_come_to(log: Database, capsys) -> None:
    keep(log, {0: BOTH}, {0: BOTH, 1: BOTH})
    shown(log, 2)
    said = " ".join(capsys.readouterr().out.replace("│", " ").split())
    begun = "08:00 hill with boom, finished; 14:00 creek_side with boom, finished"
    plan = begun.replace("08:00", r"0[89]:\d\d").replace("14:00", r"1[45]:\d\d")
    assert re.search(f"2026-06-10 the plan of the morning: {plan}", said)
    assert f"the ranking sends who is free: {begun} knowing what came: {begun}" in said
    assert "Fields over the days compared: 1" in said
    assert re.search(r"the ranking\D* 2 0 0 2\.15 0", said)
    assert "Days left out, without a forecast of their morning in the log: 1" in said
    assert "Guidance only." in said


@pytest.mark.parametrize(
    ("foretold", "silent", "months", "why"),
    [
        ({}, (), [], "the log holds no forecast of any morning of that time"),
        ({0: BOTH}, (0,), [], "the log holds no readings of the wind"),
        ({0: BOTH}, (), [5], "no whole day with its morning lies in that time"),
    ],
)
def test_what_is_no_season_is_one_clear_error(
    log: Database, capsys, foretold, silent, months, why
) -> None:
    keep(log, foretold, {0: BOTH}, silent)
    with pytest.raises(typer.Exit) as stopped:
        shown(log, 1, months=months)
    assert stopped.value.exit_code == 2
    assert why in " ".join(capsys.readouterr().err.split())
