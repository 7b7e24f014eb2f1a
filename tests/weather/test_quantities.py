"""The catalogue of quantities: nothing is missing of any, and everything there is is in it."""

import math
from dataclasses import fields

import pytest

from watcher.farm.source_entry import SourceEntry
from watcher.i18n.language import SOURCE, codes, language
from watcher.store import export, export_means
from watcher.store.tables import ForecastHour, Observation, WeatherBin
from watcher.units import read
from watcher.weather.quantities import BY_NAME, CATALOGUE, COLUMNS
from watcher.weather.quantity import Height, Quantity
from watcher.weather.series import Site, WeatherSeries


def test_names_and_columns_are_used_once() -> None:
    assert len(BY_NAME) == len(CATALOGUE) == len(set(COLUMNS))


def test_the_series_has_an_array_for_each_and_no_other() -> None:
    apart = {"times", "site", "source", "bounds", "runs"}
    assert tuple(f.name for f in fields(WeatherSeries) if f.name not in apart) == COLUMNS


@pytest.mark.parametrize("table", [Observation, WeatherBin, ForecastHour])
def test_the_log_has_a_column_for_each(table: type) -> None:
    assert set(COLUMNS) <= set(table.__table__.columns.keys())


@pytest.mark.parametrize("quantity", CATALOGUE, ids=COLUMNS)
class TestEntry:
    def test_it_has_words_in_every_language(self, quantity: Quantity) -> None:
        wanted = {str(quantity.words), *([str(quantity.chart.title)] if quantity.chart else [])}
        for code in codes():
            if code != SOURCE:
                assert wanted <= {e.id for e in language(code).catalog if e.string}

    def test_it_has_a_range_with_its_source(self, quantity: Quantity) -> None:
        assert quantity.ranges
        for limit in quantity.ranges:
            assert limit.low < limit.high
            assert limit.source

    def test_exports_have_a_column_with_its_unit(self, quantity: Quantity) -> None:
        assert export.HEADINGS[quantity.column] == quantity.heading
        assert quantity.heading.endswith(")")
        assert {quantity.mean_heading, f"mean {quantity.heading}"} & set(export_means.COLUMNS)

    def test_its_example_is_read_in_its_unit(self, quantity: Quantity) -> None:
        assert isinstance(read(quantity.kind.example, quantity.kind), float)

    def test_its_height_is_one_of_a_site(self, quantity: Quantity) -> None:
        heights = {f.name for f in fields(Site)}
        assert quantity.height is Height.NONE or quantity.height.value in heights

    def test_a_station_may_measure_it_where_one_can(self, quantity: Quantity) -> None:
        entry = {"silent_after": "15 min", "measures": [quantity.name]}
        if quantity.measured:
            assert SourceEntry.model_validate(entry).measures == (quantity.name,)
        else:
            with pytest.raises(ValueError, match="measures"):
                SourceEntry.model_validate(entry)


# WMO guidelines on quality control of automatic stations (Zahumensky 2004), plausible values and
# the most a value may change in a minute; values from memory. In SI.
@pytest.mark.parametrize(
    ("name", "low", "high", "in_a_minute"),
    [
        ("wind", 0.0, 75.0, 20.0),
        ("wind_from", 0.0, 360.0, None),
        ("temperature", -80.0, 60.0, 3.0),
        ("humidity", 0.0, 100.0, 15.0),
        ("dew_point", -80.0, 35.0, 4.0),
        ("pressure", 500e2, 1100e2, 200.0),
        ("soil_temperature_10cm", -50.0, 50.0, 0.5),
        ("solar", None, 1600.0, 800.0),
    ],
)
def test_plausible_values_and_steps_are_the_wmos(
    name: str, low: float | None, high: float, in_a_minute: float | None
) -> None:
    quantity = BY_NAME[name]
    own = next(r for r in quantity.ranges if "WMO" in r.source)
    assert low is None or own.low == low
    assert own.high == high
    assert in_a_minute is None or (quantity.step and dict(quantity.step.most)[60] == in_a_minute)


# NOAA's MADIS, level 1 and 2 checks: 35 degF, 50 % and 10 mb in an hour; values from memory.
@pytest.mark.parametrize(
    ("name", "in_an_hour"),
    [("temperature", 35 / 1.8), ("humidity", 50.0), ("pressure", 1000.0), ("wind", 20.0)],
)
def test_steps_of_an_hour_are_those_of_madis(name: str, in_an_hour: float) -> None:
    step = BY_NAME[name].step
    assert step is not None
    assert dict(step.most)[3600] == pytest.approx(in_an_hour)


@pytest.mark.parametrize("name", ["rain_chance", "cloud", "leaf_wetness", "humidity"])
def test_shares_go_from_none_to_all(name: str) -> None:
    assert [(r.low, r.high) for r in BY_NAME[name].ranges] == [(0.0, 100.0)]


def fahrenheit(degrees: float) -> float:
    return (degrees - 32.0) / 1.8


# NOAA's MADIS, level 1 validity: values from memory.
@pytest.mark.parametrize(
    ("name", "low", "high"),
    [
        ("temperature", fahrenheit(-60.0), fahrenheit(130.0)),
        ("temperature_upper", fahrenheit(-60.0), fahrenheit(130.0)),
        ("dew_point", fahrenheit(-90.0), fahrenheit(90.0)),
        ("pressure", 56_800.0, 110_000.0),
        ("gust", 0.0, 287 * 0.44704),
        ("wind_from", 0.0, 360.0),
    ],
)
def test_plausible_values_are_those_of_madis_too(name: str, low: float, high: float) -> None:
    own = next(r for r in BY_NAME[name].ranges if "MADIS" in r.source)
    assert (own.low, own.high) == (pytest.approx(low), pytest.approx(high))


# By geometry, or choices of this program (no source).
@pytest.mark.parametrize(
    ("name", "low", "high"),
    [
        ("wind_spread", 0.0, 180.0),
        ("rain", 0.0, 2000.0),
        ("solar", -10.0, 1600.0),
        ("net_radiation", -300.0, 1600.0),
        ("ceiling", 0.0, 20_000.0),
    ],
)
def test_the_other_ranges(name: str, low: float, high: float) -> None:
    assert [(r.low, r.high) for r in BY_NAME[name].ranges] == [(low, high)]


HOUR = 3600
# EPA-454/R-99-005, table 8-4, and longer windows of our own; least change, hours.
STILL = {
    "wind": [(0.1, 3), (0.5, 12), (0.5, 24)],
    "wind_from": [(1.0, 3), (10.0, 18)],
    "temperature": [(0.5, 12)],
    "humidity": [(1.0, 12)],
    "dew_point": [(0.1, 12)],
    "pressure": [(10.0, 12)],
}
STEPS = {
    "wind": [(60, 20.0), (HOUR, 20.0)],
    "temperature": [(60, 3.0), (HOUR, 35 / 1.8)],
    "temperature_upper": [(60, 3.0), (HOUR, 35 / 1.8)],
    "humidity": [(60, 15.0), (HOUR, 50.0)],
    "dew_point": [(60, 4.0), (HOUR, 35 / 1.8)],
    "pressure": [(60, 200.0), (HOUR, 1000.0)],
    "solar": [(60, 800.0)],
    "soil_temperature_10cm": [(60, 0.5), (HOUR, 5.0)],
}
# Common practice, no source: how far over and under its witnesses a value may lie.
AGREE = {
    "wind": (math.inf, 6.0),
    "temperature": (8.0, 8.0),
    "humidity": (35.0, 35.0),
    "dew_point": (8.0, 8.0),
    "pressure": (1500.0, 1500.0),
}


@pytest.mark.parametrize("quantity", CATALOGUE, ids=COLUMNS)
def test_how_long_it_may_stand_still_how_far_it_may_step_and_lie_from_others(
    quantity: Quantity,
) -> None:
    still = [(s.least, s.window_s / HOUR) for s in quantity.stuck]
    assert still == STILL.get(quantity.name, [])
    steps = [] if quantity.step is None else list(quantity.step.most)
    assert steps == STEPS.get(quantity.name, [])
    agreement = quantity.agreement
    found = None if agreement is None else (agreement.over, agreement.under)
    assert found == AGREE.get(quantity.name)


def test_a_calm_or_fog_excuses_what_stands_still() -> None:
    wind = [s.unless_wind_m_s for s in BY_NAME["wind"].stuck]
    assert wind == [0.5, 0.5, None]  # a dead cup is found in a day at the latest
    for name in ("humidity", "dew_point"):
        assert [s.unless_humidity_pct for s in BY_NAME[name].stuck] == [95.0]


def test_what_is_missed_aloud_what_stands_for_itself_and_what_no_station_measures() -> None:
    names = {flag: {q.name for q in CATALOGUE if getattr(q, flag)} for flag in FLAGS}
    assert names["always_missed"] == {
        "wind",
        "gust",
        "wind_from",
        "temperature",
        "humidity",
        "rain",
    }
    assert names["expected"] == {
        "wind_spread",
        "temperature_upper",
        "net_radiation",
        "leaf_wetness",
    }
    assert {q.name for q in CATALOGUE} - names["measured"] == {"rain_chance"}


FLAGS = ("always_missed", "expected", "measured")
