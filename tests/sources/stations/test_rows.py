"""Rows by time: strict numbers, believable times, messages of one second put together."""

import numpy as np
import pytest

from watcher.sources.base import Flag
from watcher.sources.stations.bad_reading import BadReadingError
from watcher.sources.stations.rows import believed, number, observations, shifted
from watcher.weather.quantities import BY_NAME, in_unit
from watcher.weather.series import Site

NOW = 1_781_272_800  # 2026-06-12 14:00 UTC
SITE = Site(41.0, -96.0)


@pytest.mark.parametrize(
    ("text", "value"), [("3.2", 3.2), ("-0.5", -0.5), ("+7", 7.0), (".5", 0.5), ("1e-1", 0.1)]
)
def test_a_number_with_a_decimal_point_is_read(text: str, value: float) -> None:
    assert number(text) == value


@pytest.mark.parametrize(
    "text",
    ["", " ", "3,2", "nan", "NaN", "inf", "-inf", "1_000", "1 000", "---", "1e999", "٣", "5x"],
)
def test_what_python_would_take_for_a_number_or_half_of_one_is_none(text: str) -> None:
    assert number(text) is None


def test_missing_values_are_nan_and_future_ones_flagged() -> None:
    rows = {NOW + 600: {"wind_m_s": 4.0}, NOW: {"wind_m_s": 3.0, "temp_c": 20.0}}
    found = observations(rows, now=NOW, site=SITE, source="mast")
    assert found.series.times.tolist() == [NOW, NOW + 600]
    assert found.series.wind_m_s.tolist() == [3.0, 4.0]
    assert np.isnan(found.series.temp_c[1])
    assert found.flags["wind_m_s"].tolist() == [Flag.GOOD, Flag.FUTURE]


@pytest.mark.parametrize("time", [0.0, 946_684_799.0, NOW + 86_401.0, float("nan"), float("inf")])
def test_a_time_that_cannot_be_is_refused(time: float) -> None:
    with pytest.raises(BadReadingError, match="clock"):
        believed("'time'", time, NOW)


def test_a_clock_that_runs_ahead_is_set_right() -> None:
    assert shifted({NOW + 3600: {"wind_m_s": 3.0}}, 3600.0) == {NOW: {"wind_m_s": 3.0}}


def test_a_quantity_comes_in_in_any_unit_that_fits() -> None:
    assert in_unit("wind", "km/h").si(36.0) == pytest.approx(10.0)
    assert in_unit("temperature", "degF").si(32.0) == pytest.approx(0.0)


@pytest.mark.parametrize(
    ("name", "unit"), [("wind", "degC"), ("wind", "furlong"), ("winds", "m/s")]
)
def test_a_unit_or_name_that_does_not_fit_is_refused_with_its_key(name: str, unit: str) -> None:
    with pytest.raises(ValueError, match=rf"quantities\.{name}"):
        in_unit(name, unit)


def test_every_quantity_has_its_array() -> None:
    everything = {q.column: 1.0 for q in BY_NAME.values()}
    assert len(observations({NOW: everything}, now=NOW, site=SITE, source="mast").series) == 1
