"""Ways between fields and drivers as they are written in the farm file."""

from typing import Any

import pytest

from watcher.farm.load import load

WAY = "\n[[planning.ways]]\n{}\n"
NORTH_SOUTH = 'between = ["north", "south"]'
DRIVER = "\n[drivers.driver]\n{}\n"


def test_a_way_is_read_in_si(farm: Any) -> None:
    one = WAY.format(f'{NORTH_SOUTH}\ntakes = "25 min"')
    [way] = load(farm.add(one).write()).config.planning.ways
    assert (way.between, way.takes, way.distance) == (("north", "south"), 1500.0, None)


def test_a_road_is_read_in_si(farm: Any) -> None:
    one = WAY.format(f'{NORTH_SOUTH}\ndistance = "6 mi"')
    [way] = load(farm.add(one).write()).config.planning.ways
    assert way.distance == pytest.approx(9656.064)


SLIPS = [
    (f"{NORTH_SOUTH}", "planning.ways (item 1)", "either how long it takes", "not both"),
    (
        f'{NORTH_SOUTH}\ntakes = "25 min"\ndistance = "6 mi"',
        "planning.ways (item 1)",
        "either how long it takes",
        "not both",
    ),
    (
        'between = ["north", "nort"]\ntakes = "25 min"',
        'planning.ways (item 1).between = "nort"',
        "no [fields.nort]",
        'did you mean "north"?',
    ),
    (
        'between = ["north", "north"]\ntakes = "25 min"',
        "planning.ways (item 1).between",
        "not between two fields",
        "write two",
    ),
    (
        'between = ["north"]\ntakes = "25 min"',
        "planning.ways (item 1).between",
        "not between two fields",
        "write two",
    ),
    (
        f'{NORTH_SOUTH}\ntakes = "25 min"\n[[planning.ways]]\n'
        'between = ["south", "north"]\ntakes = "20 min"',
        "planning.ways (item 2).between",
        "given already",
        "keep one",
    ),
    (f"{NORTH_SOUTH}\ntakes = 25", "planning.ways (item 1).takes = 25", "unit", "h"),
    (
        f'{NORTH_SOUTH}\ntakes = "25 mi"',
        'planning.ways (item 1).takes = "25 mi"',
        "does not fit",
        "4 h",
    ),
    (
        f'{NORTH_SOUTH}\ndistance = "10 ft"',
        "planning.ways (item 1).distance",
        "apart in a straight line",
        "check the number and its unit",
    ),
]


# North and south lie 0.001 degrees of latitude apart: 111.05 m at 41.5 N (WGS 84).
@pytest.mark.parametrize(("road", "noticed"), [("105 m", True), ("106 m", False), ("200 m", False)])
def test_a_road_five_per_cent_short_is_a_rounded_number(
    farm: Any, road: str, noticed: bool
) -> None:
    farm.add(WAY.format(f'{NORTH_SOUTH}\ndistance = "{road}"'))
    if noticed:
        assert farm.problem().key == "planning.ways (item 1).distance"
    else:
        load(farm.write())


@pytest.mark.parametrize(
    "between", ['["north", "nort"]', '["north", "south", "south"]', '["north"]']
)
def test_a_road_to_nowhere_is_told_once(farm: Any, between: str) -> None:
    problem = farm.add(WAY.format(f'between = {between}\ndistance = "10 ft"')).problem()
    assert problem.key.startswith("planning.ways (item 1).between")


@pytest.mark.parametrize(("lines", "key", "wrong", "mend"), SLIPS)
def test_a_slip_in_a_way_is_one_problem_with_key_and_mend(
    farm: Any, lines: str, key: str, wrong: str, mend: str
) -> None:
    problem = farm.add(WAY.format(lines)).problem()
    assert str(problem.key) == key
    assert wrong in str(problem.wrong)
    assert mend in str(problem.mend)


def test_a_driver_is_read(farm: Any) -> None:
    found = 'sprayers = ["boom"]\nhours = { start = 06:00:00, end = 17:30:00 }'
    driver = load(farm.add(DRIVER.format(found)).write()).config.drivers["driver"]
    assert driver.sprayers == ("boom",)
    assert driver.hours is not None
    assert (driver.hours.start.hour, driver.hours.end.minute) == (6, 30)


@pytest.mark.parametrize(
    ("lines", "key", "wrong"),
    [
        ('sprayers = ["bom"]', 'drivers.driver.sprayers = "bom"', "no [sprayers.bom]"),
        (
            "hours = { start = 06:00:00, end = 06:00:00 }",
            "drivers.driver.hours",
            "start and end are the same",
        ),
        ('hours = { start = "6", end = 17:00:00 }', 'drivers.driver.hours.start = "6"', "time"),
    ],
)
def test_a_slip_in_a_driver_is_one_problem(farm: Any, lines: str, key: str, wrong: str) -> None:
    problem = farm.add(DRIVER.format(lines)).problem()
    assert str(problem.key) == key
    assert wrong in str(problem.wrong)


def test_two_roads_of_one_farm_are_taken(farm: Any) -> None:
    both = WAY.format(f'{NORTH_SOUTH}\ntakes = "5 min"')
    farm.add(both.replace('"south"', '"west"') + both)
    farm.add('\n[fields.west]\ncrop = "corn"\nweeds = "clean"\nwindow = "contact"\n')
    farm.shapes["features"].append(dict(farm.feature("north"), id="west"))
    load(farm.draw("west", farm.square(-0.006, 0)).write())


def test_a_driver_of_no_sprayer_by_name_drives_all(farm: Any) -> None:
    load(farm.add(DRIVER.format("sprayers = []")).write())


def test_a_sprayer_that_nobody_drives_is_told(farm: Any) -> None:
    other = farm.text[farm.text.index("[sprayers.boom]") : farm.text.index("[setups.fan]")]
    other = other.replace("[sprayers.boom]", "[sprayers.spare]")
    problem = farm.add("\n" + other + DRIVER.format('sprayers = ["boom"]')).problem()
    assert problem.key == "sprayers.spare"
    assert "nobody under [drivers] drives it" in str(problem.wrong)
