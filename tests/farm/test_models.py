"""What stands where the farm file says nothing, as config/farm.toml tells, and what is believed."""

from datetime import date, time
from typing import Any

import pytest
from pydantic import BaseModel, TypeAdapter, ValidationError

from watcher.farm.base import Share, Words
from watcher.farm.droplets import DropletClass
from watcher.farm.feeds import MetNorway, OpenMeteo, Polite, UsWeatherService
from watcher.farm.models import (
    Alerting,
    Bounds,
    Brief,
    FieldPlan,
    Neighbour,
    Recipient,
    Sprayer,
    Window,
)
from watcher.farm.origin import Origin
from watcher.farm.planning import Clock, Way
from watcher.farm.products import EppoCode, Product
from watcher.farm.rules.base import Day
from watcher.farm.rules.equipment import BulletinRule
from watcher.farm.rules.weather import DayHighRule, Height, RainAmount
from watcher.farm.schema import json_schema
from watcher.farm.source_entry import Latitude, Longitude, SensorHeight, SilentAfter
from watcher.farm.sprayer_kind import SprayerKind
from watcher.farm.stations import (
    Column,
    CsvStation,
    DatedStation,
    MetarStation,
    ModbusStation,
    MqttStation,
    NmeaStation,
    Number,
    Port,
    PushStation,
    Register,
    SensorthingsStation,
    SunspecStation,
)

SPRAYER = {
    "boom_width": "90 ft",
    "boom_height": "20 in",
    "speed": "6 mph",
    "tank": "1000 gal",
    "field_efficiency": "65 %",
    "fill_time": "20 min",
}
FIELD = {"crop": "corn", "weeds": "weedy", "window": "contact"}
NEIGHBOUR = {"grows": "apples", "susceptibility": "susceptible"}
PRODUCT = {"name": "A (invented)", "registration": "0-0"}
PUSH = {"kind": "push"}
MQTT = {"kind": "mqtt", "host": "broker.example", "topic": "farm"}
MODBUS = {"kind": "modbus", "host": "192.0.2.10", "registers": {}}
SUNSPEC = {"kind": "sunspec", "host": "192.0.2.10"}
CSV = {"kind": "csv", "files": "/srv/*.csv", "time": "time", "quantities": {}}
METAR = {"kind": "metar", "station": "KXYZ", "file": "/srv/kxyz.txt"}
THINGS = {"kind": "sensorthings", "url": "https://sta.example/v1.1", "quantities": {}}
NMEA = {"kind": "nmea", "address": "/dev/ttyUSB0"}
NWS, MET, OPEN = {"kind": "nws"}, {"kind": "met_norway"}, {"kind": "open_meteo"}

DEFAULTS: list[tuple[type[BaseModel], dict[str, Any], dict[str, Any]]] = [
    (Sprayer, SPRAYER, {"nozzle_spacing": "20 in", "tips_turned_in": "5 min", "kind": "boom"}),
    (FieldPlan, FIELD, {"canopy": "0.12 m", "done_for": "7 d", "may_be_split": False}),
    (FieldPlan, FIELD, {"left_out": False, "target": "mixed"}),
    (Neighbour, NEIGHBOUR, {"no_spray_distance": "0 ft"}),
    (Recipient, {}, {"backup_after": "5 min", "most_an_hour": 6, "form": "push"}),
    (Alerting, {}, {"warn": "normal", "all_clear_after": "10 min", "again_after": "30 min"}),
    (Brief, {}, {"morning": time(5, 30)}),
    (Product, PRODUCT, {"stage_bound": False}),
    (BulletinRule, {"kind": "bulletin"}, {"good_for_days": 183}),
    (
        DayHighRule,
        {"kind": "day high", "high": "85 degF"},
        {"inclusive": True, "whole_degrees": False, "day": "same day"},
    ),
    (OpenMeteo, OPEN, {"every": "30 min", "silent_after": "3 h", "estimate_gusts": False}),
    (OpenMeteo, OPEN, {"direction_inside": "9 deg", "wind_uncertainty": "0 m/s"}),
    (
        OpenMeteo,
        OPEN,
        {"heights": {"wind": "10 m", "temperature": "2 m", "canopy": "0.12 m"}},
    ),
    (MetNorway, MET, {"every": "30 min", "silent_after": "3 h"}),
    (UsWeatherService, NWS, {"every": "15 min", "silent_after": "90 min"}),
    (PushStation, PUSH, {"interval": "60 s", "silent_after": "15 min", "clock_ahead": "0 s"}),
    (MqttStation, MQTT, {"tls": False, "interval": "60 s", "version": "3.1.1"}),
    (ModbusStation, MODBUS, {"port": 502, "device": 1, "every": "2 s", "interval": "60 s"}),
    (ModbusStation, MODBUS, {"gusts_from_samples": False, "wind_spread_over": "ten minutes"}),
    (Register, {"address": 7, "unit": "m/s"}, {"scale": 1.0, "offset": 0.0, "type": "int16"}),
    (SunspecStation, SUNSPEC, {"wind_uncertainty": "0.5 m/s"}),
    (CsvStation, CSV, {"every": "60 s", "interval": "60 s", "whole_files": False}),
    (CsvStation, CSV, {"header_rows": 1, "names_row": 1, "encoding": "utf-8"}),
    (MetarStation, METAR, {"every": "10 min", "silent_after": "90 min"}),
    (SensorthingsStation, THINGS, {"every": "5 min"}),
    (NmeaStation, NMEA, {"baud": 4800, "interval": "60 s"}),
]


@pytest.mark.parametrize(("model", "needed", "expected"), DEFAULTS)
def test_what_is_left_out_is_as_the_farm_file_tells(
    model: type[BaseModel], needed: dict[str, Any], expected: dict[str, Any]
) -> None:
    said, left_out = model.model_validate(needed | expected), model.model_validate(needed)
    for key in expected:
        assert getattr(left_out, key) == pytest.approx(getattr(said, key)), key


BELIEVED: list[tuple[Any, list[Any], list[Any]]] = [
    (Port, [1, 65_535], [0, 65_536, 502.0, "502"]),
    (Number, [0.1, -5, 1e300], ["1", float("inf"), float("nan")]),
    (Column, ["mean_wind", 1, 12], [0, 1.0, "", 1.5]),
    (Latitude, [-90, 0.0, 90], [-90.1, 90.1, "41.5"]),
    (Longitude, [-180, 0.0, 180], [-180.1, 180.1, "-96.5"]),
    (SensorHeight, ["0.2 m", "300 m"], ["0.19 m", "301 m", 10]),
    (SilentAfter, ["60 s", "12 h"], ["59 s", "12.1 h"]),
    (Polite, ["5 min", "24 h"], ["299 s", "24.1 h"]),
    (Height, ["0.2 m", "50 m"], ["0.19 m", "50.1 m"]),
    (RainAmount, ["0 mm", "0.5 mm", "500 mm"], ["501 mm"]),
    (Share, [0, 0.5, 1], [-0.01, 1.01, "0.5"]),
    (Words, ["x", "x" * 200], ["", "x" * 201]),
    (Day, [date(2026, 6, 1)], ["2026-06-01"]),
    (Clock, [time(5, 30)], ["05:30", 5]),
    (EppoCode, ["ZEAMX", "LAPHFR", "1TRZG", "1LAPHG"], ["ZEAM", "LAPHFRU", "zeamx", "1LAPHFR"]),
    (DatedStation, [], [{"silent_after": "15 min", "clock_ahead": "25 h"}]),
    (Way, [{"between": [], "takes": "8 h"}], [{"between": [], "takes": "8.1 h"}]),
]


@pytest.mark.parametrize(("of", "good", "bad"), BELIEVED)
def test_what_is_believed_ends_at_its_bounds(of: Any, good: list[Any], bad: list[Any]) -> None:
    adapter: TypeAdapter[Any] = TypeAdapter(of)
    for value in good:
        adapter.validate_python(value)
    for value in bad:
        with pytest.raises(ValidationError):
            adapter.validate_python(value)


def test_one_column_of_the_time_may_stand_alone() -> None:
    def times(written: Any) -> tuple[str | int, ...]:
        return CsvStation.model_validate(CSV | {"time": written}).time

    assert (times("time"), times(3), times(["day", 2])) == (("time",), (3,), ("day", 2))


def test_what_was_read_changes_no_more_and_has_no_other_keys() -> None:
    neighbour = Neighbour.model_validate(NEIGHBOUR)
    with pytest.raises(ValidationError):
        neighbour.grows = "pears"
    with pytest.raises(ValidationError):
        Neighbour.model_validate(NEIGHBOUR | {"grown": "pears"})


def test_a_key_s_help_is_what_is_written_below_it() -> None:
    field = FieldPlan.model_fields["crop"]
    assert field.description == "What grows here, in the grower's words."


def test_a_sprayer_turns_the_tips_it_carries_and_changes_others_by_hand() -> None:
    sprayer = Sprayer.model_validate(SPRAYER | {"tips": ["fan"], "tips_turned_in": "2 min"})
    assert (sprayer.tips_changed_in("fan"), sprayer.tips_changed_in("coarse")) == (120.0, 1800.0)


@pytest.mark.parametrize(
    ("expected", "low", "high"),
    [
        ({}, Origin.OWN, Origin.OWN),
        ({"origin": "law"}, Origin.LAW, Origin.LAW),
        ({"origin": "law", "low_origin": "label"}, Origin.LABEL, Origin.LAW),
    ],
)
def test_each_bound_comes_from_where_the_file_says(
    expected: dict[str, str], low: Origin, high: Origin
) -> None:
    bounds = Bounds[float].model_validate({"low": 1.0, "high": 2.0} | expected)
    assert (bounds.origin_of("low"), bounds.origin_of("high")) == (low, high)


@pytest.mark.parametrize(
    ("expected", "susceptible", "very"),
    [
        ({}, Origin.DEFAULT, Origin.DEFAULT),
        ({"susceptible": "never"}, Origin.OWN, Origin.DEFAULT),
        ({"very_susceptible": "never"}, Origin.DEFAULT, Origin.OWN),
        ({"origin": "label"}, Origin.LABEL, Origin.LABEL),
    ],
)
def test_what_a_window_does_not_say_of_neighbours_is_ours(
    expected: dict[str, str], susceptible: Origin, very: Origin
) -> None:
    rule = Window.model_validate({"neighbours": expected}).neighbours
    assert rule.origin_of("susceptible") is susceptible
    assert rule.origin_of("very_susceptible") is very


def test_the_bounds_of_a_quantity_have_its_name_in_the_schema() -> None:
    titles = {part.get("title") for part in json_schema()["$defs"].values()}
    assert {"SpeedBounds", "TemperatureBounds", "TemperatureStepBounds"} <= titles


def test_droplet_classes_run_from_the_finest_to_the_coarsest() -> None:
    """ASABE S572 and ISO 25358, in their order; each is one coarser than the one before."""
    assert [c.words for c in sorted(DropletClass)] == [
        "extremely fine",
        "very fine",
        "fine",
        "medium",
        "coarse",
        "very coarse",
        "extremely coarse",
        "ultra coarse",
    ]
    assert [int(c) for c in DropletClass] == list(range(8))


@pytest.mark.parametrize("value", ["Fine", "finest", 2, None, ["fine"]])
def test_what_is_no_droplet_class_is_refused(value: Any) -> None:
    with pytest.raises(ValidationError):
        Window.model_validate({"droplets": {"low": value}})


@pytest.mark.parametrize(
    ("kind", "boom"),
    [("boom", True), ("hooded boom", True), ("hand-held", False), ("air-blast", False)],
)
def test_drift_is_estimated_for_what_has_a_boom(kind: str, boom: bool) -> None:
    assert SprayerKind(kind).has_boom is boom
    assert Sprayer.model_validate(SPRAYER | {"kind": kind}).kind is SprayerKind(kind)


@pytest.mark.parametrize("kind", [5, "plane", " DRONE "])
def test_what_is_no_ground_sprayer_is_refused(kind: Any) -> None:
    with pytest.raises(ValidationError):
        Sprayer.model_validate(SPRAYER | {"kind": kind})


def test_a_key_of_the_file_is_the_grower_s_and_what_is_left_out_is_ours() -> None:
    plan = FieldPlan.model_validate(FIELD | {"canopy": "0.12 m"})
    assert Origin.of_key(plan, "canopy") is Origin.OWN
    assert Origin.of_key(plan, "done_for") is Origin.DEFAULT
