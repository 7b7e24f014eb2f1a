"""Public laws by name: chosen or not there, dated, and as they are written."""

from typing import get_args

import pytest

from tests.support.worked_farm import farm_tables
from watcher.farm.field_rules import buffers_of, rules_of
from watcher.farm.models import FarmFile
from watcher.farm.origin import Origin
from watcher.farm.rules.buffers import Proven, required_m
from watcher.farm.rules.presets import PRESETS, READ_ON, PresetName


def farm(*presets: str) -> FarmFile:
    config = farm_tables()
    config["farm"]["presets"] = list(presets)
    return FarmFile.model_validate(config)


def test_none_holds_unless_it_is_chosen() -> None:
    assert rules_of(farm(), "C") == ()
    assert buffers_of(farm(), "C") == ()


@pytest.mark.parametrize("name", get_args(PresetName))
def test_each_says_whose_it_is_where_it_is_written_and_when_it_was_read(name: PresetName) -> None:
    preset = PRESETS[name]
    assert preset.read_on == READ_ON
    assert preset.rules or preset.buffers
    for rule in (*preset.rules, *preset.buffers):
        assert rule.origin in {Origin.NATIONAL_LAW, Origin.STATE_LAW}
        assert rule.jurisdiction
        assert rule.citation


def test_a_force_is_a_mean_at_ten_metres() -> None:
    wind, rain = (found.rule for found in rules_of(farm("FR wind and rain"), "C"))
    assert (wind.height, wind.gusts) == (10.0, "not counted")
    assert wind.high == pytest.approx(19 / 3.6)
    assert rain.most == 8.0


@pytest.mark.parametrize(
    ("name", "proven", "metres"),
    [
        ("FR water 20 m", Proven(), 20.0),
        ("FR water 20 m", Proven(measures={"approved nozzles"}), 20.0),
        ("FR water 20 m", Proven(measures={"approved nozzles", "5 m permanent cover"}), 5.0),
        ("FR residents low crops", Proven(measures={"charter", "approved nozzles"}), 3.0),
        ("DE water", Proven(), 10.0),
        ("DE water", Proven(measures={"5 m permanent cover"}), 5.0),
        ("NL water", Proven(drift_class_pct=90.0), 1.0),
        ("NL water", Proven(drift_class_pct=50.0), None),
        ("UK water category A", Proven(measures={"3 stars"}), 5.0),
    ],
)
def test_distances(name: str, proven: Proven, metres: float | None) -> None:
    (found,) = buffers_of(farm(name), "C")
    assert required_m(found.buffer, proven) == metres
