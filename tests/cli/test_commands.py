"""The commands of a day: check, now, why, sources, jobs, export; and what bad input is told."""

import json
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import Result

from watcher.alerts.wording.words import CAUTION

Command = Callable[..., Result]


def said(done: Result) -> str:
    """What is printed, as one line of words, however the terminal broke it."""
    return " ".join(done.output.replace("│", " ").split())


def test_now_ranks_the_fields_and_carries_the_caution(command: Command) -> None:
    done = command("now")
    assert done.exit_code == 0, done.output
    assert "Spray now" in done.output
    assert CAUTION in done.output


def test_now_says_why_the_others_must_wait(command: Command) -> None:
    # Its only setup gives up more weed control than a weedy field stands.
    assert "river_terrace, unsuitable" in said(command("now"))


def test_why_lists_every_limit_with_its_bound_and_origin(command: Command) -> None:
    done = command("why", "hill_forty")
    assert done.exit_code == 0, done.output
    assert "wind 5 mph, bound 3 (label)" in done.output or "bound 10 (label)" in done.output
    assert CAUTION in done.output


def test_why_of_an_unknown_field_names_those_there_are(command: Command) -> None:
    done = command("why", "hill_fourty")
    assert done.exit_code == 2
    assert "hill_forty" in done.output


def test_why_of_an_unknown_setup_names_those_there_are(command: Command) -> None:
    done = command("why", "hill_forty", "--setup", "fan")
    assert done.exit_code == 2
    assert "fan_15" in done.output


def test_sources_tell_their_age_and_the_forecasts_credit(command: Command) -> None:
    done = command("sources")
    assert "forecast: invented" in done.output


def test_check_of_the_example_farm_is_in_order(command: Command) -> None:
    done = command("check")
    assert done.exit_code == 0
    assert "All in order" in done.output


def test_check_of_a_bad_farm_names_file_key_and_mend_and_exits_2(
    command: Command, example_path: Path, tmp_path: Path
) -> None:
    bad = tmp_path / "farm.toml"
    told = example_path.read_text(encoding="utf-8")
    bad.write_text(told.replace('boom_width = "90 ft"', "boom_width = 90", 1), encoding="utf-8")
    (tmp_path / "fields.geojson").write_bytes((example_path.parent / "fields.geojson").read_bytes())
    done = command("check", str(bad))
    assert done.exit_code == 2
    assert f"{bad}: sprayers.high_boom.boom_width" in said(done)
    assert "no unit" in said(done)


def test_the_schema_is_json(command: Command) -> None:
    assert json.loads(command("schema").output)["properties"]["fields"]


def test_a_job_is_started_listed_and_finished(command: Command) -> None:
    started = command("job", "start", "hill_forty", "--setup", "fan_15")
    assert started.exit_code == 0, started.output
    assert "Job 1 on hill_forty with fan_15: started" in started.output
    assert "running" in command("job", "list").output
    assert "finished" in command("job", "finish", "1").output
    assert "No job is open." in command("job", "list").output


def test_a_second_job_on_the_same_field_is_refused_and_nothing_is_lost(command: Command) -> None:
    command("job", "start", "hill_forty", "--setup", "fan_15")
    again = command("job", "start", "hill_forty", "--setup", "fan_15")
    assert again.exit_code == 2
    assert "hill_forty" in again.output
    assert "running" in command("job", "list").output


def test_a_finished_job_takes_its_field_out_of_the_ranking(command: Command) -> None:
    command("job", "start", "hill_forty", "--setup", "fan_15")
    command("job", "finish", "1")
    assert "Done: hill_forty." in command("now").output


def test_readings_are_exported_with_units_in_the_header(command: Command, tmp_path: Path) -> None:
    out = tmp_path / "readings.csv"
    done = command(
        "log",
        "export",
        "--from",
        "2026-06-10",
        "--to",
        "2026-06-11",
        "--source",
        "yard",
        "-o",
        str(out),
    )
    assert done.exit_code == 0, done.output
    header, *rows = out.read_text(encoding="utf-8").splitlines()
    assert "(m/s)" in header
    assert len(rows) == 30


@pytest.mark.parametrize(
    ("arguments", "mend"),
    [
        (("--from", "last week", "--to", "2026-06-11"), "2026-06-01"),
        (("--from", "2026-06-11", "--to", "2026-06-10"), "swap them"),
        (("--from", "2026-06-10", "--to", "2026-06-11", "--source", "roof"), "yard"),
    ],
)
def test_a_bad_export_says_what_to_write(
    command: Command, arguments: tuple[str, ...], mend: str
) -> None:
    done = command("log", "export", *arguments)
    assert done.exit_code == 2
    assert mend in done.output


def test_a_test_message_to_nobody_names_who_can_be_reached(command: Command) -> None:
    done = command("test-alert", "nobody")
    assert done.exit_code == 2
    assert "nobody" in done.output
