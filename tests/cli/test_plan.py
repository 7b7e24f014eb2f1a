"""``watcher plan``: a day of one forecast, so that chances are mostly general experience."""

import re
from collections.abc import Callable

import pytest
from click.testing import Result

Command = Callable[..., Result]
CAUTION = "Guidance only."


@pytest.fixture
def planned(command: Command, monkeypatch: pytest.MonkeyPatch) -> Callable[..., str]:
    monkeypatch.setenv("COLUMNS", "200")

    def run(*more: str) -> str:
        done = command("plan", *more)
        assert done.exit_code == 0, done.output
        return " ".join(done.output.replace("│", " ").split())

    return run


def steps(said: str) -> list[str]:
    """The fields that are planned, in their order."""
    return re.findall(r"\d\d:\d\d (?:\w+ )?\d\d:\d\d (\w+) \w+ \d in 10", said)


def test_each_sprayer_has_its_steps_and_what_is_left_out_has_a_reason(planned) -> None:
    said = planned()
    assert "high_boom" in said
    assert steps(said)
    assert "hill_forty no hour in which it is likely enough to hold" in said
    assert "chances mostly general experience." in said
    assert CAUTION in said


def test_a_field_left_out_is_not_planned(planned) -> None:
    first = steps(planned())[0]
    said = planned("--without", first)
    assert first not in steps(said)
    assert f"{first} left out by what you asked for" in said


def test_a_field_that_cannot_be_first_is_one_clear_refusal(command: Command) -> None:
    done = command("plan", "--first", "hill_forty")
    assert done.exit_code == 2
    assert "hill forty cannot be first" in done.output


def test_first_says_what_it_loses_against_the_best_order(planned) -> None:
    first = steps(planned())[0]
    assert "Against the best order: nothing lost." in planned("--first", first)


@pytest.mark.parametrize(
    ("wish", "said"),
    [
        (("--home-by", "noon"), "--home-by noon: write a time of the day as 17:00."),
        (("--first", "mars"), "no field 'mars'; the farm file has"),
        (("--only", "pivot=boat"), "no sprayer 'boat'; the farm file has high_boom"),
        (("--first", "pivot", "--without", "pivot"), "pivot cannot be first and left out."),
    ],
)
def test_a_wish_that_cannot_be_meant_is_refused(command, wish: tuple[str, ...], said: str) -> None:
    done = command("plan", *wish)
    assert done.exit_code == 2
    assert said in " ".join(done.output.split())


def test_nothing_runs_when_everybody_is_to_be_home(planned) -> None:
    assert steps(planned("--home-by", "11:30")) == []
