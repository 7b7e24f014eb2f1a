"""A gateway that repeats its last report, and a gust that stands still: found soon, and not where
weather stands still by nature.
"""

import numpy as np
import pytest

from watcher.sources.base import Flag, Observations
from watcher.sources.quality.check import check
from watcher.weather.series import Floats, Site, WeatherSeries

SITE = Site(latitude=41.2, longitude=-96.6)
MINUTE = 60
FINE = {
    "wind_m_s": 0.1,
    "gust_m_s": 0.1,
    "wind_from_deg": 1.0,
    "temp_c": 0.1,
    "humidity_pct": 1.0,
    "pressure_pa": 10.0,
}
WHOLE = FINE | {"wind_m_s": 1.0, "gust_m_s": 1.0, "wind_from_deg": 22.5, "temp_c": 1.0}


def day(every_min: int, steps: dict[str, float], hours: int = 12) -> dict[str, Floats]:
    """A breezy day as a station rounds it."""
    rng = np.random.default_rng(7)
    count = hours * 60 // every_min
    wind = 4.0 + rng.normal(0, 0.6, count)
    values = {
        "wind_m_s": wind,
        "gust_m_s": wind * 1.3 + np.abs(rng.normal(0, 0.4, count)),
        "wind_from_deg": 200.0 + rng.normal(0, 15, count),
        "temp_c": np.linspace(12.0, 24.0, count) + rng.normal(0, 0.05, count),
        "humidity_pct": 55.0 + np.cumsum(rng.normal(0, 0.2, count)),
        "pressure_pa": 97_000.0 + np.cumsum(rng.normal(0, 4, count)),
    }
    return {name: np.round(v / steps[name]) * steps[name] for name, v in values.items()}


def stuck(values: dict[str, Floats], every_min: int, name: str) -> np.ndarray:
    count = values["wind_m_s"].size
    series = WeatherSeries.of(np.arange(count) * every_min * MINUTE, SITE, "mast", values)
    bits = check(Observations(series)).flags.get(name, np.zeros(count, dtype=np.uint16))
    return (bits & Flag.STUCK) != 0


def frozen_from(values: dict[str, Floats], at: int, *names: str) -> dict[str, Floats]:
    stopped = {name: np.append(v[:at], np.full(v.size - at, v[at])) for name, v in values.items()}
    return values | {name: stopped[name] for name in names or values}


@pytest.mark.parametrize("every_min", [1, 5, 10])
def test_a_gateway_that_repeats_everything_is_found_within_half_an_hour(every_min: int) -> None:
    at = 6 * 60 // every_min
    values = frozen_from(day(every_min, FINE), at)
    for name in values:
        first = int(np.argmax(stuck(values, every_min, name)))
        assert 0 < (first - at) * every_min <= 30, name


def test_one_that_reports_in_whole_units_is_found_within_an_hour_and_a_half() -> None:
    values = frozen_from(day(5, WHOLE), 72)
    first = int(np.argmax(stuck(values, 5, "wind_m_s")))
    assert 0 < (first - 72) * 5 <= 90


@pytest.mark.parametrize("every_min", [1, 5, 10])
@pytest.mark.parametrize("steps", [FINE, WHOLE])
def test_a_breezy_day_is_not_flagged(every_min: int, steps: dict[str, float]) -> None:
    values = day(every_min, steps)
    assert not any(stuck(values, every_min, name).any() for name in values)


def test_a_gateway_of_which_one_sensor_moves_is_alive() -> None:
    values = day(1, FINE)
    moving = frozen_from(values, 360) | {"temp_c": values["temp_c"]}
    assert not stuck(moving, 1, "wind_m_s")[360:400].any()


@pytest.mark.parametrize("every_min", [1, 5])
def test_a_gust_that_stands_still_while_the_wind_moves_is_found_within_half_an_hour(
    every_min: int,
) -> None:
    at = 6 * 60 // every_min
    values = frozen_from(day(every_min, FINE), at, "gust_m_s")
    values["gust_m_s"][at:] = 8.0
    found = stuck(values, every_min, "gust_m_s")
    assert 0 < (int(np.argmax(found)) - at) * every_min <= 30
    assert found[int(np.argmax(found)) :].all()
    assert not stuck(values, every_min, "wind_m_s").any()


@pytest.mark.parametrize("every_min", [1, 5, 10])
def test_a_calm_foggy_night_is_no_frozen_gateway(every_min: int) -> None:
    """Wind and gust 0, the vane standing, the air saturated, all in whole degrees, for a night."""
    count = 12 * 60 // every_min
    still = {"wind_m_s": 0.0, "gust_m_s": 0.0, "wind_from_deg": 200.0, "humidity_pct": 100.0}
    values = {name: np.full(count, value) for name, value in still.items()}
    values["temp_c"] = np.round(np.linspace(9.0, 4.0, count))
    values["dew_point_c"] = values["temp_c"]
    assert not any(stuck(values, every_min, name).any() for name in values)


def test_readings_one_by_one_are_flagged_as_all_at_once() -> None:
    values = frozen_from(day(5, FINE), 72)
    whole = stuck(values, 5, "gust_m_s")
    series = WeatherSeries.of(np.arange(144) * 300, SITE, "mast", values)
    known, seen = Observations(series.at(slice(0, 1))), [False]
    for at in range(1, 144):
        new = check(Observations(series.at(slice(at, at + 1))), known)
        bits = new.flags.get("gust_m_s", np.zeros(1, dtype=np.uint16))
        seen.append(bool(bits[0] & Flag.STUCK))
        known = new.after(known)
    assert seen == whole.tolist()
