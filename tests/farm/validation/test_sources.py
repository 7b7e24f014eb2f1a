"""Sources that could never be relied on as they are written."""

from typing import Any

import pytest

from watcher.farm.load import load

MAPPED = """
[sources.anything]
kind = "mapped_json"
gives = "observations"
url = "https://station.example/latest.json"
every = "5 min"
silent_after = "20 min"
times = "rows[].time"
measures = ["wind"]
quantities.wind = { at = "rows[].wind", unit = "km/h" }
"""


def test_a_mapping_that_maps_what_it_measures_is_taken(farm: Any) -> None:
    load(farm.add(MAPPED).write())


@pytest.mark.parametrize(
    ("was", "now"),
    [
        ('silent_after = "20 min"', 'silent_after = "5 min"'),  # asked every 5 min
        ('"observations"', '"forecast"'),
        ('measures = ["wind"]\n', 'measures = ["gust"]\ngives = "forecast"\n'),
    ],
)
def test_a_mapping_that_just_does_is_taken(farm: Any, was: str, now: str) -> None:
    farm.add(MAPPED).edit(was, now)
    if now.endswith('"forecast"\n'):  # what a forecast would measure is not asked
        farm.edit('gives = "observations"\n', "")
    load(farm.write())


def test_a_name_as_it_is_sent_is_no_expression_of_mapped_json(farm: Any) -> None:
    problem = farm.add(MAPPED).edit('at = "rows[].wind"', 'at = "wind avg"').problem()
    assert problem.key == 'sources.anything.quantities.wind.at = "wind avg"'


@pytest.mark.parametrize(
    ("more", "key"),
    [
        ('heights = { temperature_upper = "2 m" }', "temperature_upper"),
        ('heights = { temperature_upper = "2.1 m" }', None),
        ('heights = { temperature_upper = "9 m" }\nmeasures = ["temperature_upper"]', None),
        ('heights = { wind = "2 m", canopy = "2 m" }', "canopy"),
        ('heights = { wind = "2 m", canopy = "1.9 m" }', None),
        ('heights = { wind = "2 m", canopy = "3 m" }\nmeasures = ["humidity"]', None),
    ],
)
def test_the_upper_thermometer_is_above_and_the_canopy_below(
    farm: Any, more: str, key: str | None
) -> None:
    farm.edit('kind = "push"', f'kind = "push"\n{more}')
    if key is None:
        load(farm.write())
    else:
        assert farm.problem().key == f"sources.yard.heights.{key}"


@pytest.mark.parametrize(
    "more", ['measures = ["temperature_upper"]', 'heights = { wind = "2 m", canopy = "3 m" }']
)
def test_a_forecast_has_no_sensors_to_stand_anywhere(farm: Any, more: str) -> None:
    load(farm.edit('kind = "open_meteo"', f'kind = "open_meteo"\n{more}').write())


@pytest.mark.parametrize(
    ("was", "now", "key"),
    [
        ('"rows[].time"', '"rows[.time"', 'sources.anything.times = "rows[.time"'),
        ('at = "rows[].wind"', 'at = ""', 'sources.anything.quantities.wind.at = ""'),
        ('at = "rows[].wind"', 'at = "["', 'sources.anything.quantities.wind.at = "["'),
        ('["wind"]', '["wind", "gust"]', "sources.anything.measures"),
        ("quantities.wind =", "quantities.wnd =", "sources.anything.quantities.wnd"),
        ('silent_after = "20 min"', 'silent_after = "4 min"', "sources.anything.silent_after"),
        ('"https://', '"ftp://', 'sources.anything.url = "ftp://station.example/latest.json"'),
        ('every = "5 min"', 'every = "1 s"', 'sources.anything.every = "1 s"'),
    ],
)
def test_a_slip_in_a_mapping_is_told(farm: Any, was: str, now: str, key: str) -> None:
    assert key in {p.key for p in farm.add(MAPPED).edit(was, now).problems()}


@pytest.mark.parametrize(
    ("more", "key"),
    [
        ('interval = "30 min"', "sources.yard.silent_after"),
        ('measures = ["temperature_upper"]', "sources.yard.heights.temperature_upper"),
        ('heights = { temperature_upper = "3 ft" }', "sources.yard.heights.temperature_upper"),
        ('silent_after = "3 d"', 'sources.yard.silent_after = "3 d"'),
        ("place = [41.5, -276.5]", "sources.yard.place (item 2) = -276.5"),
        ("place = [41.5]", "sources.yard.place (item 2)"),
    ],
)
def test_a_station_that_could_not_be_relied_on_is_told(farm: Any, more: str, key: str) -> None:
    assert farm.edit('kind = "push"', f'kind = "push"\n{more}').problem().key == key
