"""SenML resolution against the examples of RFC 8428 and its rules."""

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from watcher.sources.stations.bad_reading import BadReadingError
from watcher.sources.stations.senml import UNITS as SENML_UNITS
from watcher.sources.stations.senml import SenmlRecord, resolve
from watcher.units import Kind, convert

NOW = 1_781_272_800


def records(*pack: object) -> list[SenmlRecord]:
    return list(resolve(list(pack), now=NOW))


@pytest.fixture
def example(shared: Path) -> Callable[[int], object]:
    def read(number: int) -> object:
        return json.loads((shared / "feeds" / "senml" / f"ex{number}.json").read_text())

    return read


def test_base_fields_hold_until_they_change_as_in_the_rfcs_multiple_datapoints(example) -> None:
    """RFC 8428 section 5.1.3 and its resolved form in 5.1.4 (written out by hand)."""
    resolved = list(resolve(example(3), now=NOW))
    device = "urn:dev:ow:10e2073a0108006:"
    assert resolved[0] == SenmlRecord(device + "voltage", "V", 1276020076.001, 120.1)
    assert resolved[1] == SenmlRecord(device + "current", "A", 1276020071.001, 1.2)
    assert [(r.time, r.value) for r in resolved[2:]] == [
        (1276020072.001, 1.3),
        (1276020073.001, 1.4),
        (1276020074.001, 1.5),
        (1276020075.001, 1.6),
        (1276020076.001, 1.7),
    ]


def test_a_record_of_base_fields_only_is_for_those_that_follow() -> None:
    pack = records({"bn": "x:", "bu": "m/s"}, {"n": "a", "v": 1})
    assert pack == [SenmlRecord("x:a", "m/s", NOW, 1.0)]


def test_every_example_of_the_rfc_resolves(shared: Path) -> None:
    folder = shared / "feeds" / "senml"
    counts = {
        path.stem: len(list(resolve(json.loads(path.read_text()), now=NOW)))
        for path in folder.glob("ex*.json")
    }
    assert counts | {"ex1": 1, "ex3": 7, "ex6": 4, "ex8": 2, "ex9": 3, "ex13": 4} == counts


@pytest.mark.parametrize(
    ("time", "epoch"),
    [(0, NOW), (-60, NOW - 60), (2**28 - 1, NOW + 2**28 - 1), (2**28, 2**28), (1.5e9, 1.5e9)],
)
def test_times_below_two_to_the_28_are_relative_to_now(time: float, epoch: float) -> None:
    assert records({"n": "a", "v": 1, "t": time})[0].time == epoch


def test_a_record_without_any_time_is_of_now() -> None:
    assert records({"n": "a", "v": 1})[0].time == NOW


def test_a_base_value_is_added() -> None:
    assert [r.value for r in records({"n": "a", "bv": 20, "v": 1}, {"n": "a", "v": 2})] == [21, 22]


def test_a_later_base_name_replaces_the_earlier_one() -> None:
    pack = records({"bn": "x:", "n": "a", "v": 1}, {"bn": "y:", "n": "a", "v": 1})
    assert [r.name for r in pack] == ["x:a", "y:a"]


def test_unknown_fields_are_passed_over_unless_they_end_in_an_underscore() -> None:
    assert records({"n": "a", "v": 1, "extra": {}})[0].value == 1
    with pytest.raises(BadReadingError, match="extra_"):
        records({"n": "a", "v": 1, "extra_": {}})


@pytest.mark.parametrize("value", [{"vs": "on"}, {"vb": True}, {"vd": "AAA"}, {"s": 12.5}])
def test_a_record_without_a_number_has_no_value(value: dict[str, object]) -> None:
    assert records({"n": "a"} | value)[0].value is None


@pytest.mark.parametrize(
    "record",
    [
        {"v": 1},
        {"n": "-a", "v": 1},
        {"n": "wind speed", "v": 1},
        {"n": "a"},
        {"n": "a", "v": 1, "vs": "x"},
        {"n": "a", "v": "1"},
        {"n": "a", "v": True},
        {"n": "a", "v": None},
        {"n": "a", "v": 10**400},
        {"n": "a", "v": 1e308, "bv": 1e308},
        {"n": "a", "v": 1, "t": "now"},
        {"n": "a", "v": 1, "bver": 11},
        {"n": 5, "v": 1},
        {"n": "a", "v": 1, "u": None},
        "a",
        None,
    ],
    ids=str,
)
def test_a_broken_record_refuses_the_pack(record: object) -> None:
    with pytest.raises(BadReadingError, match="record 1"):
        records({"n": "a", "v": 1}, record)


@pytest.mark.parametrize("pack", [{}, {"n": "a", "v": 1}, "x", None, 3])
def test_a_pack_is_a_list(pack: object) -> None:
    with pytest.raises(BadReadingError, match="list"):
        list(resolve(pack, now=NOW))


@pytest.mark.parametrize(
    ("unit", "number", "kind", "inside"),
    [
        ("Cel", 19.5, Kind.TEMPERATURE, 19.5),
        ("K", 293.15, Kind.TEMPERATURE, 20.0),
        ("%RH", 61, Kind.PERCENT, 61),
        ("%", 0.61, Kind.PERCENT, 61),  # RFC 8428: a ratio, "NOT a percentage"
        ("/", 0.61, Kind.PERCENT, 61),
        ("/100", 61, Kind.PERCENT, 61),
        ("km/h", 36, Kind.SPEED, 10),
        ("hPa", 1013.25, Kind.PRESSURE, 101325),
        ("rad", 3.141592653589793, Kind.ANGLE, 180),
    ],
)
def test_senml_units_mean_what_the_rfcs_say(unit, number, kind, inside) -> None:
    assert convert(number, SENML_UNITS[unit], kind) == pytest.approx(inside)
