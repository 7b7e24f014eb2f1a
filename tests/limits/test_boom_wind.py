"""The wind as each limit asks for it: from the mast's own surface to the boom over the crop."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from tests.support.worked_farm import build_farm, fair_weather, farm_tables
from watcher.judge.judgement import Judgement, judge
from watcher.limits.boom_wind import WindPlace, boom_wind, calm_to
from watcher.limits.catalogue import Limit
from watcher.limits.farm_arrays import FarmArrays
from watcher.limits.status import Band, LimitState
from watcher.weather.series import Site
from watcher.weather.wind_profile import UNCERTAINTY, UNCERTAINTY_LAYERED, Surface


def _plan(canopy: str | None = None) -> FarmArrays:
    config = farm_tables()
    if canopy is not None:
        for field in config["fields"].values():
            field["canopy"] = canopy
    return FarmArrays.of(build_farm(config))


def _from(height_m: float, canopy_m: float = 0.12, **weather: Any) -> Any:
    series = fair_weather(**weather)
    site = replace(series.site, wind_height_m=height_m, canopy_m=canopy_m)
    return replace(series, site=site)


def _share(plan: FarmArrays, series: Any, obukhov_m: float) -> float:
    wind = boom_wind(plan, series, np.full(len(series), obukhov_m)).wind_m_s
    return float(wind[0, 0, 0] / series.wind_m_s[0])


def test_a_mast_in_grass_is_not_taken_for_one_in_the_crop() -> None:
    """3 m mast beside 0.9 m of crop: 0.503 to 0.561 by how large the field is, and not the 0.643 of
    the crop's own profile (air.md, section 1)."""
    share = _share(_plan("90 cm"), _from(3.0), np.inf)
    assert 0.50 < share < 0.57
    own = _share(_plan("90 cm"), _from(3.0, canopy_m=0.9), np.inf)
    assert own == pytest.approx(0.643, abs=0.02)  # boom at 0.508 m, not half a metre


def test_a_mast_lower_than_the_crop_tells_of_the_wind_above_it() -> None:
    assert np.isfinite(_share(_plan("210 cm"), _from(2.0), np.inf))


def test_stable_air_leaves_less_wind_at_the_boom() -> None:
    plan, series = _plan("90 cm"), _from(10.0)
    assert _share(plan, series, 20.0) < 0.8 * _share(plan, series, np.inf)


def test_an_unknown_layering_is_judged_as_mixed_air_with_more_doubt() -> None:
    plan, series = _plan(), _from(10.0)
    known, unknown = (
        boom_wind(plan, series, np.full(len(series), length)) for length in (np.inf, np.nan)
    )
    assert np.array_equal(known.wind_m_s, unknown.wind_m_s)
    assert known.doubt_m_s == pytest.approx(UNCERTAINTY * known.wind_m_s)
    assert unknown.doubt_m_s == pytest.approx(UNCERTAINTY_LAYERED * known.wind_m_s)


def test_a_wind_measured_at_the_boom_has_no_doubt_of_being_brought_there() -> None:
    plan = _plan()
    series = _from(float(plan.canopy_m[0] + plan.boom_m[0]))
    assert np.all(boom_wind(plan, series, np.full(len(series), 20.0)).doubt_m_s[0, 0] == 0.0)


def _gust(judgement: Judgement) -> tuple[float, LimitState]:
    found = next(c for c in judgement.checks if c.limit is Limit.GUST)
    return float(found.headroom[0, 0, 0]), LimitState(int(found.stand[0, 0, 0]))


def test_the_doubt_widens_what_counts_as_near() -> None:
    """9 mph at the boom and a gust with 17 % of room: enough where it was measured, near where it
    was brought down from 10 m in air of which nobody knows the layering (30 % of 9 in 15 mph)."""
    plan = _plan()
    at_boom = float(plan.canopy_m[0] + plan.boom_m[0])
    found = {}
    for height in (at_boom, 10.0):
        series = _from(height, wind_mph=9.0, cloud_pct=np.nan)
        series = series.having(wind_m_s=series.wind_m_s / _share(plan, series, np.inf))
        mean = 9.0 * 0.44704
        excess = 0.83 * float(plan.bounds[Limit.GUST].high[0]) - mean
        found[height] = _gust(judge(plan, series.having(gust_m_s=series.wind_m_s + excess)))
    assert found[at_boom] == (pytest.approx(0.17), LimitState.HOLDS)
    assert found[10.0] == (pytest.approx(0.17), LimitState.NEAR)


def test_fields_of_one_size_stay_of_one_kind() -> None:
    plan = _plan()
    alike = {(w, f.canopy, f.weeds) for w, f in zip(plan.windows, plan._plans, strict=True)}
    assert len(set(plan.kind.tolist())) <= 2 * len(alike)
    assert set(plan.layer_m.tolist()) <= {5.0, 10.0, 20.0, 40.0}


@pytest.mark.parametrize(
    ("mph", "band"),
    [
        (2.99, Band.STILL),
        (3.0, Band.CALM),
        (6.0, Band.CALM),
        (6.01, Band.MARGINAL),
        (10.0, Band.MARGINAL),
        (10.01, Band.WINDY),
        (np.nan, Band.UNKNOWN),
    ],
)
def test_the_bands_of_a_wind_at_the_boom(mph: float, band: Band) -> None:
    """A window of 3 to 10 mph, calm up to six tenths of it; measured at the boom."""
    config = farm_tables() | {"judging": {"calm_share": 0.6}}
    plan = FarmArrays.of(build_farm(config))
    series = fair_weather(hours=1, wind_mph=mph)
    found = boom_wind(plan, series, np.array([np.inf]))
    assert found.band[0, 0, 0] == band
    assert calm_to(plan, 0, 0) == pytest.approx(6.0 * 0.44704)


def test_a_wind_of_which_only_bounds_are_known_is_windy_or_not_known() -> None:
    plan = _plan()
    series = fair_weather(hours=3, wind_mph=np.nan)
    least = np.array([10.0, 10.1, np.nan]) * 0.44704
    most = np.array([11.0, np.nan, 2.0]) * 0.44704
    bounded = series.bounded({"wind_m_s": (least, most)})
    found = boom_wind(plan, bounded, np.full(3, np.inf))
    assert found.band[0, 0].tolist() == [Band.UNKNOWN, Band.WINDY, Band.UNKNOWN]
    assert found.wind_bound is not None
    np.testing.assert_allclose(found.wind_bound[0][0, 0], least)


def test_profiles_are_passed_at_twice_the_canopy_at_least() -> None:
    """A boom at 0.5 m over 2 m of crop, whose own layer ends at 5 m: nothing below 4 m is used."""
    over = Surface.of_canopy(2.0)
    low, at_twice = (
        WindPlace(np.asarray(2.5), over, np.asarray(layer)).wind_share(
            Site(41.0, -96.0), np.array([np.inf])
        )
        for layer in (1.0, 4.0)
    )
    assert low == at_twice
    higher = WindPlace(np.asarray(2.5), over, np.asarray(4.5))
    assert higher.wind_share(Site(41.0, -96.0), np.array([np.inf])) != at_twice


@pytest.mark.parametrize(("force", "band"), [("advice", Band.CALM), ("rule", Band.WINDY)])
def test_advice_on_the_wind_moves_no_band_and_other_rules_are_none_of_its(
    force: str, band: Band
) -> None:
    config = farm_tables()
    config["windows"]["contact"]["rules"] = [
        {"kind": "wind", "high": "4 mph", "height": "boom"}
        | ({"force": force} if force == "advice" else {}),
        {"kind": "clock", "opens": "06:00", "closes": "20:00"},
    ]
    plan = FarmArrays.of(build_farm(config))
    found = boom_wind(plan, fair_weather(hours=1, wind_mph=4.5), np.array([np.inf]))
    assert found.band[0, 0, 0] == band
