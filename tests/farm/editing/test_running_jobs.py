"""A running job keeps what it began with; all else is new."""

from pathlib import Path

import pytest

from watcher.farm import Farm
from watcher.farm.editing.edits import SetBoundary, SetValue, edited
from watcher.farm.editing.running_jobs import holding
from watcher.farm.editing.texts import FarmTexts

_SQUARE = [[-96.99, 41.60], [-96.985, 41.60], [-96.985, 41.605], [-96.99, 41.60]]


@pytest.fixture(scope="module")
def texts(example_path: Path) -> FarmTexts:
    return FarmTexts.of_files(example_path)


@pytest.fixture(scope="module")
def old(texts: FarmTexts) -> Farm:
    return texts.load()


def after(texts: FarmTexts, *edits: SetValue | SetBoundary) -> Farm:
    return edited(texts, edits).load()


def test_without_a_job_the_new_farm_is_the_farm(texts: FarmTexts, old: Farm) -> None:
    new = after(texts, SetValue(("fields", "hill_forty", "weeds"), "clean"))
    assert holding(old, new, []) is new
    assert holding(old, new, ["no_longer_there"]) is new


def test_what_no_job_goes_by_is_new_at_once(texts: FarmTexts, old: Farm) -> None:
    new = after(texts, SetValue(("fields", "pivot", "weeds"), "clean"))
    assert holding(old, new, ["hill_forty"]) is new


def test_what_the_job_goes_by_stays(texts: FarmTexts, old: Farm) -> None:
    new = after(
        texts,
        SetValue(("fields", "hill_forty", "weeds"), "clean"),
        SetValue(("fields", "pivot", "weeds"), "clean"),
        SetValue(("windows", "contact", "wind", "high"), "9 mph"),
        SetValue(("windows", "systemic", "wind", "high"), "9 mph"),
        SetValue(("setups", "fan_15", "carrier"), "14 gal/acre"),
        SetValue(("sprayers", "high_boom", "boom_height"), "30 in"),
        SetValue(("neighbours", "vineyard", "susceptibility"), "tolerant"),
        SetValue(("judging", "margin"), 0.3),
    )
    held = holding(old, new, ["hill_forty"]).config
    assert held.fields["hill_forty"] == old.config.fields["hill_forty"]
    assert held.windows["contact"] == old.config.windows["contact"]
    assert held.setups == old.config.setups
    assert held.sprayers == old.config.sprayers
    assert held.neighbours == old.config.neighbours
    assert held.judging == old.config.judging
    # Nothing of these is the job's.
    assert held.fields["pivot"] == new.config.fields["pivot"]
    assert held.windows["systemic"] == new.config.windows["systemic"]


def test_a_new_neighbour_counts_for_a_running_job_too(texts: FarmTexts, old: Farm) -> None:
    grows = {"grows": "grapes", "susceptibility": "very susceptible"}
    shape = {"type": "Polygon", "coordinates": [_SQUARE]}
    new = after(
        texts,
        SetValue(("neighbours", "new_vines"), grows),
        SetBoundary("new_vines", "neighbour", shape),
    )
    held = holding(old, new, ["hill_forty"])
    assert "new_vines" in held.config.neighbours
    assert "new_vines" in held.ground.neighbours_deg


def test_a_boundary_stays_as_the_job_began_with_it(texts: FarmTexts, old: Farm) -> None:
    shape = {"type": "Polygon", "coordinates": [_SQUARE]}
    new = after(texts, SetBoundary("hill_forty", "field", shape))
    held = holding(old, new, ["hill_forty"])
    assert held.ground.fields_deg["hill_forty"] == old.ground.fields_deg["hill_forty"]
    assert holding(old, new, ["pivot"]) is new


def test_only_the_setups_a_field_may_use_are_held(texts: FarmTexts) -> None:
    spare = dict(texts.raw["setups"]["coarse_15"], sprayer="spare")
    before = edited(
        texts,
        [
            SetValue(("sprayers", "spare"), texts.raw["sprayers"]["high_boom"] | {"tips": []}),
            SetValue(("setups", "spare_coarse"), spare),
        ],
    )
    new = edited(
        before,
        [
            SetValue(("setups", name, "carrier"), "14 gal/acre")
            for name in ("coarse_15", "spare_coarse")
        ],
    ).load()
    old = before.load()
    held = holding(old, new, ["home_place"]).config  # which names coarse_15 alone
    assert held.setups["coarse_15"] == old.config.setups["coarse_15"]
    assert held.setups["spare_coarse"] == new.config.setups["spare_coarse"]
    everything = holding(old, new, ["hill_forty"]).config  # which names none
    assert everything.setups == old.config.setups
