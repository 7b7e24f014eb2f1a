"""Every public function of the air, the wind, the sun and stability: missing in, missing out.

A function that is not listed here fails the last test, so that none can be forgotten.
"""

import inspect
from collections.abc import Callable
from types import ModuleType
from typing import Any

import numpy as np
import pytest

from watcher.weather import air, inversion_signs, stability, sun, wind, wind_profile, wind_windows
from watcher.weather.inversion_signs import Daylight, Finding, Sign
from watcher.weather.stability import Stability
from watcher.weather.wind_profile import GRASS

AIR = {"temp_c": 20.0, "humidity_pct": 50.0, "pressure_pa": 95_000.0}
WHERE = {"times": 1.78e9, "latitude": 41.0, "longitude": -96.0}
UPWARD = {"from_m": 10.0, "to_m": 2.0, "blending_m": 40.0, "obukhov_m": 20.0}
LEVELS = {"temp_c": 15.0, "temp_upper_c": 16.0, "height_m": 2.0, "upper_height_m": 9.0}
TIMES = np.arange(600, dtype=np.int64)
SAMPLES = {"times": TIMES, "step_s": 1, "width_s": 60}
NIGHT = 1_781_071_200
AT_NIGHT = Daylight.of(times=[NIGHT], latitude=41.0, longitude=-96.0)
AT_NOON = Daylight.of(times=[NIGHT + 43_200], latitude=41.0, longitude=-96.0)

# Function, arguments that give a known answer, and those of them that may not be missing.
CASES: list[tuple[Callable[..., Any], dict[str, Any], str]] = [
    (air.saturation_vapour_pressure, {"temp_c": 20.0}, "temp_c"),
    (air.saturation_vapour_pressure_over_ice, {"temp_c": -5.0}, "temp_c"),
    (air.dew_point, AIR, "temp_c humidity_pct"),
    (air.humidity, {"temp_c": 20.0, "dew_point_c": 10.0}, "temp_c dew_point_c"),
    (air.vapour_pressure_deficit, AIR, "temp_c humidity_pct"),
    (air.wet_bulb, AIR, "temp_c humidity_pct pressure_pa"),
    (air.delta_t, AIR, "temp_c humidity_pct pressure_pa"),
    (air.air_density, AIR, "temp_c humidity_pct pressure_pa"),
    (air.pressure_at, {"elevation_m": 500.0}, "elevation_m"),
    (
        wind_profile.wind_at_height,
        UPWARD | {"wind_m_s": 5.0},
        "wind_m_s from_m to_m blending_m obukhov_m",
    ),
    (wind_profile.wind_factor, UPWARD, "from_m to_m blending_m obukhov_m"),
    (
        wind_profile.gust_at_height,
        {"wind_m_s": 5.0, "gust_m_s": 8.0, "there_m_s": 4.0},
        "wind_m_s gust_m_s there_m_s",
    ),
    (wind_profile.layer_height, {"fetch_m": 100.0, "over": GRASS}, "fetch_m"),
    (wind_profile.blending_height, {"layer_m": 20.0, "top_m": 2.0}, "layer_m top_m"),
    (wind_profile.psi_momentum, {"zeta": 0.5}, "zeta"),
    (wind_profile.psi_heat, {"zeta": -0.5}, "zeta"),
    (
        wind_profile.profile,
        {"height_m": 2.0, "surface": GRASS, "obukhov_m": 20.0},
        "height_m obukhov_m",
    ),
    # What is not known of the layering is the larger doubt, no missing one.
    (wind_profile.uncertainty_of, {"obukhov_m": 20.0}, ""),
    (wind.toward, {"from_deg": 90.0}, "from_deg"),
    (wind.angle_between, {"a_deg": 90.0, "b_deg": 80.0}, "a_deg b_deg"),
    (
        wind.component_toward,
        {"wind_m_s": 5.0, "from_deg": 90.0, "bearing_deg": 10.0},
        "wind_m_s from_deg bearing_deg",
    ),
    (wind.speed_from, {"east_m_s": 3.0, "north_m_s": 4.0}, "east_m_s north_m_s"),
    (wind.direction_of, {"sine": 0.5, "cosine": 0.5}, "sine cosine"),
    (wind.spread_of_mean_vector, {"sine": 0.5, "cosine": 0.5}, "sine cosine"),
    (wind.direction_mean, {"from_deg": [10.0], "wind_m_s": [3.0]}, "from_deg wind_m_s"),
    (wind.yamartino, {"from_deg": [10.0]}, "from_deg"),
    (wind_windows.moving_mean, SAMPLES | {"values": np.ones(600)}, "values"),
    (wind_windows.moving_high, SAMPLES | {"values": np.ones(600)}, "values"),
    (wind_windows.moving_gust, SAMPLES | {"wind_m_s": np.ones(600)}, "wind_m_s"),
    (
        wind_windows.moving_direction,
        SAMPLES | {"wind_m_s": np.ones(600), "from_deg": np.full(600, 90.0)},
        "wind_m_s from_deg",
    ),
    (sun.elevation, WHERE, "times latitude longitude"),
    (sun.azimuth, WHERE, "times latitude longitude"),
    (sun.solar_noon, {"times": 1.78e9, "longitude": -96.0}, "times longitude"),
    (sun.day_length, WHERE, "times latitude longitude"),
    (sun.previous_sunrise, WHERE, "times latitude longitude"),
    (sun.previous_sunset, WHERE, "times latitude longitude"),
    (sun.next_sunrise, WHERE, "times latitude longitude"),
    (sun.next_sunset, WHERE, "times latitude longitude"),
    (sun.hours_since_sunrise, WHERE, "times latitude longitude"),
    (sun.hours_to_sunset, WHERE, "times latitude longitude"),
    (sun.clear_sky_w_m2, {"elevation_deg": 30.0}, "elevation_deg"),
    (stability.turner_class, {"wind_m_s": 2.0, "index": 1.0}, "wind_m_s index"),
    (
        stability.net_radiation_index,
        {"elevation_deg": 30.0, "night": False, "cloud_pct": 50.0},
        "elevation_deg cloud_pct",
    ),
    (
        stability.srdt_class,
        {"wind_m_s": 2.0, "night": False, "solar_w_m2": 500.0, "difference_k": np.nan},
        "wind_m_s solar_w_m2",
    ),
    (
        stability.srdt_class,
        {"wind_m_s": 2.0, "night": True, "solar_w_m2": np.nan, "difference_k": 0.1},
        "wind_m_s difference_k",
    ),
    (
        stability.direction_class,
        {
            "spread_deg": 10.0,
            "wind_m_s": 2.0,
            "night": True,
            "height_m": 10.0,
            "roughness_m": 0.1,
        },
        "spread_deg wind_m_s height_m roughness_m",
    ),
    (
        stability.obukhov_length,
        {"stability": Stability.F, "roughness_m": 0.1},
        "roughness_m",
    ),
    (
        stability.obukhov_of_pair,
        LEVELS | {"wind_m_s": 2.0, "wind_height_m": 3.0},
        "temp_c temp_upper_c height_m upper_height_m wind_m_s wind_height_m",
    ),
    (
        inversion_signs.gradient,
        LEVELS,
        "temp_c temp_upper_c height_m upper_height_m",
    ),
    # Missing cloud and temperature are read as the worst they could be: see test_inversion.
    (
        inversion_signs.sky,
        {"wind_m_s": 2.0, "cloud_pct": 50.0, "daylight": AT_NIGHT},
        "wind_m_s",
    ),
    (
        inversion_signs.radiation,
        {"wind_m_s": 2.0, "solar_w_m2": 0.0, "net_w_m2": -50.0, "daylight": AT_NIGHT},
        "wind_m_s net_w_m2",
    ),
    (
        inversion_signs.radiation,
        {"wind_m_s": 2.0, "solar_w_m2": 500.0, "net_w_m2": np.nan, "daylight": AT_NOON},
        "wind_m_s solar_w_m2",
    ),
    (
        inversion_signs.direction,
        {
            "wind_m_s": 2.0,
            "wind_spread_deg": 10.0,
            "height_m": 10.0,
            "roughness_m": 0.1,
            "daylight": AT_NIGHT,
        },
        "wind_m_s wind_spread_deg height_m roughness_m",
    ),
    (inversion_signs.clock, {"wind_m_s": 2.0, "daylight": AT_NIGHT}, "wind_m_s"),
    (
        inversion_signs.warming,
        {
            "times": [NIGHT],
            "temp_c": [10.0],
            "wind_m_s": [2.0],
            "longitude": -96.0,
            "daylight": AT_NIGHT,
        },
        "wind_m_s",
    ),
    (
        inversion_signs.rise_since_low,
        {"times": [NIGHT], "temp_c": [10.0], "longitude": -96.0},
        "temp_c",
    ),
]
# Each of the two components has its own: without the wind neither, without the direction neither.
PAIRED = [
    (
        wind.eastward_northward,
        {"wind_m_s": 5.0, "from_deg": 90.0},
        "wind_m_s from_deg",
    )
]


def missing(answer: Any) -> np.ndarray:
    """Where an answer is missing: NaN, or UNKNOWN of a finding or a class."""
    if isinstance(answer, Sign):
        return np.asarray(answer.finding) == Finding.UNKNOWN
    if isinstance(answer, tuple):
        return np.all([missing(part) for part in answer], axis=0)
    array = np.asarray(answer)
    return np.isnan(array) if array.dtype.kind == "f" else array == Stability.UNKNOWN


def each(cases: list[tuple[Callable[..., Any], dict[str, Any], str]]) -> list[Any]:
    return [
        pytest.param(f, given, name, id=f"{f.__module__.rpartition('.')[2]}.{f.__name__}-{name}")
        for f, given, needed in cases
        for name in needed.split()
    ]


@pytest.mark.parametrize(("function", "given", "name"), each(CASES + PAIRED))
def test_a_missing_argument_makes_the_answer_missing(
    function: Callable[..., Any], given: dict[str, Any], name: str
) -> None:
    usual = {k: v for k, v in given.items() if k in inspect.signature(function).parameters}
    assert not missing(function(**usual)).all(), "these arguments should give an answer"
    gone = np.full(np.shape(usual[name]), np.nan)
    assert missing(function(**usual | {name: gone})).all()


@pytest.mark.parametrize(
    "module",
    [air, wind, wind_profile, wind_windows, sun, stability, inversion_signs],
    ids=lambda m: m.__name__,
)
def test_no_public_function_is_forgotten(module: ModuleType) -> None:
    public = {
        name
        for name, member in vars(module).items()
        if inspect.isfunction(member)
        and member.__module__ == module.__name__
        and not name.startswith("_")
    }
    listed = {f.__name__ for f, _, _ in CASES + PAIRED if f.__module__ == module.__name__}
    assert public == listed
