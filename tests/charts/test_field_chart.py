"""A case drawn: what is in the picture, and why one cannot be."""

import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.support.compass_farm import beside, compass_farm
from tests.support.worked_farm import NOON_UTC, fair_weather, farm_tables
from watcher.charts.field import draw_field
from watcher.charts.style import CannotDrawError
from watcher.judge.judgement import judge
from watcher.limits.farm_arrays import FarmArrays
from watcher.messages.reasons import Speaker

PNG = b"\x89PNG\r\n\x1a\n"


def draw(file: Path, units: str = "us", neighbours: Any = None, **sky: Any) -> None:
    scene = {"vines": beside("N", 10.0), "beans": beside("S", 30.0)}
    farm = compass_farm(
        scene if neighbours is None else neighbours,
        tables={"farm": farm_tables()["farm"] | {"units": units}},
    )
    judgement = judge(FarmArrays.of(farm), fair_weather(**sky))
    draw_field(file, Speaker(farm), judgement, (0, 0, 0), NOON_UTC)


@pytest.fixture
def svg(tmp_path: Path) -> Any:
    def drawn(**changes: Any) -> str:
        file = tmp_path / "field.svg"
        draw(file, **changes)
        return file.read_text()

    return drawn


def test_a_png_is_a_png(tmp_path: Path) -> None:
    draw(tmp_path / "field.png")
    assert (tmp_path / "field.png").read_bytes().startswith(PNG)


def test_every_neighbour_is_named_with_what_it_gets_and_stands(svg: Any) -> None:
    text = svg(wind_from_deg=180.0, wind_mph=9.0)
    assert "vines to the N" in text
    assert "over the 0.1% it stands" in text
    assert "beans to the S" in text
    assert "nothing lands, within the 0.1% it stands" in text


def test_every_line_of_evidence_and_the_sun_are_named(svg: Any) -> None:
    text = svg()
    for word in ("taken together", "cloud, sun and wind", "hour and wind", "sunrise", "sunset"):
        assert word in text


def test_every_finding_has_its_word_in_the_key(svg: Any) -> None:
    text = svg()
    for word in ("no data", "none", "possible", "likely", "measured"):
        assert f">{word}<" in text


@pytest.mark.parametrize(("units", "unit"), [("us", "[ft]"), ("metric", "[m]")])
def test_distances_are_in_the_farms_units(svg: Any, units: str, unit: str) -> None:
    assert f"Distance from the field {unit}" in svg(units=units)


@pytest.mark.parametrize("missing", ["wind_mph", "wind_from_deg"])
def test_an_unknown_wind_is_said_to_be_unknown(svg: Any, missing: str) -> None:
    assert "wind or its direction unknown" in svg(**{missing: np.nan})


def test_a_field_without_neighbours_is_drawn_as_well(svg: Any) -> None:
    assert "expected, straight downwind" in svg(neighbours={})


def test_the_same_case_gives_the_same_bytes(tmp_path: Path) -> None:
    for name in ("a.svg", "b.svg"):
        draw(tmp_path / name)
    assert (tmp_path / "a.svg").read_bytes() == (tmp_path / "b.svg").read_bytes()


def test_a_file_of_another_kind_is_refused(tmp_path: Path) -> None:
    with pytest.raises(CannotDrawError, match=r"neither \.png nor \.svg"):
        draw(tmp_path / "field.pdf")


def test_a_folder_that_is_not_there_is_named(tmp_path: Path) -> None:
    with pytest.raises(CannotDrawError, match=r"there is no folder .*missing"):
        draw(tmp_path / "missing" / "field.png")


def test_without_matplotlib_the_extra_to_install_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "matplotlib", None)
    with pytest.raises(CannotDrawError, match=r"field-weather-watch\[plots\]"):
        draw(tmp_path / "field.png")
