"""The farm in config/: it loads, it explains every key, and it holds the cases of the judgement."""

import json
import re
import shutil
from collections.abc import Iterator
from enum import Enum
from pathlib import Path
from typing import Annotated, Any, get_args

import pytest
from pydantic import BaseModel, TypeAdapter

from watcher.farm import Farm
from watcher.farm.geometry.bearings import reach, side
from watcher.farm.load import load
from watcher.farm.models import FarmFile, Susceptibility, WeedPressure
from watcher.farm.source_entry import SourceEntry
from watcher.farm.stations import ModbusStation, MqttStation, NmeaStation


def _models(annotation: Any) -> set[type[BaseModel]]:
    """Every model a type is made of, however deep."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        inner = [field.annotation for field in annotation.model_fields.values()]
        return {annotation}.union(*map(_models, inner))
    return set().union(*map(_models, get_args(annotation)))


def _words(annotation: Any) -> set[str]:
    """Every word that a type allows as a value."""
    if isinstance(annotation, type) and issubclass(annotation, Enum):
        return {getattr(member, "words", member.value) for member in annotation}
    literals = {arg for arg in get_args(annotation) if isinstance(arg, str)}
    return literals.union(*map(_words, get_args(annotation)))


KEYS = sorted({key for model in _models(FarmFile) for key in model.model_fields})
WORDS = sorted(
    {
        word
        for model in _models(FarmFile)
        for key, field in model.model_fields.items()
        if key != "nozzle_size"
        for word in _words(field.annotation)
    }
)


@pytest.fixture(scope="module")
def text(example_path: Path) -> str:
    return example_path.read_text(encoding="utf-8")


@pytest.mark.parametrize("key", KEYS)
def test_every_key_is_in_the_file_or_its_comments(text: str, key: str) -> None:
    set_here = rf"\b{key} ="
    table_here = rf"^(# )?\[\[?(\w+\.)*{key}[.\]]"
    explained_here = rf"^#   {key}  "
    assert re.search(f"{set_here}|{table_here}|{explained_here}", text, re.MULTILINE)


@pytest.mark.parametrize("word", WORDS)
def test_every_word_a_key_takes_is_in_the_file_or_its_comments(text: str, word: str) -> None:
    assert re.search(rf"\b{re.escape(word)}\b", text)


@pytest.mark.parametrize("table", ["planning", "alerts"])
def test_the_defaults_shown_of_a_table_are_the_defaults(example_farm: Farm, table: str) -> None:
    default = FarmFile.model_fields[table].default
    for key in type(default).model_fields.keys() - {"ways"}:
        assert getattr(getattr(example_farm.config, table), key) == getattr(default, key), key


def test_the_defaults_shown_are_the_defaults(example_farm: Farm) -> None:
    config = example_farm.config
    default = FarmFile.model_fields["judging"].default
    for key in type(default).model_fields.keys() - {"reach"}:
        assert getattr(config.judging, key) == pytest.approx(getattr(default, key))
    assert config.judging.reach == pytest.approx(default.reach, rel=0.01)


def test_it_is_marked_as_invented(text: str, example_path: Path) -> None:
    assert "INVENTED" in text
    assert "Invented" in example_path.with_name("fields.geojson").read_text(encoding="utf-8")


def test_it_has_fields_neighbours_and_setups_enough(example_farm: Farm) -> None:
    config = example_farm.config
    assert len(config.fields) >= 8
    assert len(config.neighbours) >= 5
    assert len(config.setups) >= 3
    assert {plan.weeds for plan in config.fields.values()} == set(WeedPressure)
    assert {n.susceptibility for n in config.neighbours.values()} == set(Susceptibility)


@pytest.mark.parametrize(
    ("field", "weeds", "north"),
    [
        ("west_bottom", WeedPressure.WEEDY, None),
        ("hill_forty", WeedPressure.WEEDY, "soybeans"),
        ("long_eighty", WeedPressure.CLEAN, None),
        ("creek_field", WeedPressure.CLEAN, "soybeans"),
    ],
)
def test_it_holds_the_four_fields_of_the_worked_cases(
    example_farm: Farm, field: str, weeds: WeedPressure, north: str | None
) -> None:
    config, ground = example_farm.config, example_farm.ground
    assert config.fields[field].weeds is weeds
    pairs = reach(ground, config.judging.reach)
    names = list(config.fields), list(config.neighbours)
    beside = [
        names[1][n]
        for f, n in zip(pairs.pair_field, pairs.pair_neighbour, strict=True)
        if names[0][f] == field
    ]
    assert beside == ([north] if north else [])
    if north:
        assert side(ground.fields[field], ground.neighbours[north]) == "N"
        assert config.neighbours[north].susceptibility is Susceptibility.SUSCEPTIBLE


METRIC = {
    'units = "us"': 'units = "metric"',
    "3 mph": "4.828032 km/h",
    "10 mph": "16.09344 km/h",
    "15 mph": "24.14016 km/h",
    "90 ft": "27.432 m",
    "15 gal/acre": "140.30934342 L/ha",
    "1000 gal": "3785.411784 L",
    "58 psi": "3.999 bar",
    "50 degF": "10 degC",
    '"90 degF"': '"32.2222222 degC"',
}


def test_the_same_farm_in_metric_units_is_the_same_farm(
    tmp_path: Path, text: str, example_path: Path, example_farm: Farm
) -> None:
    for us, metric in METRIC.items():
        assert us in text
        text = text.replace(us, metric)
    (tmp_path / "farm.toml").write_text(text, encoding="utf-8")
    shutil.copy(example_path.with_name("fields.geojson"), tmp_path)
    metric_farm, us_farm = load(tmp_path / "farm.toml").config, example_farm.config
    assert metric_farm.farm.units == "metric"
    for name, window in us_farm.windows.items():
        assert metric_farm.windows[name].wind.low == pytest.approx(window.wind.low)
        assert metric_farm.windows[name].wind.high == pytest.approx(window.wind.high)
    for name, setup in us_farm.setups.items():
        assert metric_farm.setups[name].carrier == pytest.approx(setup.carrier)
    assert metric_farm.sprayers["high_boom"].boom_width == pytest.approx(27.432)


def _stated_defaults(text: str) -> Iterator[tuple[str, str, str]]:
    """Yield kind of source, key and default of every line of a source that states one."""
    source, kind = False, ""
    for whole in text.splitlines():
        line = whole.removeprefix("# ")
        if line.startswith("["):
            source, kind = line.startswith("[sources."), ""
        if found := re.match(r'kind = "(\w+)"', line):
            kind = found[1]
        found = re.match(r"(\w+) = .*# .*\bdefault ([^;,(]+?)(?:[;,] .*)?$", line)
        if found and source and kind:
            yield kind, found[1], found[2].strip()


def test_the_defaults_stated_of_sources_are_theirs(text: str) -> None:
    kinds = {
        get_args(model.model_fields["kind"].annotation)[0]: model
        for model in _models(FarmFile)
        if issubclass(model, SourceEntry) and "kind" in model.model_fields
    }
    seen = 0
    for kind, key, stated in _stated_defaults(text):
        field = kinds[kind].model_fields[key]
        if not re.match(r'"[^"]+"$|[\d.]+( [a-z]+)?$|true$|false$', stated):
            continue  # in words
        if field.default is None:
            continue  # given by what reads it
        value: Any = stated if " " in stated and '"' not in stated else json.loads(stated)
        adapter: TypeAdapter[Any] = TypeAdapter(Annotated[field.annotation, *field.metadata, None])
        assert adapter.validate_python(value) == field.default, (kind, key, stated)
        seen += 1
    assert seen >= 20


@pytest.mark.parametrize(
    ("model", "key", "default"),
    [
        (ModbusStation, "port", 502),  # registered with IANA as mbap
        (NmeaStation, "baud", 4800),  # NMEA 0183's own speed
        (MqttStation, "port", None),  # 1883, with TLS 8883, both registered with IANA
    ],
)
def test_a_protocols_own_number_is_the_default(model: Any, key: str, default: Any) -> None:
    assert model.model_fields[key].default == default
