"""Where things lie: zones, countries, distances, sizes and overlaps."""

from typing import Any

import pytest

from watcher.farm.load import load

NWS = '\n[sources.weather]\nkind = "nws"\n'


def _moved(farm: Any, **place: float) -> Any:
    """The whole farm with its south-west corner at another place."""
    for name, north in (("north", 0), ("south", -0.006), ("orchard", 0.006)):
        farm.draw(name, farm.square(0, north, **place))
    return farm


def test_a_zone_that_does_not_exist_is_told(farm: Any) -> None:
    problem = farm.edit("America/Chicago", "America/Chicgo").problem()
    assert problem.key == 'farm.time_zone = "America/Chicgo"'
    assert "America/Chicago" in problem.mend


def test_a_zone_the_fields_do_not_lie_in_is_told(farm: Any) -> None:
    problem = farm.edit("America/Chicago", "America/Denver").problem()
    assert "America/Chicago" in problem.wrong


@pytest.mark.parametrize("zone", ["US/Central", "America/Winnipeg"])
def test_another_name_of_the_same_clock_is_taken(farm: Any, zone: str) -> None:
    load(farm.edit("America/Chicago", zone).write())


def test_a_clock_that_is_the_same_in_winter_only_is_told(farm: Any) -> None:
    # Saskatchewan keeps central standard time all summer.
    assert "America/Chicago" in farm.edit("America/Chicago", "America/Regina").problem().wrong


def test_swapped_coordinates_that_still_are_a_place_are_suspected(farm: Any) -> None:
    # Germany drawn latitude first: longitude 52, latitude 10 lies in the Arabian Sea.
    _moved(farm, west=52.0, south=10.0).edit("America/Chicago", "Europe/Berlin")
    assert "look swapped" in farm.problem().wrong


def test_the_us_weather_service_serves_the_us(farm: Any) -> None:
    load(farm.add(NWS).write())


@pytest.mark.parametrize(
    ("zone", "west", "south", "covered"),
    [
        ("America/Toronto", -81.2, 42.6, False),  # Ontario, 60 km from Ohio
        ("America/Winnipeg", -97.5, 49.3, False),
        ("Europe/Berlin", 10.0, 52.0, False),
        ("America/Puerto_Rico", -66.5, 18.05, True),
        ("Pacific/Honolulu", -155.5, 19.9, True),
        ("America/New_York", -83.5, 40.9, True),
    ],
)
def test_a_feed_of_one_country_covers_only_its_fields(
    farm: Any, zone: str, west: float, south: float, covered: bool
) -> None:
    _moved(farm, west=west, south=south).edit("America/Chicago", zone).add(NWS)
    if covered:
        load(farm.write())
    else:
        assert farm.problem().key == "sources.weather"


def test_a_field_far_from_the_rest_is_told_with_its_distance(farm: Any) -> None:
    # Two degrees of latitude are 222 km; 111.1 km a degree at 41.5 N.
    problem = farm.draw("south", farm.square(0, -2.0)).problem()
    assert problem.key == "fields.south"
    assert "lies 222 km" in problem.wrong


@pytest.mark.parametrize(("km", "noticed"), [(99.0, False), (101.0, True)])
def test_a_hundred_kilometres_are_far(farm: Any, km: float, noticed: bool) -> None:
    # A degree of latitude at 41 N is 111.05 km (WGS 84).
    farm.draw("south", farm.square(0, -km / 111.05))
    if noticed:
        assert f"lies {km:.0f} km" in farm.problem().wrong
    else:
        load(farm.write())


@pytest.mark.parametrize(("km", "noticed"), [(19.8, False), (20.3, True)])
@pytest.mark.parametrize("wide", [True, False])
def test_a_field_is_at_most_twenty_kilometres_across(
    farm: Any, km: float, noticed: bool, wide: bool
) -> None:
    # A degree at 41.2 N is 83.89 km from west to east and 111.06 km from south to north (WGS 84).
    east, north = (km / 83.89, 0.01) if wide else (0.01, km / 111.06)
    w, s = -96.6, 41.2 - north / 2
    ring = [[w, s], [w + east, s], [w + east, s + north], [w, s + north], [w, s]]
    farm.draw("south", [ring])
    if noticed:
        assert f"is {km:.1f} km across" in farm.problem().wrong
    else:
        load(farm.write())


@pytest.mark.parametrize(("area_m2", "noticed"), [(110.0, False), (90.0, True)])
def test_a_field_has_at_least_a_hundred_square_metres(
    farm: Any, area_m2: float, noticed: bool
) -> None:
    degrees = (area_m2 / (111_060 * 83_500)) ** 0.5
    farm.draw("south", farm.square(0, -0.006, degrees))
    if noticed:
        assert f"covers {area_m2:.0f} square metres" in farm.problem().wrong
    else:
        load(farm.write())


def test_a_station_far_from_the_farm_is_told(farm: Any) -> None:
    problem = farm.edit('kind = "push"', 'kind = "push"\nplace = [41.5, 96.5]').problem()
    assert problem.key == "sources.yard.place"


def test_a_field_too_large_to_be_one_is_told(farm: Any) -> None:
    # 0.3 degrees of latitude: 33 km.
    problem = farm.draw("south", farm.square(0, -0.31, 0.3)).problem()
    assert problem.key == 'feature "south"'
    assert "33.3 km across" in problem.wrong


def test_a_field_too_small_to_be_one_is_told(farm: Any) -> None:
    assert "square metres" in farm.draw("south", farm.square(0, -0.006, 1e-5)).problem().wrong


@pytest.mark.parametrize(
    ("name", "other", "north"), [("south", "north", -0.004), ("orchard", "north", 0.004)]
)
def test_boundaries_that_overlap_are_told(farm: Any, name: str, other: str, north: float) -> None:
    problem = farm.draw(name, farm.square(0, north)).problem()
    assert {name, other} <= set(f"{problem.key} {problem.wrong}".split('"'))
    assert "20% of the smaller" in problem.wrong


def test_touching_boundaries_and_a_careless_line_are_taken(farm: Any) -> None:
    load(farm.draw("south", farm.square(0, -0.00495)).write())


def test_a_yard_in_its_hole_is_taken_and_without_one_is_told(farm: Any) -> None:
    yard = farm.square(0.002, 0.002, 0.001)
    farm.draw("orchard", yard)
    assert "cut a yard out" in farm.problem().mend
    farm.draw("north", [*farm.square(0, 0), yard[0][::-1]])
    load(farm.write())
