"""The map for programs: shapes that other libraries read, and no strip or reach where unknown."""

from pathlib import Path
from typing import Any

import shapely

from tests.support.visiting import CALM, LOOKER, Visited, farm, visited

API = {"Authorization": f"Bearer {LOOKER}"}


async def on_the_map(v: Visited, query: str = "") -> dict[str, dict[str, Any]]:
    answer = await v.web.get(f"/api/v1/map.geojson{query}", headers=API)
    assert answer.headers["content-type"] == "application/geo+json"
    return {one["id"]: one for one in answer.json()["features"]}


def shape(feature: dict[str, Any]) -> Any:
    found = shapely.geometry.shape(feature["geometry"])
    assert found.is_valid
    return found


async def test_the_reach_lies_downwind_of_its_field_and_touches_it(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        found = await on_the_map(v)
    field, reach = found["hill"], found["reach/hill"]
    assert field["properties"]["reach_known"]
    assert reach["properties"]["setup"] == field["properties"]["setup"]
    # The wind is from the north.
    assert shape(reach).centroid.y < shape(field).centroid.y
    assert shape(reach).distance(shape(field)) < 1e-6
    assert shape(reach).intersection(shape(field)).area < 0.01 * shape(field).area


async def test_a_strip_to_leave_lies_in_its_field_beside_its_neighbour(tmp_path: Path) -> None:
    orchard = {"grows": "apples", "susceptibility": "susceptible", "no_spray_distance": "300 ft"}
    async with visited(tmp_path, of=farm(neighbours={"orchard": orchard}), calm=False) as v:
        await v.service.post(**CALM | {"wind_from": "180 deg"})
        await v.service.judged()
        found = await on_the_map(v, "?role=strip&role=field")
    strips = [one for one in found.values() if one["properties"]["role"] == "strip"]
    assert {one["properties"]["role"] for one in found.values()} == {"strip", "field"}
    assert strips
    for strip in strips:
        own = shape(found[strip["properties"]["field"]])
        assert shape(strip).difference(own).area < 1e-3 * own.area
        assert strip["properties"]["depth_m"] > 0


async def test_without_a_direction_it_says_that_nothing_is_known(tmp_path: Path) -> None:
    async with visited(tmp_path, calm=False) as v:
        await v.service.post(**{k: q for k, q in CALM.items() if k != "wind_from"})
        await v.service.judged()
        found = await on_the_map(v)
    assert not [one for one in found if one.startswith(("reach/", "strip/"))]
    assert {one["properties"].get("reach_known", False) for one in found.values()} == {False}
