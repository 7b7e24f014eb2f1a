"""Edits of the farm's files: only what is named changes, comments stay, nothing odd is written."""

import tomllib
from datetime import date, time
from pathlib import Path
from typing import Any

import pytest

from watcher.farm.editing.difference import difference
from watcher.farm.editing.edits import (
    Edit,
    Remove,
    RemoveBoundary,
    SetBoundary,
    SetValue,
    edited,
    of_merge_patch,
)
from watcher.farm.editing.texts import FarmTexts
from watcher.farm.problems import FarmFileError


@pytest.fixture(scope="module")
def texts(example_path: Path) -> FarmTexts:
    return FarmTexts.of_files(example_path)


def values(texts: FarmTexts) -> dict[str, Any]:
    return tomllib.loads(texts.farm)


def lines_other(before: FarmTexts, after: FarmTexts) -> list[str]:
    old = before.farm.splitlines()
    return [line for line in after.farm.splitlines() if line not in old]


def test_a_value_changes_in_its_place_and_its_comment_stays(texts: FarmTexts) -> None:
    after = edited(texts, [SetValue(("fields", "west_bottom", "weeds"), "clean")])
    [line] = lines_other(texts, after)
    assert line.startswith('weeds = "clean"')
    assert line.endswith('# weed pressure: "clean", "moderate" or "weedy"')
    assert len(after.farm.splitlines()) == len(texts.farm.splitlines())
    assert after.fields == texts.fields


def test_dates_and_times_are_written_as_the_file_has_them(texts: FarmTexts) -> None:
    after = edited(
        texts,
        [
            SetValue(("fields", "hill_forty", "latest"), "2026-07-01"),
            SetValue(("recipients", "grower", "quiet_hours"), {"start": "22:00", "end": "06:00"}),
            SetValue(("products", "contact_a", "rules"), [{"kind": "dates", "last": "2026-08-01"}]),
        ],
    )
    found = values(after)
    assert found["fields"]["hill_forty"]["latest"] == date(2026, 7, 1)
    assert found["recipients"]["grower"]["quiet_hours"] == {"start": time(22), "end": time(6)}
    assert found["products"]["contact_a"]["rules"][0]["last"] == date(2026, 8, 1)
    after.load()


def test_what_is_no_date_is_left_for_the_check_to_refuse(texts: FarmTexts) -> None:
    after = edited(texts, [SetValue(("fields", "hill_forty", "latest"), "soon")])
    with pytest.raises(FarmFileError, match=r'hill_forty.latest = "soon": must be a date'):
        after.load()


def test_tables_that_are_not_there_are_made(texts: FarmTexts) -> None:
    after = edited(
        texts,
        [
            SetValue(("fields", "hill_forty", "limits", "wind", "high"), "7 mph"),
            SetValue(("recipients", "helper"), {"hears": ["job"], "form": "sms"}),
        ],
    )
    assert values(after)["fields"]["hill_forty"]["limits"] == {"wind": {"high": "7 mph"}}
    assert "[recipients.helper]" in after.farm
    assert after.load().config.recipients["helper"].form == "sms"


def test_lists_grow_by_one_past_their_end(texts: FarmTexts) -> None:
    at = ("products", "contact_a", "rules")
    after = edited(
        texts,
        [
            SetValue(at, [{"kind": "wind", "high": "10 mph"}]),
            SetValue((*at, 1), {"kind": "rain now", "most": "8 mm/h"}),
            SetValue((*at, 0, "high"), "9 mph"),
        ],
    )
    rules = values(after)["products"]["contact_a"]["rules"]
    assert [(r["kind"], r.get("high")) for r in rules] == [("wind", "9 mph"), ("rain now", None)]
    with pytest.raises(FarmFileError, match="there is no such place"):
        edited(after, [SetValue((*at, 3), {"kind": "wind"})])


def test_an_entry_goes_and_the_comments_below_it_stay(texts: FarmTexts) -> None:
    after = edited(texts, [Remove(("neighbours", "pasture")), RemoveBoundary("pasture")])
    assert "pasture" not in values(after)["neighbours"]
    gone = [line for line in texts.farm.splitlines() if line not in after.farm.splitlines()]
    assert gone == ["[neighbours.pasture]", 'grows = "grass and cattle"']
    after.load()


def test_the_last_entry_of_a_table_may_go(texts: FarmTexts) -> None:
    names = values(texts)["neighbours"]
    after = edited(
        texts, [edit for n in names for edit in (Remove(("neighbours", n)), RemoveBoundary(n))]
    )
    assert after.load().config.neighbours == {}
    again = SetValue(("neighbours", "new"), {"grows": "oats", "susceptibility": "tolerant"})
    assert list(values(edited(after, [again]))["neighbours"]) == ["new"]


def test_to_take_out_what_is_not_there_changes_nothing(texts: FarmTexts) -> None:
    assert edited(texts, [Remove(("fields", "nowhere", "latest"))]) == texts
    assert edited(texts, [RemoveBoundary("nowhere")]).load() == texts.load()


def test_a_boundary_is_drawn_anew_and_for_the_first_time(texts: FarmTexts) -> None:
    ring = [[-96.99, 41.60], [-96.98, 41.60], [-96.98, 41.61], [-96.99, 41.60]]
    shape = {"type": "Polygon", "coordinates": [ring]}
    entry = {"crop": "oats", "weeds": "clean", "window": "contact"}
    after = edited(
        texts, [SetValue(("fields", "new_piece"), entry), SetBoundary("new_piece", "field", shape)]
    )
    assert after.load().ground.area_m2("new_piece") == pytest.approx(463_000, rel=0.01)
    again = edited(after, [SetBoundary("new_piece", "field", shape)])
    assert again.fields.count("new_piece") == 1


BROKEN: list[tuple[Edit, str]] = [
    (SetValue((), 1), "names no place in the farm file"),
    (SetValue(("fields", "hill_forty", "crop", "x"), 1), "there is no such place"),
    (SetValue(("fields", 0), 1), "there is no such place"),
    (SetValue(("fields", "", "crop"), 1), "names no place in the farm file"),
    (SetValue(("a",) * 13, 1), "names no place in the farm file"),
    (SetValue(("farm", "fields_file"), "/etc/passwd"), "it is not changed over the network"),
    (Remove(("farm", "fields_file")), "it is not changed over the network"),
    (SetValue(("sources", "x", "files"), "/etc/passwd"), "it is not changed over the network"),
    (SetValue(("sources", "x"), {"file": "/etc/passwd"}), "it is not changed over the network"),
    (SetValue(("sources",), {"x": {"url": "http://x"}}), "it is not changed over the network"),
]


@pytest.mark.parametrize(("edit", "wrong"), BROKEN)
def test_an_edit_that_fits_nowhere_is_refused(texts: FarmTexts, edit: Edit, wrong: str) -> None:
    with pytest.raises(FarmFileError, match=wrong):
        edited(texts, [edit])


def test_a_merge_patch_is_edits(texts: FarmTexts) -> None:
    patch = {
        "fields": {"hill_forty": {"weeds": "clean", "latest": None}},
        "brief": {"evening": None},
    }
    after = edited(texts, of_merge_patch(values(texts), patch))
    assert [(c.at, c.before, c.after) for c in difference(texts, after)] == [
        (("brief", "evening"), "19:00:00", None),
        (("fields", "hill_forty", "weeds"), "weedy", "clean"),
        (("fields", "hill_forty", "latest"), "2026-06-18", None),
    ]
