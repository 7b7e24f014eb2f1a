"""A unit that was taken for another is named; weather, sheltered stations and noise are none."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from watcher.sources.quality.unit_suspicion import Suspicion, unit_suspected
from watcher.weather.series import Floats, Site, WeatherSeries

SITE = Site(41.0, -96.0, 350.0)
START = 1_781_049_600  # 2026-06-10T00:00Z
HOURS = 24
KM_H, MPH, KNOT = 1 / 3.6, 0.44704, 1852 / 3600


def day(seed: int = 0, hours: int = HOURS, start: int = START) -> WeatherSeries:
    rng = np.random.default_rng(seed)
    at = np.arange(hours)
    values = {
        "wind_m_s": 4.0 + 2.0 * np.sin(at / 3.0) + rng.normal(0, 0.1, hours),
        "temp_c": 20.0 + 6.0 * np.sin(at / 4.0) + rng.normal(0, 0.3, hours),
        "humidity_pct": 60.0 - 15.0 * np.sin(at / 4.0),
    }
    return WeatherSeries.of(start + 3600 * at, SITE, f"source {seed}", values)


def scaled(series: WeatherSeries, factor: float) -> WeatherSeries:
    return series.having(wind_m_s=series.wind_m_s * factor)


def warmed(series: WeatherSeries, temp_c: Floats) -> WeatherSeries:
    return series.having(temp_c=temp_c)


def units(found: tuple[Suspicion, ...]) -> list[tuple[str, str, str]]:
    return [(one.quantity, one.unit, one.taken_for) for one in found]


UNITS = [
    (1 / KM_H, "km/h", "m/s"),
    (1 / MPH, "mph", "m/s"),
    (1 / KNOT, "kn", "m/s"),
    (KM_H, "m/s", "km/h"),
    (MPH, "m/s", "mph"),
    (KNOT, "m/s", "kn"),
]


def test_sources_that_agree_are_not_suspected() -> None:
    assert unit_suspected(day(), [day(1), day(2)], earlier=day(3)) == ()
    assert unit_suspected(day(), []) == ()


@pytest.mark.parametrize(("factor", "unit", "taken_for"), UNITS)
def test_a_wind_in_another_unit_is_named(factor: float, unit: str, taken_for: str) -> None:
    given = scaled(day(), factor)
    expected = [("wind_m_s", unit, taken_for)]
    assert units(unit_suspected(given, [day(1)])) == expected
    assert units(unit_suspected(given, [day(1), day(2)])) == expected
    assert units(unit_suspected(given, [], earlier=day(1))) == expected


@pytest.mark.parametrize(("factor", "unit", "taken_for"), UNITS)
def test_a_witness_that_agrees_clears_it(factor: float, unit: str, taken_for: str) -> None:
    del unit, taken_for
    assert unit_suspected(day(), [day(1), scaled(day(2), factor)]) == ()


def test_a_wind_at_another_height_is_compared_at_that_height() -> None:
    low = day(1)
    low = replace(scaled(low, 0.75), site=replace(SITE, wind_height_m=2.0))
    assert unit_suspected(day(), [low]) == ()


@pytest.mark.parametrize("shelter", [0.45, 0.6, 1.6, 2.2])
def test_a_station_in_a_shelter_is_in_no_other_unit(shelter: float) -> None:
    """Half of the open wind, more or less by the hour."""
    rng = np.random.default_rng(5)
    found = day().wind_m_s * shelter * np.exp(rng.normal(0, 0.35, HOURS))
    assert unit_suspected(day().having(wind_m_s=found), [day(1)]) == ()


@pytest.mark.parametrize(
    ("change", "unit", "taken_for"),
    [
        (lambda c: c * 1.8 + 32.0, "°F", "°C"),
        (lambda c: (c - 32.0) / 1.8, "°C", "°F"),
        (lambda c: c + 273.15, "K", "°C"),
    ],
)
def test_a_temperature_in_another_unit_is_named(change, unit: str, taken_for: str) -> None:
    given = warmed(day(), change(day().temp_c))
    assert units(unit_suspected(given, [day(1)])) == [("temp_c", unit, taken_for)]


def test_a_temperature_that_only_differs_is_in_no_other_unit() -> None:
    assert unit_suspected(warmed(day(), day().temp_c - 12.0), [day(1)]) == ()


def test_a_forecast_that_tells_no_past_is_held_against_the_day_before() -> None:
    given = warmed(day(start=START + 86_400), (day().temp_c - 32.0) / 1.8)
    assert units(unit_suspected(given, [day(1)])) == [("temp_c", "°C", "°F")]


def test_a_witness_in_the_wrong_unit_itself_convicts_nobody() -> None:
    assert unit_suspected(day(), [warmed(day(1), day(1).temp_c * 1.8 + 32.0)]) == ()


def test_shares_given_as_fractions_are_named() -> None:
    found = day().having(humidity_pct=day().humidity_pct / 100, cloud_pct=np.full(HOURS, 1.0))
    assert {one.quantity for one in unit_suspected(found, [])} == {"humidity_pct", "cloud_pct"}


def test_a_clear_dry_sky_is_no_fraction() -> None:
    found = day().having(cloud_pct=np.zeros(HOURS), rain_chance_pct=np.zeros(HOURS))
    assert unit_suspected(found, []) == ()


def test_a_few_hours_tell_nothing() -> None:
    assert unit_suspected(scaled(day(hours=7), 3.6), [day(1)], earlier=day(2)) == ()


def test_a_day_long_gale_cannot_be() -> None:
    [found] = unit_suspected(scaled(day(), 6.0), [])
    assert str(found) == "the wind is beyond what place and season allow"


def test_what_is_suspected_is_said_in_words() -> None:
    [found] = unit_suspected(scaled(day(), 3.6), [day(1)])
    assert str(found) == "the wind looks like km/h taken for m/s, against source 1"


@given(
    winds=arrays(np.float64, 30, elements=st.floats(0, 17) | st.just(np.nan)),
    temps=arrays(np.float64, 30, elements=st.floats(-60, 60) | st.just(np.nan)),
)
@settings(max_examples=30, suppress_health_check=[HealthCheck.too_slow])
def test_whatever_agrees_with_itself_is_not_suspected(winds: Floats, temps: Floats) -> None:
    """But for what its climate forbids: here it has none."""
    values = {"wind_m_s": winds, "temp_c": temps}
    nowhere = Site(np.nan, np.nan, np.nan)
    found = WeatherSeries.of(START + 3600 * np.arange(30), nowhere, "one", values)
    assert unit_suspected(found, [found], earlier=found) == ()
