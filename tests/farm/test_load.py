"""Loading: what is read, and every slip told with file, key, value and mend."""

from pathlib import Path
from typing import Any

import pytest

from watcher.farm.load import FarmFileError, load
from watcher.farm.models import DropletClass


def test_a_good_farm_loads_in_si(farm: Any) -> None:
    loaded = load(farm.write())
    assert loaded.config.windows["contact"].wind.high == pytest.approx(4.4704)
    assert loaded.config.setups["fan"].droplets is DropletClass.FINE
    assert loaded.config.fields["south"].setups == ("coarse",)
    assert set(loaded.ground.fields) == {"north", "south"}
    assert set(loaded.ground.neighbours) == {"orchard"}
    assert loaded.zone.key == "America/Chicago"


def test_a_missing_file_is_told(tmp_path: Path) -> None:
    with pytest.raises(FarmFileError, match=r"nowhere\.toml: cannot be read"):
        load(tmp_path / "nowhere.toml")


def test_a_file_that_is_not_text_is_told(tmp_path: Path) -> None:
    file = tmp_path / "farm.toml"
    file.write_bytes(b'name = "\xff"')
    with pytest.raises(FarmFileError, match="not UTF-8"):
        load(file)


def test_a_byte_order_mark_does_no_harm(farm: Any) -> None:
    farm.write()
    farm.file.write_text(farm.text, encoding="utf-8-sig")
    load(farm.file)


@pytest.mark.parametrize(
    ("was", "now", "place"),
    [
        ('units = "us"', "units = us", "line 5, column 9"),
        ('name = "Test', "name = Test", "line 3, column 8"),
        ("[fields.south]", "[fields.north]", "line 42"),
    ],
)
def test_a_slip_in_the_toml_is_told_with_line_and_column(
    farm: Any, was: str, now: str, place: str
) -> None:
    problem = farm.edit(was, now).problem()
    assert problem.key.startswith(place)
    assert "not TOML" in problem.wrong


SLIPS = [
    # what was written, what is written now, the key and value told, and words of the mend
    ('carrier = "15 gal/acre"', "carrier = 15", "setups.fan.carrier = 15", "15 gal/acre"),
    ('"15 gal/acre"', '"15 in"', 'setups.fan.carrier = "15 in"', "gal/acre or L/ha"),
    ('speed = "6 mph"', 'speed = "6 mpg"', 'sprayers.boom.speed = "6 mpg"', "mph or km/h"),
    ('"90 ft"', '"900 ft"', 'sprayers.boom.boom_width = "900 ft"', "number and its unit"),
    ('tank = "1000 gal"\n', "", "sprayers.boom.tank", "what the tank holds"),
    ("tank =", 'tnak = "1 gal"\ntank =', "sprayers.boom.tnak", 'did you mean "tank"?'),
    ('"fine"', '"fien"', 'setups.fan.droplets = "fien"', 'did you mean "fine"?'),
    ('"flat fan"', '"fan"', 'setups.fan.nozzle = "fan"', "choices: flat fan, pre-orifice"),
    ('"weedy"', '"many"', 'fields.north.weeds = "many"', "clean, moderate, weedy"),
    ('"open_meteo"', '"opn_meteo"', 'sources.forecast.kind = "opn_meteo"', '"open_meteo"?'),
    ('kind = "push"', 'every = "9 s"', "sources.yard.kind", "one of nws, met_norway"),
    ('kind = "push"', 'kind = "push"\nintervall = "9 s"', "sources.yard.intervall", '"interval"?'),
    ("2026-06-18", '"2026-06-18"', 'fields.south.latest = "2026-06-18"', "without quotes"),
    ("2026-06-18", "20260618", "fields.south.latest = 20260618", "without quotes"),
    ("21:30:00", "2130", "recipients.grower.quiet_hours.start = 2130", "without quotes"),
    ('["coarse"]', '"coarse"', 'fields.south.setups = "coarse"', "write a list"),
    ("[fields.north]", '[fields."north forty"]', 'fields."north forty"', "letters, digits"),
    ('crop = "corn"', 'crop = ""', 'fields.north.crop = ""', "write something"),
    ('crop = "corn"', "crop = 7", "fields.north.crop = 7", "in quotes"),
    ("[farm]", "[judging]\nmargin = 2\n[farm]", "judging.margin = 2", "check the number"),
    ("[farm]", '[judging]\nmargin = "0.1"\n[farm]', 'judging.margin = "0.1"', "without quotes"),
    ("[farm]", "[judging]\nmargn = 0.1\n[farm]", "judging.margn", 'did you mean "margin"?'),
    ("[farm]", "[judgement]\n[farm]", "judgement", 'did you mean "judging"?'),
    ('wind = { low = "3 mph"', 'wind = { low = "3"', 'windows.contact.wind.low = "3"', "10 mph"),
    ('wind = { low = "3 mph"', 'wind = { lo = "3 mph"', "windows.contact.wind.lo", '"low"?'),
    ("wind = {", 'wind = "10 mph"\ndelta_t = {', 'windows.contact.wind = "10 mph"', "a table"),
    ('sprayer = "boom"', 'sprayer = "boon"', 'setups.fan.sprayer = "boon"', '"boom"?'),
    ('window = "contact"', 'window = "contat"', 'fields.north.window = "contat"', '"contact"?'),
    ('["coarse"]', '["coarse", "fun"]', 'fields.south.setups = "fun"', 'did you mean "fan"?'),
    ('nozzle_size = "03"', 'nozzle_size = "3"', 'setups.coarse.nozzle_size = "3"', "choices"),
]


@pytest.mark.parametrize(("was", "now", "key", "mend"), SLIPS, ids=[s[2] for s in SLIPS])
def test_a_slip_is_told_with_its_key_and_mend(
    farm: Any, was: str, now: str, key: str, mend: str
) -> None:
    problems = farm.edit(was, now).problems()
    mends = [p.mend for p in problems if p.key == key]
    assert any(mend in found for found in mends)
    assert all(p.file == farm.file for p in problems if p.key == key)


def test_everything_wrong_is_told_at_once(farm: Any) -> None:
    farm.edit('carrier = "15 gal/acre"', "carrier = 15")
    farm.edit('window = "contact"', 'window = "contat"')
    farm.edit("America/Chicago", "America/Denver")
    farm.edit('temperature = { low = "50 degF"', 'temperature = { low = "95 degF"')
    farm.draw("orchard", [[[0, 0], [1, 0], [0, 0]]])
    text = "\n".join(map(str, farm.problems()))
    for key in ("setups.fan.carrier", "north.window", "time_zone", "contact.temperature"):
        assert key in text
    assert 'feature "orchard"' in text


def test_a_slip_in_an_entry_does_not_hide_an_unknown_name_in_it(farm: Any) -> None:
    farm.edit('weeds = "weedy"\nwindow = "contact"', 'weeds = "many"\nwindow = "contat"')
    assert {p.key.partition(" ")[0] for p in farm.problems()} == {
        "fields.north.weeds",
        "fields.north.window",
    }


def test_a_slip_in_a_window_is_not_told_again_for_every_field(farm: Any) -> None:
    assert farm.edit('"10 mph"', '"10 mpg"').problem().key == 'windows.contact.wind.high = "10 mpg"'


@pytest.mark.parametrize("table", ["sprayers", "setups", "windows", "fields", "sources"])
def test_a_table_that_must_hold_something_is_told(farm: Any, table: str) -> None:
    head, _, tail = farm.text.partition(f"[{table}.")
    rest = tail.split("\n[")
    others = [part for part in rest[1:] if not part.startswith(f"{table}.")]
    farm.text = f"{table} = {{}}\n" + head + "\n[".join(["", *others])
    assert f"{table}: is empty" in "\n".join(map(str, farm.problems()))


def test_without_a_farm_table_the_rest_is_still_checked(farm: Any) -> None:
    farm.edit('[farm]\nname = "Test farm (invented)"\n', "[frm]\n")
    farm.edit('"15 gal/acre"', '"15 psi"')
    keys = {p.key for p in farm.problems()}
    assert {"farm", "frm", 'setups.fan.carrier = "15 psi"'} <= keys


def test_a_name_may_not_be_both_field_and_neighbour(farm: Any) -> None:
    farm.edit("[neighbours.orchard]", "[neighbours.south]")
    assert "a field has the same name" in str(farm.problems())


def test_the_text_of_the_error_is_one_paragraph_a_problem(farm: Any) -> None:
    farm.edit('carrier = "15 gal/acre"', "carrier = 15").edit('"weedy"', '"many"')
    with pytest.raises(FarmFileError) as caught:
        load(farm.write())
    lines = str(caught.value).splitlines()
    assert len(lines) == 4
    assert all(str(farm.file) in line for line in lines[::2])
    assert all(line.startswith("    ") for line in lines[1::2])
