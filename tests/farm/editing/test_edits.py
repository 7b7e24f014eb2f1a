"""Edits of the farm's files: only what is named changes, comments stay, nothing odd is written."""

import json
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


RULES = ("products", "a", "rules")
SMALL = """# A small farm (invented).
[farm]
name = "Small"

[products.a]
rules = [{ kind = "wind", high = "10 mph" }, { kind = "rain now", most = "8 mm/h" }]

[sources.feed]
kind = "mapped_json"
url = "https://feed.example/a"
every = "30 min"

[recipients.grower]
form = "sms"
# What comes last.
"""


def small(farm: str = SMALL, fields: str = "") -> FarmTexts:
    return FarmTexts(Path("farm.toml"), farm, Path("fields.geojson"), fields)


def rules_after(edit: Edit) -> list[Any]:
    found: list[Any] = values(edited(small(), [edit]))["products"]["a"]["rules"]
    return [rule.get("high", rule.get("most")) for rule in found]


@pytest.mark.parametrize(
    ("edit", "rules"),
    [
        (SetValue((*RULES, 0), {"kind": "wind", "high": "9 mph"}), ["9 mph", "8 mm/h"]),
        (SetValue((*RULES, 1), {"kind": "wind", "high": "9 mph"}), ["10 mph", "9 mph"]),
        (SetValue((*RULES, 2), {"kind": "wind", "high": "9 mph"}), ["10 mph", "8 mm/h", "9 mph"]),
        (SetValue((*RULES, 0, "high"), "9 mph"), ["9 mph", "8 mm/h"]),
        (Remove((*RULES, 0)), ["8 mm/h"]),
        (Remove((*RULES, 1)), ["10 mph"]),
        (Remove((*RULES, 2)), ["10 mph", "8 mm/h"]),
        (Remove((*RULES, -1)), ["10 mph", "8 mm/h"]),
        (Remove((*RULES, "kind")), ["10 mph", "8 mm/h"]),
        (Remove((*RULES, 1, "most")), ["10 mph", None]),
        (Remove(("farm", "name", 0)), ["10 mph", "8 mm/h"]),
    ],
)
def test_an_item_of_a_list_is_put_changed_or_taken_out(edit: Edit, rules: list[Any]) -> None:
    assert rules_after(edit) == rules


@pytest.mark.parametrize(
    ("at", "value", "lines"),
    [
        (("drivers", "joe", "sprayers"), ["boom"], ["[drivers.joe]", 'sprayers = ["boom"]']),
        (("drivers", "joe"), {"sprayers": ["boom"]}, ["[drivers.joe]", 'sprayers = ["boom"]']),
        (
            ("drivers", "joe", "hours", "start"),
            time(6),
            ["[drivers.joe]", "hours = {start = 06:00:00}"],
        ),
        (
            ("drivers", "joe"),
            {"hours": {"start": time(6)}},
            ["[drivers.joe]", "hours = {start = 06:00:00}"],
        ),
        (("brief",), {"morning": time(6)}, ["[brief]", "morning = 06:00:00"]),
        (("brief", "morning"), time(6), ["[brief]", "morning = 06:00:00"]),
        (("sources", "feed", "every"), "45 min", ['every = "45 min"']),
    ],
)
def test_entries_are_written_under_headers_and_what_they_hold_on_one_line(
    at: tuple[str, ...], value: Any, lines: list[str]
) -> None:
    new = [line for line in lines_other(small(), edited(small(), [SetValue(at, value)])) if line]
    assert new == lines


def test_comments_below_the_last_entry_stay_when_it_goes() -> None:
    after = edited(small(), [Remove(("recipients", "grower"))])
    assert after.farm.endswith("# What comes last.\n")
    assert "recipients" not in values(after)


def test_comments_above_what_comes_next_stay_and_none_comes_twice() -> None:
    part = "[a.x]\nk = 1\n# about b\n[b]\n# inside b\nk = 2\n"
    after = edited(small(part), [Remove(("a", "x"))])
    assert after.farm == "# about b\n[b]\n# inside b\nk = 2\n"
    torn = small(part + "[a.y]\nk = 3\n")  # a table in two places
    assert edited(torn, [Remove(("a",))]).farm == "[b]\n# inside b\nk = 2\n"


def test_a_place_is_at_most_twelve_steps_deep() -> None:
    at = ("farm", *"abcdefghijk")
    assert len(at) == 12
    assert "k" in edited(small(), [SetValue(at, 1)]).farm


def test_a_refusal_names_the_place_without_what_is_empty() -> None:
    with pytest.raises(FarmFileError) as refused:
        edited(small(), [SetValue(("fields", "", "crop"), 1)])
    assert [str(p.key) for p in refused.value.problems] == ["fields.crop"]


def patched(before: dict[str, Any], patch: dict[str, Any]) -> list[Edit]:
    return list(of_merge_patch(before, patch))


def test_a_patch_of_what_is_not_there_is_its_value_without_nulls() -> None:
    """RFC 7396, section 2."""
    before = {"a": {"b": 1}, "c": 2}
    assert patched(before, {"new": {"x": None, "y": {"z": None}}}) == [
        SetValue(("new",), {"y": {}})
    ]
    assert patched(before, {"c": {"x": 1}}) == [SetValue(("c",), {"x": 1})]
    assert patched(before, {"a": 5}) == [SetValue(("a",), 5)]
    assert patched(before, {"a": {"b": None, "d": 3}}) == [
        Remove(("a", "b")),
        SetValue(("a", "d"), 3),
    ]


BOX = {"type": "Polygon", "coordinates": [[[0, 0], [1, 0], [1, 1], [0, 0]]]}


def test_a_first_boundary_begins_the_collection() -> None:
    found = json.loads(edited(small(), [SetBoundary("hill", "field", BOX)]).fields)
    assert found == {
        "type": "FeatureCollection",
        "features": [
            {"type": "Feature", "id": "hill", "properties": {"role": "field"}, "geometry": BOX}
        ],
    }


def test_of_a_collection_all_else_stays_as_it_was() -> None:
    features = [
        {"type": "Feature", "id": 7, "properties": {"soil": "loam"}, "geometry": None},
        "no feature",
        {"type": "Feature", "id": "ñu", "properties": None, "geometry": BOX, "more": 1},
    ]
    whole = {"type": "FeatureCollection", "name": "Añil", "features": features}
    before = small(fields=json.dumps(whole))
    drawn = edited(before, [SetBoundary("7", "neighbour", BOX)])
    expected = {"type": "Feature", "id": 7, "geometry": BOX}
    expected |= {"properties": {"soil": "loam", "role": "neighbour"}}
    assert json.loads(drawn.fields) == whole | {"features": [expected, *features[1:]]}
    assert '"name": "Añil"' in drawn.fields
    assert '"id": "ñu"' in drawn.fields
    gone = edited(before, [RemoveBoundary("7")])
    assert json.loads(gone.fields) == whole | {"features": features[1:]}


def test_of_two_boundaries_with_one_name_the_first_is_drawn_anew() -> None:
    twice = {"features": [{"id": "hill", "geometry": None}, {"id": "hill", "geometry": None}]}
    found = edited(small(fields=json.dumps(twice)), [SetBoundary("hill", "field", BOX)])
    assert [f["geometry"] for f in json.loads(found.fields)["features"]] == [BOX, None]


@pytest.mark.parametrize("fields", ["{", "[]", "{}", '{"features": 5}'])
def test_boundaries_that_are_no_collection_are_left_alone(fields: str) -> None:
    with pytest.raises(FarmFileError, match="it is no collection of boundaries"):
        edited(small(fields=fields), [SetBoundary("hill", "field", BOX)])


def test_an_etag_changes_with_either_file() -> None:
    etags = {small().etag, small(fields="{}").etag, small(SMALL + "\n").etag}
    assert len(etags) == 3
    assert small().etag == small().etag


URL = ("sources", "feed", "url")


@pytest.mark.parametrize(
    ("edit", "taken"),
    [
        (SetValue(URL, "https://feed.example/a"), True),
        (SetValue(URL, "https://feed.example/b"), False),
        (SetValue(("sources", "feed", "base_url"), "https://feed.example/a"), False),
        (SetValue(("sources", "other"), {"url": "https://feed.example/a"}), False),
        (SetValue(("sources", "other"), {"deep": [1], "d": {"host": "h"}}), False),
        (SetValue(("sources", "file"), {"kind": "push"}), True),
        (SetValue(("farm", "url"), "x"), True),
        (Remove(("sources", "feed")), True),
        (Remove(URL), True),
    ],
)
def test_no_edit_makes_the_watch_ask_another_machine(edit: Edit, taken: bool) -> None:
    if taken:
        edited(small(), [edit])
        return
    with pytest.raises(FarmFileError, match="it is not changed over the network"):
        edited(small(), [edit])


@pytest.mark.parametrize("value", [None, object()])
def test_what_no_farm_file_can_hold_is_refused(value: Any) -> None:
    with pytest.raises(FarmFileError, match="is written in a form that cannot be changed"):
        edited(small(), [SetValue(("farm", "name"), value)])


@pytest.mark.parametrize(
    "at",
    [
        ("farm", "name", "x"),
        ("farm", "name", 0),
        ("farm", "name", 0, "x"),
        ("farm", 0),
        ("farm", 0, "x"),
        (*RULES, "x"),
        (*RULES, "x", "y"),
        (*RULES, -1),
        (*RULES, -1, "high"),
        (*RULES, 2, "high"),
        (*RULES, 3),
    ],
)
def test_a_place_that_is_none_is_refused(at: tuple[int | str, ...]) -> None:
    with pytest.raises(FarmFileError, match="there is no such place"):
        edited(small(), [SetValue(at, "9 mph")])


BROKEN: list[tuple[Edit, str]] = [
    (SetValue((0, "crop"), 1), "names no place in the farm file"),
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
