"""Which sources measure and which foretell."""

from typing import Any

import pytest
from pydantic import TypeAdapter

from watcher.farm.feeds import Source, foretells, observes

MAPPED = {
    "kind": "mapped_json",
    "url": "https://station.example/latest.json",
    "every": "5 min",
    "silent_after": "20 min",
    "times": "rows[].time",
    "quantities": {},
}


@pytest.mark.parametrize(
    ("entry", "measures", "forecasts"),
    [
        ({"kind": "nws"}, False, True),
        ({"kind": "nws", "station": "KXYZ"}, True, True),
        ({"kind": "met_norway"}, False, True),
        ({"kind": "open_meteo"}, False, True),
        (MAPPED | {"gives": "observations"}, True, False),
        (MAPPED | {"gives": "forecast"}, False, True),
        ({"kind": "push"}, True, False),
        ({"kind": "metar", "station": "KXYZ", "file": "/srv/kxyz.txt"}, True, False),
    ],
)
def test_a_source_measures_or_foretells_or_both(
    entry: dict[str, Any], measures: bool, forecasts: bool
) -> None:
    source: Source = TypeAdapter(Source).validate_python(entry)
    assert (observes(source), foretells(source)) == (measures, forecasts)
