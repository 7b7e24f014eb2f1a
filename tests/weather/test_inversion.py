"""The lines of evidence combined, and the law that a missing value never improves a finding."""

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from watcher.weather.inversion import Finding, Inversion, assess, forms_and_breaks
from watcher.weather.series import Site, WeatherSeries
from watcher.weather.stability import Stability

HOUR = 3600
MIDNIGHT = 1_781_049_600  # 2026-06-10 00:00 UTC; sunrise 10:53, sunset 01:58 at this site
SITE = Site(41.0, -96.0)
PAIR = Site(41.0, -96.0, temp_height_m=1.5, temp_upper_height_m=9.0)
NIGHT, NOON = MIDNIGHT + 6 * HOUR, MIDNIGHT + 18 * HOUR


def at(when: int, site: Site = SITE, **values: float) -> Inversion:
    usual = {"wind_m_s": 2.0, "temp_c": 15.0, "cloud_pct": 20.0} | values
    return assess(WeatherSeries.of([when], site, "test", {k: [v] for k, v in usual.items()}))


def found(when: int, site: Site = SITE, **values: float) -> str:
    return Finding(int(at(when, site, **values).finding[0])).name


def test_a_measured_inversion_beats_sun_and_wind() -> None:
    here = {"temp_c": 15.0, "temp_upper_c": 15.5}
    assert found(NOON, PAIR, wind_m_s=8.0, **here) == "MEASURED"


def test_mixed_air_between_two_thermometers_beats_the_rules_of_thumb() -> None:
    assert found(NIGHT, PAIR, temp_upper_c=14.0) == "NONE"
    assert found(NIGHT) == "LIKELY"


@pytest.mark.parametrize(("low", "high"), [(2.0, 80.0), (5.0, 10.0)])
def test_it_does_not_where_the_pair_says_little_about_the_ground(low: float, high: float) -> None:
    tower = Site(41.0, -96.0, temp_height_m=low, temp_upper_height_m=high)
    assert found(NIGHT, tower, temp_upper_c=10.0) == "LIKELY"


def test_otherwise_the_worst_line_counts() -> None:
    """Overcast and windy: the sky and the clock say none, the loss of heat says otherwise."""
    calm_sky = {"wind_m_s": 3.6, "cloud_pct": 100.0}
    assert found(NIGHT, **calm_sky) == "NONE"
    assert found(NIGHT, **calm_sky, net_w_m2=-60.0) == "POSSIBLE"


def test_a_weak_wind_at_night_with_nothing_known_of_the_sky_is_at_least_possible() -> None:
    for wind in (0.0, 1.0, 3.0):
        assert found(NIGHT, wind_m_s=wind, cloud_pct=np.nan) in {"POSSIBLE", "LIKELY"}


@pytest.mark.parametrize("cloud", [0.0, 50.0, 100.0, np.nan])
def test_still_air_at_night_is_at_least_possible(cloud: float) -> None:
    assert found(NIGHT, wind_m_s=0.3, cloud_pct=cloud) in {"POSSIBLE", "LIKELY"}


def test_a_breezy_day_is_none() -> None:
    assert found(NOON, wind_m_s=4.0) == "NONE"


@pytest.mark.parametrize("when", [NIGHT, NOON])
def test_without_wind_or_sun_it_is_unknown(when: int) -> None:
    assert found(when, wind_m_s=np.nan) == "UNKNOWN"
    assert found(when, Site(np.nan, -96.0)) == "UNKNOWN"
    assert found(when, Site(41.0, np.nan)) == "UNKNOWN"


def test_with_nothing_at_all_it_is_unknown() -> None:
    nothing = {"wind_m_s": np.nan, "temp_c": np.nan, "cloud_pct": np.nan}
    assert found(NOON, **nothing) == "UNKNOWN"


def test_a_gradient_speaks_without_wind() -> None:
    assert found(NOON, PAIR, wind_m_s=np.nan, temp_upper_c=16.0) == "MEASURED"


def test_the_lower_thermometer_of_a_pair_missing_is_unknown() -> None:
    broken = {"wind_m_s": 5.0, "temp_c": np.nan, "temp_upper_c": 15.0}
    assert found(NOON, PAIR, **broken) == "UNKNOWN"


@pytest.mark.parametrize("name", ["temp_upper_c", "net_w_m2", "wind_spread_deg"])
def test_what_is_expected_and_missing_is_unknown(name: str) -> None:
    values = {"wind_m_s": [4.0], "temp_c": [15.0], "cloud_pct": [100.0]}
    series = WeatherSeries.of([NIGHT], SITE, "test", values)
    assert assess(series).finding == Finding.NONE
    assert assess(series, expects={name: True}).finding == Finding.UNKNOWN
    assert assess(series, expects={name: [False]}).finding == Finding.NONE


def test_a_calm_day_without_a_direction_is_not_unknown_for_that() -> None:
    series = WeatherSeries.of([NOON], SITE, "test", {"wind_m_s": [0.2], "temp_c": [15.0]})
    assert assess(series, expects={"wind_spread_deg": True}).finding == Finding.NONE


def test_expecting_a_quantity_that_no_line_uses_is_an_error() -> None:
    series = WeatherSeries.of([NOON], SITE, "test", {"wind_m_s": [1.0]})
    with pytest.raises(ValueError, match="wind_spread_deg, temp_upper_c, net_w_m2"):
        assess(series, expects={"gust_m_s": True})


def test_wind_is_brought_to_ten_metres_from_where_it_was_measured() -> None:
    """1.4 m/s at 1 m is 2.1 m/s at 10 m by the FAO-56 profile: a row further in Turner's table."""
    low = Site(41.0, -96.0, wind_height_m=1.0)
    here = {"cloud_pct": 100.0, "wind_m_s": 1.4}
    assert found(NIGHT, **here) == "LIKELY"
    assert found(NIGHT, low, **here) == "POSSIBLE"


def test_every_line_reports_on_its_own() -> None:
    lines = at(NIGHT, PAIR, temp_upper_c=14.0, net_w_m2=-5.0, wind_spread_deg=2.0).lines
    assert {name: Finding(int(f[0])).name for name, f in lines.items()} == {
        "gradient": "NONE",
        "sky": "LIKELY",
        "radiation": "NONE",
        "direction": "LIKELY",
        "clock": "POSSIBLE",
        "warming": "NONE",
    }


def test_the_stability_agrees_with_a_measured_gradient() -> None:
    inverted = at(NOON, PAIR, temp_upper_c=16.0)
    assert inverted.stability == Stability.F
    mixed = at(NIGHT, PAIR, temp_upper_c=14.0)
    assert mixed.stability == Stability.D


def test_the_obukhov_length_is_that_of_the_pair_by_night_and_of_the_sky_by_day() -> None:
    assert 0 < at(NIGHT, PAIR, temp_upper_c=16.0).obukhov_m < 20
    assert at(NIGHT, PAIR, temp_upper_c=14.0).obukhov_m < 0
    by_sky = at(NOON, PAIR, temp_upper_c=14.0, cloud_pct=0.0)
    assert by_sky.obukhov_m < 0
    assert by_sky.obukhov_m == at(NOON, cloud_pct=0.0).obukhov_m


def test_nothing_is_taken_of_the_layering_where_lines_contradict_or_the_sky_is_unknown() -> None:
    assert np.isnan(at(NOON, PAIR, temp_upper_c=16.0, cloud_pct=0.0).obukhov_m)
    assert np.isnan(at(NIGHT, cloud_pct=np.nan).obukhov_m)
    assert at(NIGHT, cloud_pct=0.0, wind_m_s=2.0).obukhov_m > 0


def test_an_empty_series_has_an_empty_answer() -> None:
    inversion = assess(WeatherSeries.of([], SITE, "test", {}))
    assert inversion.finding.shape == (0,)
    assert all(a.shape == (0,) for a in forms_and_breaks(inversion))


def test_every_time_at_once_or_one_by_one_is_the_same_but_for_the_morning() -> None:
    """Only ``warming`` looks back: without the night it does not know of a rise."""
    times = MIDNIGHT + HOUR * np.arange(48)
    rng = np.random.default_rng(7)
    values = {"wind_m_s": rng.uniform(0, 6, 48), "cloud_pct": rng.uniform(0, 100, 48)}
    series = WeatherSeries.of(times, SITE, "test", values | {"temp_c": np.full(48, 15.0)})
    singly = [int(assess(series.at(slice(i, i + 1))).finding[0]) for i in range(48)]
    assert assess(series).finding.tolist() == singly


# How far a finding is from being sprayed: unknown forbids like likely and measured do.
FORBIDS = {0: 0, 1: 1, -1: 2, 2: 2, 3: 2}
STEPS = 30
RANGES = {
    "wind_m_s": (0, 8),
    "temp_c": (5, 25),
    "cloud_pct": (0, 100),
    "solar_w_m2": (0, 1000),
    "temp_upper_c": (5, 25),
    "net_w_m2": (-100, 500),
    "wind_spread_deg": (0, 40),
}
ALWAYS = ("wind_m_s", "temp_c", "cloud_pct", "solar_w_m2")
SUPPLEMENTS = ("temp_upper_c", "net_w_m2", "wind_spread_deg")


def column(low: float, high: float) -> st.SearchStrategy[Any]:
    values = st.floats(low, high, width=32)
    return arrays(np.float64, STEPS, elements=st.one_of(values, st.just(np.nan)), fill=values)


weathers = st.fixed_dictionaries({name: column(*bounds) for name, bounds in RANGES.items()})
sites = st.builds(
    Site,
    latitude=st.sampled_from([-70.0, -35.0, 0.0, 41.0, 69.0]),
    longitude=st.sampled_from([-170.0, -96.0, 10.0, 179.0]),
    temp_upper_height_m=st.sampled_from([np.nan, 1.0, 9.0, 80.0]),
)
masks = arrays(np.bool_, STEPS)
law = settings(max_examples=150, deadline=None)


def worsened_or_equal(whole: Inversion, holed: Inversion) -> bool:
    before, after = (np.vectorize(FORBIDS.get)(i.finding) for i in (whole, holed))
    return bool(np.all(after >= before))


@law
@given(weathers, sites, st.integers(0, 365), masks, st.sets(st.sampled_from(ALWAYS), min_size=1))
def test_a_missing_value_never_improves_a_finding(
    weather: dict[str, Any], site: Site, day: int, gone: Any, names: set[str]
) -> None:
    times = MIDNIGHT + 86_400 * day + HOUR * np.arange(STEPS)
    whole = WeatherSeries.of(times, site, "test", weather)
    holed = whole.having(**{n: np.where(gone, np.nan, getattr(whole, n)) for n in names})
    assert worsened_or_equal(assess(whole), assess(holed))


@law
@given(weathers, sites, st.integers(0, 365), masks, st.sets(st.sampled_from(list(RANGES))))
def test_nor_does_one_that_only_some_sources_give_where_it_is_expected(
    weather: dict[str, Any], site: Site, day: int, gone: Any, names: set[str]
) -> None:
    expects = dict.fromkeys(SUPPLEMENTS, True)
    times = MIDNIGHT + 86_400 * day + HOUR * np.arange(STEPS)
    whole = WeatherSeries.of(times, site, "test", weather)
    holed = whole.having(**{n: np.where(gone, np.nan, getattr(whole, n)) for n in names})
    assert worsened_or_equal(assess(whole, expects=expects), assess(holed, expects=expects))


@law
@given(weathers, sites, st.integers(0, 365), st.floats(1.0, 5.0))
def test_more_wind_never_worsens_what_sky_loss_of_heat_and_clock_say(
    weather: dict[str, Any], site: Site, day: int, factor: float
) -> None:
    times = MIDNIGHT + 86_400 * day + HOUR * np.arange(STEPS)
    weak = WeatherSeries.of(times, site, "test", weather)
    strong = weak.having(wind_m_s=weak.wind_m_s * factor)
    before, after = assess(weak).lines, assess(strong).lines
    for name in ("sky", "radiation", "clock", "warming"):
        assert np.all(after[name] <= before[name]), name


def forms(findings: list[int], **how: Any) -> tuple[list[float], list[float]]:
    n = len(findings)
    inversion = Inversion(
        times=10 * np.arange(n, dtype=np.int64),
        finding=np.array(findings, dtype=np.int8),
        lines={},
        stability=np.zeros(n, dtype=np.int8),
        obukhov_m=np.zeros(n),
    )
    formed, broke = forms_and_breaks(inversion, **how)
    return [None if np.isnan(f) else f for f in formed], [None if np.isnan(b) else b for b in broke]


def test_it_tells_when_it_forms_and_when_it_breaks_next() -> None:
    formed, broke = forms([0, 0, 1, 2, 0, 0, 3])
    assert formed == [20, 20, 60, 60, 60, 60, None]
    assert broke == [40, 40, 40, 40, None, None, None]


def test_an_unknown_hour_neither_forms_nor_breaks_it() -> None:
    formed, broke = forms([0, -1, -1, 2, -1, 2, -1, 0])
    assert formed == [30, 30, 30, None, None, None, None, None]
    assert broke == [70] * 7 + [None]


def test_nothing_is_known_to_have_formed_before_the_first_known_hour() -> None:
    formed, broke = forms([-1, 2, 0])
    assert formed == [None, None, None]
    assert broke == [20, 20, None]


def test_the_bound_of_what_counts_can_be_raised() -> None:
    formed, _ = forms([0, 1, 2], at_least=Finding.LIKELY)
    assert formed == [20, 20, None]


def test_a_clear_calm_summer_day_forms_in_the_evening_and_breaks_in_the_morning() -> None:
    times = MIDNIGHT + 900 * np.arange(4 * 48)
    hours = (times - MIDNIGHT) / HOUR
    temp = 20 - 8 * np.cos(2 * np.pi * (hours - 10) / 24)
    values = {"wind_m_s": np.full(times.size, 2.0), "cloud_pct": np.zeros(times.size)}
    series = WeatherSeries.of(times, SITE, "test", values | {"temp_c": temp})
    formed, broke = forms_and_breaks(assess(series))
    sunrise, sunset = MIDNIGHT + 10.88 * HOUR, MIDNIGHT + 25.97 * HOUR
    midnight = int(np.searchsorted(times, MIDNIGHT + 4 * HOUR))
    assert 1.0 <= (broke[midnight] - sunrise) / HOUR <= 3.0
    assert -3.0 <= (formed[midnight] - sunset) / HOUR <= -1.0


@pytest.mark.parametrize(
    ("low", "high", "clears"),
    [(3.0, 12.0, True), (3.1, 12.0, False), (3.0, 12.1, False)],
)
def test_a_pair_clears_the_air_from_three_metres_to_twelve(
    low: float, high: float, clears: bool
) -> None:
    tower = Site(41.0, -96.0, temp_height_m=low, temp_upper_height_m=high)
    assert (found(NIGHT, tower, temp_upper_c=13.0) == "NONE") == clears


def test_by_day_over_crops_the_length_is_twice_golders() -> None:
    """Noon, clear and 2 m/s: Turner's index 4, class A; over 12 cm of grass."""
    noon = at(NOON, cloud_pct=0.0, wind_m_s=2.0)
    assert noon.stability == Stability.A
    inverse = -0.096 + 0.029 * np.log10(0.123 * 0.12)
    assert noon.obukhov_m == pytest.approx(2.0 / inverse)


def test_by_night_the_length_is_golders_own() -> None:
    """Clear and 3 m/s: class F."""
    night = at(NIGHT, cloud_pct=0.0, wind_m_s=3.0)
    assert night.stability == Stability.F
    inverse = 0.035 - 0.036 * np.log10(0.123 * 0.12)
    assert night.obukhov_m == pytest.approx(1.0 / inverse)


def test_radiation_tells_of_the_layering_before_the_sky() -> None:
    """A loss of 5 W/m2 is neutral, whatever the clear sky says."""
    assert np.isinf(at(NIGHT, cloud_pct=0.0, net_w_m2=-5.0).obukhov_m)


def test_in_the_hour_after_sunrise_the_sky_alone_tells_nothing() -> None:
    after_sunrise = MIDNIGHT + int(11.4 * HOUR)
    assert np.isnan(at(after_sunrise, cloud_pct=0.0).obukhov_m)
