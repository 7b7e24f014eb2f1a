"""``watcher explain`` on the example farm."""

import time
from pathlib import Path
from typing import Any

import pytest


@pytest.fixture
def watcher(command: Any) -> Any:
    return lambda *arguments: command("explain", *arguments)


def test_a_field_is_explained_with_the_setup_that_is_recommended(watcher: Any) -> None:
    done = watcher("creek_field")
    assert done.exit_code == 0, done.output
    first, *rest = done.output.splitlines()
    assert " creek field with " in first
    assert ", 11:00: " in first
    for heading in ("Weather", "Limits", "Drift", "Stability", "Setups", "This setup", "End rows"):
        assert heading in rest
    assert "soybeans to the N" in done.output
    assert rest[-1].startswith("Guidance only.")


def test_another_setup_may_be_asked_about(watcher: Any) -> None:
    done = watcher("creek_field", "--setup", "fan_15")
    assert "creek field with fan 15" in done.output


def test_an_hour_of_the_forecast_may_be_asked_about(watcher: Any) -> None:
    done = watcher("creek_field", "--at", "18:00")
    assert ", 18:00: " in done.output
    assert "from W, gusts" in done.output


@pytest.mark.parametrize("at", ["2026-06-11T10:00", "2026-06-11T15:00Z"])
def test_a_date_and_time_is_read_on_the_farms_clock_or_with_its_own_offset(
    watcher: Any, at: str
) -> None:
    assert ", tomorrow 10:00: " in watcher("creek_field", "--at", at).output


def test_a_chart_is_drawn_where_it_is_asked_for(watcher: Any, tmp_path: Path) -> None:
    done = watcher("pivot", "--plot", str(tmp_path / "pivot.svg"))
    assert done.exit_code == 0, done.output
    assert "Drawn in" in done.output
    assert "vineyard" in (tmp_path / "pivot.svg").read_text()


@pytest.mark.parametrize(
    ("arguments", "answer"),
    [
        (("nowhere",), "no field 'nowhere'; the farm file has west_bottom, "),
        (("pivot", "--setup", "fan_15"), "it may be with coarse_15, coarse_7"),
        (("pivot", "--setup", "nothing"), "not sprayed with a setup 'nothing'; it may be"),
        (("pivot", "--at", "noon"), "is no time; write"),
        (("pivot", "--at", "2026-07-01T10:00"), "is outside what is looked at"),
        (("pivot", "--at", "2026-06-01T10:00"), "is outside what is looked at"),
        (("pivot", "--plot", "pivot.pdf"), "neither .png nor .svg"),
    ],
)
def test_what_cannot_be_answered_is_said_with_its_mend(
    watcher: Any, arguments: tuple[str, ...], answer: str
) -> None:
    done = watcher(*arguments)
    assert done.exit_code == 2
    assert answer in done.output


def test_stale_readings_are_never_called_suitable(
    watcher: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    now = time.time()
    monkeypatch.setattr(time, "time", lambda: now + 7200)
    done = watcher("creek_field")
    assert ": unknown" in done.output.splitlines()[0]
    assert "Wind at the boom unknown" in done.output
