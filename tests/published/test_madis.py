"""NOAA MADIS surface quality control, level 1 validity and one-hour temporal consistency
(https://madis.ncep.noaa.gov/madis_sfc_qc_notes.shtml), case by case; and MesoWest's gust check.
"""

import numpy as np
import pytest

from watcher.sources.base import Flag, Observations
from watcher.sources.quality.check import check
from watcher.units import Kind, read
from watcher.weather.series import Site, WeatherSeries

SITE = Site(latitude=41.2, longitude=-96.6)
KINDS = {
    "temp_c": Kind.TEMPERATURE,
    "dew_point_c": Kind.TEMPERATURE,
    "humidity_pct": Kind.PERCENT,
    "pressure_pa": Kind.PRESSURE,
    "wind_m_s": Kind.SPEED,
    "gust_m_s": Kind.SPEED,
    "wind_from_deg": Kind.ANGLE,
}


def flags_of(name: str, *texts: str) -> list[int]:
    values = [read(text, KINDS[name]) for text in texts]
    series = WeatherSeries.of(np.arange(len(values)) * 3600, SITE, "mast", {name: values})
    found = check(Observations(series)).flags
    return list(found.get(name, np.zeros(len(values), dtype=np.uint16)))


@pytest.mark.parametrize(
    ("name", "inside", "outside"),
    [
        ("temp_c", "130 degF", "131 degF"),
        ("temp_c", "-60 degF", "-61 degF"),
        ("dew_point_c", "90 degF", "91 degF"),
        ("dew_point_c", "-90 degF", "-91 degF"),
        ("humidity_pct", "100 %", "101 %"),
        ("humidity_pct", "0 %", "-1 %"),
        ("pressure_pa", "568 hPa", "567 hPa"),
        ("pressure_pa", "1100 hPa", "1101 hPa"),
        ("wind_from_deg", "360 deg", "361 deg"),
        ("gust_m_s", "287 mph", "288 mph"),
    ],
)
def test_validity(name: str, inside: str, outside: str) -> None:
    assert flags_of(name, inside) == [Flag.GOOD]
    assert flags_of(name, outside) == [Flag.RANGE]


@pytest.mark.parametrize(
    ("name", "before", "passes", "fails"),
    [
        ("temp_c", "40 degF", "75 degF", "76 degF"),
        ("temp_c", "76 degF", "41 degF", "40 degF"),
        ("humidity_pct", "30 %", "80 %", "81 %"),
        ("pressure_pa", "1000 hPa", "1010 hPa", "1011 hPa"),
    ],
)
def test_change_in_one_hour(name: str, before: str, passes: str, fails: str) -> None:
    assert flags_of(name, before, passes) == [Flag.GOOD, Flag.GOOD]
    assert flags_of(name, before, fails) == [Flag.GOOD, Flag.STEP]


@pytest.mark.parametrize(("gust_kt", "flagged"), [(79, False), (80, True), (95, True)])
def test_a_gust_75_knots_over_the_mean_is_flagged(gust_kt: int, flagged: bool) -> None:
    knots = 1852 / 3600
    both = {"wind_m_s": [5 * knots], "gust_m_s": [gust_kt * knots + 1e-9]}
    found = check(Observations(WeatherSeries.of([0], SITE, "mast", both))).flags
    assert ("gust_m_s" in found) == flagged
    assert "wind_m_s" not in found
