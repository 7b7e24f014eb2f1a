"""The nearest station speaks first; of those as near, the one listed first."""

from typing import Any

import pytest
from pyproj import Geod

from tests.support.farms import LATITUDE, LONGITUDE, build, tables
from watcher.farm.station_selection import AS_NEAR_M, stations_by_field

WEST = [LATITUDE + 0.002, LONGITUDE + 0.002]
EAST = [LATITUDE + 0.002, LONGITUDE + 0.1667]
"""Within the first and within the last of eight fields, 14 km apart."""
METAR = {"kind": "metar", "station": "KXYZ", "file": "/srv/kxyz.txt"}


def heard(**sources: dict[str, Any]) -> dict[str, tuple[str, ...]]:
    farm_file: dict[str, Any] = tables()
    farm_file["fields"] = {f"f{i}": farm_file["fields"]["hill"] for i in range(8)}
    farm_file["sources"] = sources
    return dict(stations_by_field(build(farm_file)))


def push(place: list[float] | None = None) -> dict[str, Any]:
    return {"kind": "push"} | ({} if place is None else {"place": place})


def test_each_field_hears_the_station_near_it_first() -> None:
    found = heard(west=push(WEST), east=push(EAST))
    assert found["f0"] == ("west", "east")
    assert found["f7"] == ("east", "west")


def test_stations_about_as_near_speak_in_the_order_they_are_told_in() -> None:
    beside = [WEST[0], WEST[1] + 0.009]  # 760 m further east, outside the field
    assert heard(beside=push(beside), west=push(WEST))["f0"] == ("beside", "west")


@pytest.mark.parametrize(("further_m", "first"), [(1900.0, "far"), (2100.0, "near")])
def test_up_to_two_kilometres_further_off_is_as_near(further_m: float, first: str) -> None:
    # South of the field, 1 km and further; a degree of latitude at 41 N is 111.05 km (WGS 84).
    near, far = ([LATITUDE - m / 111_050, LONGITUDE] for m in (1000.0, 1000.0 + further_m))
    assert heard(far=push(far), near=push(near))["f0"][0] == first


def test_a_station_that_tells_no_place_stands_in_the_middle_of_the_farm() -> None:
    found = heard(west=push(WEST), yard=push())
    assert (found["f0"][0], found["f4"][0]) == ("west", "yard")


@pytest.mark.parametrize("far", [METAR, {"kind": "nws", "station": "KXYZ"}])
def test_an_aerodrome_nobody_knows_the_place_of_speaks_last(far: dict[str, Any]) -> None:
    assert heard(far=far, yard=push())["f0"] == ("yard", "far")


def test_where_no_place_is_known_they_speak_as_told() -> None:
    nws = {"kind": "nws", "station": "KABC"}
    assert heard(reports=METAR, weather=nws)["f3"] == ("reports", "weather")


def test_a_feed_that_only_forecasts_is_not_heard() -> None:
    assert heard(feed={"kind": "met_norway"})["f0"] == ()


def test_distances_are_those_on_the_ellipsoid() -> None:
    """Against pyproj's geodesic, to the square's nearest corner: within a tenth of a per cent."""
    farm_file: dict[str, Any] = tables()
    ground = build(farm_file).ground
    corner = ground.fields_deg["creek_side"].exterior.coords[0]
    place = (LATITUDE - 0.05, LONGITUDE - 0.05)
    _, _, wanted = Geod(ellps="WGS84").inv(place[1], place[0], *corner[:2])
    assert ground.distance_m("creek_side", *place) == pytest.approx(wanted, rel=1e-3)
    assert wanted > AS_NEAR_M
    inside = (LATITUDE + 0.001, LONGITUDE + 0.001)
    assert ground.distance_m("creek_side", *inside) == 0.0
