import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from watcher.weather.drift import (
    TREATED_WIDTH_M,
    Directions,
    airborne_share,
    bearings,
    deposit_pct,
    direction_weights,
    exposure,
    strength,
    swung,
)
from watcher.weather.drift_curves import MEAN_CURVE, UPPER_CURVE, deposit_at, strip_mean
from watcher.weather.spray_quality import SprayDrift

NORTH, SOUTH = 0.0, 180.0
FINE, MEDIUM, COARSE = 2, 3, 4
REFERENCE = {
    "wind_m_s": 5.0,
    "boom_height_m": 0.5,
    "speed_m_s": 8 / 3.6,
    "spray": SprayDrift.of(droplets=FINE, reduction=0.0),
}
WIND = st.floats(0, 12)
BOOM = st.floats(0.2, 1.5)
SPEED = st.floats(1, 12)
SHARE = st.floats(0, 1)
SPREAD = st.floats(0, 40)


def straight_edge(gap_m: float, width_m: float) -> dict[str, np.ndarray]:
    """A very long field with a very long neighbour along its north side."""
    slant = np.cos(np.deg2rad(np.arange(360.0)))
    ahead = slant > 1e-9
    return {
        "gap_m": np.where(ahead, gap_m / np.where(ahead, slant, 1.0), np.inf),
        "width_m": width_m / np.maximum(np.abs(slant), 1e-3),
    }


def deposit(gap_m=5.0, width_m=300.0, wind_from_deg=SOUTH, spread_deg=15.0, **setup):
    return deposit_pct(
        **straight_edge(gap_m, width_m),
        wind_from_deg=wind_from_deg,
        spread_deg=spread_deg,
        **(REFERENCE | setup),
    )


def all_three(of) -> np.ndarray:
    return np.array([of.edge_pct, of.strip_pct, of.upper_pct])


@pytest.mark.parametrize("gap_m", [1.0, 3.0, 10.0, 50.0])
def test_a_wide_field_in_steady_wind_square_to_the_edge_gets_the_published_curve(gap_m):
    got = deposit(gap_m, spread_deg=0.0)
    assert got.edge_pct == pytest.approx(deposit_at(distance_m=gap_m, curve=MEAN_CURVE))
    assert got.strip_pct == pytest.approx(
        strip_mean(near_m=gap_m, far_m=gap_m + 5, curve=MEAN_CURVE)
    )
    # No wind is quite steady: the upper estimate lets it swing by five degrees, worth 0.4 %.
    upper = deposit_at(distance_m=gap_m, curve=UPPER_CURVE)
    assert got.upper_pct == pytest.approx(upper, rel=5e-3)
    assert not got.extrapolated


@pytest.mark.parametrize("gap_m", [1.0, 10.0])
def test_the_swaths_of_a_field_as_wide_as_the_trials_add_up_to_the_curve(gap_m):
    # Each 5 m swath's share is what the field loses when its innermost swath is left out.
    whole = [deposit(gap_m, width, spread_deg=0.0).edge_pct for width in (0, 5, 10, 15, 20)]
    swaths = np.diff(whole)
    assert np.all(swaths > 0)
    assert np.all(np.diff(swaths) < 0)
    assert swaths.sum() == pytest.approx(deposit_at(distance_m=gap_m, curve=MEAN_CURVE))


def test_leaving_the_outer_swaths_lowers_the_deposit():
    assert deposit(gap_m=1.0 + 27, width_m=81 - 27).edge_pct < deposit(1.0, 81).edge_pct / 10


def test_wind_blowing_away_leaves_no_deposit():
    assert np.all(all_three(deposit(wind_from_deg=NORTH)) == 0)


def test_a_neighbour_30_degrees_off_the_mean_wind_still_gets_its_share():
    # A neighbour seen along bearings 25 to 35 only, wind blowing along 0 with 15 degrees spread.
    seen = np.isin(np.arange(360), np.arange(25, 36))
    got = deposit_pct(
        gap_m=np.where(seen, 5.0, np.inf),
        width_m=np.full(360, 300.0),
        wind_from_deg=SOUTH,
        spread_deg=15.0,
        **REFERENCE,
    )
    # Share of a normal between 24.5 and 35.5 degrees, standard deviation 15 (its own table).
    share = 0.99103 - 0.94879
    assert got.edge_pct == pytest.approx(
        share * deposit_at(distance_m=5.0, curve=MEAN_CURVE), rel=0.02
    )


@pytest.mark.parametrize("spread", [0.0, 0.3, 5.0, 15.0, 40.0])
@pytest.mark.parametrize("wind_from", [0.0, 123.4, 359.9])
def test_direction_weights_are_a_wrapped_normal(wind_from, spread):
    weights = direction_weights(wind_from_deg=wind_from, spread_deg=spread)
    bearing = np.exp(1j * np.deg2rad(np.arange(360)))
    resultant = np.sum(weights * bearing)
    toward = np.exp(1j * np.deg2rad(wind_from + 180))
    assert weights.sum() == pytest.approx(1.0)
    assert resultant / abs(resultant) == pytest.approx(toward, abs=1e-3)
    # Resultant length of a wrapped normal; cutting at three deviations leaves a little more.
    assert abs(resultant) == pytest.approx(np.exp(-(np.deg2rad(spread) ** 2) / 2), abs=0.01)


def test_the_two_factors_multiply_to_the_whole():
    edge = straight_edge(4.0, 200.0)
    shape = {"wind_from_deg": np.array([170.0, 200.0, 300.0]), "spread_deg": 12.0}
    setups = {
        "wind_m_s": np.array([1.0, 4.0, 7.0]),
        "boom_height_m": np.array([[0.5], [0.9]]),
        "speed_m_s": 4.0,
        "spray": SprayDrift.of(droplets=np.array([[FINE], [COARSE]])),
    }
    pairs = {name: np.stack([table] * 4) for name, table in edge.items()}
    whole = deposit_pct(**pairs, **shape, **setups)
    parts = exposure(along=bearings(**edge), directions=Directions.of(**shape)).scaled(
        strength(**setups)
    )
    assert whole.edge_pct.shape == (4, 2, 3)
    for name in ("edge_pct", "strip_pct", "upper_pct", "extrapolated"):
        np.testing.assert_allclose(getattr(whole, name)[1], getattr(parts, name))


@given(WIND, WIND, BOOM, SPEED)
def test_more_wind_never_lowers_the_deposit(one, other, boom, speed):
    less, more = sorted([one, other])
    at = {"boom_height_m": boom, "speed_m_s": speed}
    low, high = deposit(wind_m_s=less, **at), deposit(wind_m_s=more, **at)
    assert np.all(all_three(high) >= all_three(low))


@given(BOOM, BOOM, WIND)
def test_a_higher_boom_never_lowers_the_deposit(one, other, wind):
    low, high = (deposit(boom_height_m=h, wind_m_s=wind) for h in sorted([one, other]))
    assert np.all(all_three(high) >= all_three(low))


@given(SPEED, SPEED, WIND)
def test_driving_faster_never_lowers_the_deposit(one, other, wind):
    slow, fast = (deposit(speed_m_s=v, wind_m_s=wind) for v in sorted([one, other]))
    assert np.all(all_three(fast) >= all_three(slow))


@given(SHARE, SHARE)
def test_more_drift_reduction_never_raises_the_deposit(one, other):
    less, more = (
        deposit(spray=SprayDrift.of(droplets=FINE, reduction=share))
        for share in sorted([one, other])
    )
    assert np.all(all_three(more) <= all_three(less))


@given(st.floats(0, 120), st.floats(0, 120), st.floats(1, 60), SPREAD)
def test_a_nearer_neighbour_never_lowers_the_deposit(one, other, width, spread):
    near, far = (deposit(gap, width, spread_deg=spread) for gap in sorted([one, other]))
    assert np.all(all_three(near) >= all_three(far) - 1e-12)


@given(st.floats(0, 60), st.floats(0, 60), st.floats(0, 60))
def test_a_wider_field_never_lowers_the_deposit(gap, one, other):
    narrow, wide = (deposit(gap, width) for width in sorted([one, other]))
    assert np.all(all_three(wide) >= all_three(narrow) - 1e-12)


@given(st.floats(0, 180), st.floats(0, 180), SPREAD)
def test_turning_the_wind_away_never_raises_the_deposit(one, other, spread):
    facing, away = (
        deposit(wind_from_deg=SOUTH + turn, spread_deg=spread) for turn in sorted([one, other])
    )
    assert away.edge_pct <= facing.edge_pct + 1e-9
    assert away.strip_pct <= facing.strip_pct + 1e-9
    # The worst mean direction is looked for in steps, a quarter of the spread each.
    assert away.upper_pct <= facing.upper_pct * 1.01 + 1e-9


@given(st.floats(0, 360), SPREAD, SPREAD, st.integers(1, 90))
def test_a_wider_swing_never_lowers_the_upper_deposit(wind_from, one, other, across):
    """Whatever lies how: here a neighbour seen along some bearings only."""
    gap = np.where(np.arange(360) < across, 20.0, np.inf)
    edge = {"gap_m": gap, "width_m": np.full(360, 300.0)}
    steady, swinging = (
        deposit_pct(**edge, wind_from_deg=wind_from, spread_deg=s, **REFERENCE).upper_pct
        for s in sorted([one, other])
    )
    assert swinging >= steady


@given(WIND, BOOM, SPEED, SHARE | st.just(np.nan), st.integers(0, 7))
def test_the_upper_estimate_is_never_below_the_expected_one(wind, boom, speed, share, droplets):
    spray = SprayDrift.of(droplets=droplets, reduction=share)
    got = deposit(wind_m_s=wind, boom_height_m=boom, speed_m_s=speed, spray=spray)
    assert got.upper_pct >= got.edge_pct


@pytest.mark.parametrize("missing", ["wind_m_s", "boom_height_m", "speed_m_s"])
def test_a_missing_value_gives_an_unknown_deposit(missing):
    assert np.all(np.isnan(all_three(deposit(**{missing: np.nan}))))


@pytest.mark.parametrize("missing", ["wind_from_deg", "spread_deg"])
def test_a_missing_direction_gives_an_unknown_deposit_even_where_nobody_is_near(missing):
    nobody = {"gap_m": np.full(360, np.inf), "width_m": np.full(360, 100.0)}
    known = {"wind_from_deg": 10.0, "spread_deg": 10.0}
    got = deposit_pct(**nobody, **(known | {missing: np.nan}), **REFERENCE)
    assert np.all(np.isnan(all_three(got)))


def test_an_unknown_gap_gives_an_unknown_deposit():
    edge = straight_edge(5.0, 100.0)
    edge["gap_m"][0] = np.nan
    got = deposit_pct(**edge, wind_from_deg=SOUTH, spread_deg=5.0, **REFERENCE)
    assert np.all(np.isnan(all_three(got)))


@pytest.mark.parametrize(
    ("setup", "outside"),
    [
        ({}, False),
        ({"wind_m_s": 5.1}, True),
        ({"wind_m_s": 0.4}, True),
        ({"boom_height_m": 1.3}, True),
        ({"boom_height_m": 0.25}, True),
        ({"speed_m_s": 31 / 3.6}, True),
        ({"gap_m": 0.5}, True),
        ({"gap_m": 60.0}, True),
    ],
)
def test_what_the_sources_do_not_support_is_said_to_be_extrapolated(setup, outside):
    assert bool(deposit(**({"spread_deg": 5.0} | setup)).extrapolated) is outside


def test_beyond_the_supported_wind_the_expected_deposit_is_held_and_the_upper_one_grows():
    held, beyond = strength(**REFERENCE), strength(**(REFERENCE | {"wind_m_s": 7.5}))
    assert beyond.expected == held.expected
    assert beyond.upper == pytest.approx(1.5 * held.upper)


def test_driving_30_instead_of_8_km_h_in_20_km_h_of_wind_doubles_the_drift():
    # GRDC Ground Cover 100 (2012); no effect at 7-8 km/h of wind.
    def speeding(wind_kmh: float) -> float:
        slow, fast = (
            strength(**(REFERENCE | {"wind_m_s": wind_kmh / 3.6, "speed_m_s": kmh / 3.6})).expected
            for kmh in (8, 30)
        )
        return float(fast / slow)

    assert speeding(20) == pytest.approx(2.0)
    assert speeding(8) == pytest.approx(1.0)


def test_a_boom_at_70_cm_doubles_the_upper_estimate():
    # de Jong et al. 2000, from memory: about double at 70 cm against 50 cm.
    assert strength(**(REFERENCE | {"boom_height_m": 0.7})).upper == pytest.approx(2.0, rel=0.05)


@pytest.mark.parametrize(
    ("droplets", "least", "most"), [(FINE, 3.0, 6.0), (MEDIUM, 1.7, 2.0), (COARSE, 1.7, 2.0)]
)
def test_a_boom_of_50_instead_of_20_inches_raises_drift_as_the_published_curves_do(
    droplets, least, most
):
    # US Tier I curves of ground booms, low and high (heights from memory; R package agdriftR).
    spray = SprayDrift.of(droplets=droplets)
    low, high = (
        strength(**(REFERENCE | {"boom_height_m": inches * 0.0254, "spray": spray})).expected
        for inches in (20, 50)
    )
    assert least <= high / low <= most


@given(st.integers(0, 6), WIND, BOOM, SPEED, st.floats(1, 100), SPREAD)
def test_a_coarser_class_always_drifts_less(droplets, wind, boom, speed, gap, spread):
    finer, coarser = (
        deposit(
            gap,
            spread_deg=spread,
            wind_m_s=wind,
            boom_height_m=boom,
            speed_m_s=speed,
            spray=SprayDrift.of(droplets=d),
        )
        for d in (droplets, droplets + 1)
    )
    less, more = all_three(coarser), all_three(finer)
    assert np.all((less < more) | (less == 100.0))  # nothing gets more than was put on
    assert np.all(less <= more)


def test_what_is_still_in_the_air_is_what_lands_further_on():
    # One story: the share that comes down between two distances is the deposit there, summed up.
    at = np.geomspace(10.0, 50.0, 400)
    landing = np.trapezoid(deposit_at(distance_m=at, curve=MEAN_CURVE), at) / 100.0
    near, far = airborne_share(distance_m=np.array([10.0, 50.0]), strength=1.7)
    assert near - far == pytest.approx(1.7 * landing / TREATED_WIDTH_M, rel=1e-4)
    assert airborne_share(distance_m=400.0, strength=1.7) == 0.0
    assert np.isnan(airborne_share(distance_m=10.0, strength=np.nan))


@pytest.mark.parametrize("share", [75.0, -0.1])
def test_a_reduction_that_is_no_share_is_an_error(share):
    with pytest.raises(ValueError, match="between 0 and 1"):
        SprayDrift.of(droplets=FINE, reduction=share)


@pytest.mark.parametrize(
    "at_the_end",
    [
        {"wind_m_s": 0.5},
        {"wind_m_s": 5.0},
        {"boom_height_m": 0.3},
        {"boom_height_m": 1.27},
        {"speed_m_s": 30 / 3.6},
    ],
)
def test_the_ends_of_what_the_sources_support_are_supported(at_the_end):
    assert not strength(**(REFERENCE | at_the_end)).extrapolated


@pytest.mark.parametrize(("gap_m", "outside"), [(0.99, True), (1.0, False), (50.0, False)])
def test_the_curves_were_seen_from_one_to_fifty_metres(gap_m, outside):
    """Along the one bearing on which the neighbour is that far."""
    gap = np.full(360, np.inf)
    gap[0] = gap_m
    along = bearings(gap_m=gap, width_m=np.full(360, 100.0))
    assert bool(along.extrapolated[0]) is outside
    assert not along.extrapolated[1:].any()


@pytest.mark.parametrize(
    ("setup", "expected", "upper"),
    [
        ({}, 1.0, 1.0),
        ({"wind_m_s": 2.0}, 0.4, 0.4),
        ({"wind_m_s": 0.2}, 0.1, 0.1),  # held at 0.5 m/s
        ({"boom_height_m": 1.0}, 2.0**1.2, 4.0),
        ({"boom_height_m": 1.27}, 2.54**1.2, 2.54**2),
        ({"boom_height_m": 2.0}, 2.54**1.2, 16.0),
        ({"boom_height_m": 0.3}, 0.6**1.2, 0.6**0.7),
        ({"boom_height_m": 0.1}, 0.6**1.2, 0.6**0.7),
        # Half way from 8 to 30 km/h.
        ({"speed_m_s": 19 / 3.6, "wind_m_s": 20 / 3.6}, 1.5, 20 / 18 * 1.5),
        ({"speed_m_s": 1.0}, 1.0, 1.0),
        ({"speed_m_s": 41 / 3.6, "wind_m_s": 20 / 3.6}, 2.0, 20 / 18 * 2.5),
        ({"speed_m_s": 30 / 3.6, "wind_m_s": 14 / 3.6}, 14 / 18 * 1.5, 14 / 18 * 1.5),
    ],
)
def test_the_index_by_hand(setup, expected, upper):
    """Wind over 5 m/s, height over 0.5 m to its power, 1 more from 8 to 30 km/h in 20 km/h of
    wind, half of that in 14 km/h: the scalings stated in the module."""
    found = strength(**(REFERENCE | setup))
    assert found.expected == pytest.approx(expected)
    assert found.upper == pytest.approx(upper)


def test_a_spray_no_finer_than_the_reference_gains_less_from_a_high_boom():
    coarse = REFERENCE | {"spray": SprayDrift.of(droplets=MEDIUM, reduction=0.0)}
    assert strength(**(coarse | {"boom_height_m": 1.0})).expected == pytest.approx(2.0**0.7)


def test_the_upper_estimate_swings_by_five_degrees_or_ten_whichever_brings_more():
    """A neighbour seen along one bearing is hit most by the steadier wind, one seen to both sides
    of it only by the one that swings: the shares of a normal over whole degrees."""
    one, beside = np.zeros(360), np.zeros(360)
    one[0], beside[[9, -9]] = 100.0, 100.0
    for table, spread, share in ((one, 5.0, 100), (beside, 10.0, 200)):
        normal = np.exp(-0.5 * ((0.0 if table is one else 9.0) / spread) ** 2)
        expected = share * normal / (spread * np.sqrt(2 * np.pi))
        assert swung(table)[0] == pytest.approx(expected, rel=0.01)


def test_directions_are_cut_at_three_deviations():
    weights = direction_weights(wind_from_deg=180.0, spread_deg=10.0)
    assert weights[29] > 0.0
    assert weights[31] == 0.0
    # Of a normal; what lies beyond three deviations (0.27 %) is spread over the rest.
    assert weights[0] == pytest.approx(0.0399 / 0.9973, rel=0.005)
    assert weights[10] == pytest.approx(0.0242 / 0.9973, rel=0.005)


def test_no_more_lands_than_was_sprayed():
    flooded = deposit(gap_m=0.0, boom_height_m=1.5, wind_m_s=12.0, speed_m_s=12.0, spread_deg=0.0)
    assert all_three(flooded).max() == 100.0


def test_all_of_it_is_down_by_three_hundred_metres():
    """The last metre before 300 m: the mean curve there, by hand 1.51 x 299.5^-0.983 %."""
    share = airborne_share(distance_m=np.array([299.0, 300.0, 301.0]), strength=1.0)
    assert share[0] == pytest.approx(1.51 * 299.5**-0.983 / 100 / 20, rel=1e-3)
    assert share[1:].tolist() == [0.0, 0.0]
    assert airborne_share(distance_m=0.0, strength=1e6) == 1.0
