"""Plans and boundaries must match; names that lead nowhere are in test_load."""

from typing import Any


def test_a_field_without_a_boundary_is_told(farm: Any) -> None:
    farm.shapes["features"].remove(farm.feature("south"))
    problem = farm.problem()
    assert problem.key == "fields.south"
    assert "fields.geojson" in problem.wrong
    assert problem.file == farm.file


def test_a_boundary_nobody_asked_for_is_told(farm: Any) -> None:
    farm.shapes["features"].append(farm.feature("south") | {"id": "spare"})
    farm.feature("spare")["geometry"] = {
        "type": "Polygon",
        "coordinates": farm.square(0.01, 0),
    }
    problem = farm.problem()
    assert problem.file == farm.boundaries
    assert problem.key == 'feature "spare"'


def test_a_slip_in_an_id_is_warn_from_both_sides(farm: Any) -> None:
    farm.feature("orchard")["id"] = "orchrd"
    plan, feature = farm.problems()
    assert plan.key == "neighbours.orchard"
    assert 'did you mean "orchrd"?' in plan.mend
    assert feature.key == 'feature "orchrd"'


def test_a_boundary_that_cannot_be_read_is_not_told_as_missing(farm: Any) -> None:
    farm.draw("south", [[[0, 0], [1, 0], [0, 0]]])
    assert farm.problem().key == 'feature "south"'
