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


@pytest.mark.parametrize(("lines", "key", "wrong", "mend"), SLIPS)
def test_a_slip_in_a_way_is_one_problem_with_key_and_mend(
    farm: Any, lines: str, key: str, wrong: str, mend: str
) -> None:
    problem = farm.add(WAY.format(lines)).problem()
    assert str(problem.key) == key
    assert wrong in str(problem.wrong)
    assert mend in str(problem.mend)


def test_a_driver_is_read(farm: Any) -> None:
    told = 'sprayers = ["boom"]\nhours = { start = 06:00:00, end = 17:30:00 }'
    driver = load(farm.add(DRIVER.format(told)).write()).config.drivers["driver"]
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


def test_a_sprayer_that_nobody_drives_is_told(farm: Any) -> None:
    other = farm.text[farm.text.index("[sprayers.boom]") : farm.text.index("[setups.fan]")]
    other = other.replace("[sprayers.boom]", "[sprayers.spare]")
    problem = farm.add("\n" + other + DRIVER.format('sprayers = ["boom"]')).problem()
    assert problem.key == "sprayers.spare"
    assert "nobody under [drivers] drives it" in str(problem.wrong)
