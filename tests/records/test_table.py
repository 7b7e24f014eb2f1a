"""The CSV export: one line a value, readable by another program."""

import csv
import io

import pytest

from watcher.messages.words import CAUTION
from watcher.records import commands, journal
from watcher.records.table import HEAD, write_table


@pytest.fixture
def lines(desk, job) -> list[dict[str, str]]:
    """The record of the job, closed and corrected, as its lines."""
    desk.tell(job, note='=HYPERLINK("x")', operator="-5")
    desk.close(job)
    desk.correct(job, "mistyped", certificate="0001")
    text = io.StringIO(newline="")
    with desk.store.reading() as session:
        write_table([commands.record_of(session, job)], journal.head(session), text)
    return list(csv.DictReader(io.StringIO(text.getvalue(), newline="")))


def one(lines: list[dict[str, str]], **where: str) -> dict[str, str]:
    names = {"clock": "farm's clock", "utc": "UTC"}
    found = [line for line in lines if all(line[names.get(k, k)] == v for k, v in where.items())]
    assert len(found) == 1, found
    return found[0]


def test_every_line_has_every_column(lines) -> None:
    assert all(tuple(line) == HEAD for line in lines)
    assert len(lines) > 100


def test_values_carry_their_unit_and_who_told_them(lines) -> None:
    speed = one(lines, part="with what", name="speed")
    assert (float(speed["value"]), speed["unit"]) == (pytest.approx(5.36448), "m/s")  # 12 mph
    assert speed["told by"] == "farm file"


def test_weather_is_there_for_every_mark_in_both_clocks(lines) -> None:
    winds = [line for line in lines if (line["part"], line["name"]) == ("weather", "wind")]
    assert [(w["farm's clock"], w["UTC"]) for w in winds] == [
        ("2026-06-10T11:00:00-05:00", "2026-06-10 16:00Z"),
        ("2026-06-10T11:30:00-05:00", "2026-06-10 16:30Z"),
        ("2026-06-10T12:00:00-05:00", "2026-06-10 17:00Z"),
        ("2026-06-10T12:15:00-05:00", "2026-06-10 17:15Z"),
    ]
    assert {(float(w["value"]), w["unit"], w["told by"]) for w in winds} == {(2.5, "m/s", "mast")}


def test_a_limit_carries_its_value_with_its_unit(lines) -> None:
    at_start = {"part": "limit's value", "UTC": "2026-06-10 16:00Z"}
    found = [line for line in lines if all(line[k] == v for k, v in at_start.items())]
    (delta_t,) = (line for line in found if line["name"] == "Delta T")
    (weather,) = (
        line
        for line in lines
        if (line["part"], line["name"]) == ("weather", "Delta T") and line["UTC"] == delta_t["UTC"]
    )
    assert (delta_t["value"], delta_t["unit"]) == (weather["value"], "K")
    assert {"wind", "gust"} <= {line["name"] for line in found}


def test_a_correction_shows_what_was_and_why(lines) -> None:
    was = one(lines, part="correction", name="certificate or licence number, was")
    why = one(lines, part="correction", name="certificate or licence number, why")
    assert (was["value"], why["value"]) == ("0000", "mistyped")


def test_text_a_spreadsheet_would_run_is_made_harmless(lines) -> None:
    assert one(lines, part="noted by hand", name="note")["value"] == '\'=HYPERLINK("x")'
    assert one(lines, name="who drove, if not the applicator")["value"] == "'-5"


def test_caution_and_head_are_in_it(desk, lines) -> None:
    assert one(lines, part="caution")["value"] == str(CAUTION)
    with desk.store.reading() as session:
        assert one(lines, part="chain", name="head")["value"] == journal.head(session).hash
