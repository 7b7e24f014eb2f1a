import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from watcher.weather.droplets import fly
from watcher.weather.spray_quality import airborne_share, volume_share_below

ALL = np.arange(8)
FINE, COARSE = 2, 4
WEATHER = {"wind_m_s": 4.0, "delta_t_k": 5.0, "boom_height_m": 0.5}
DISTANCES = st.floats(0, 100)
FEW = settings(max_examples=25, deadline=None)


def test_the_share_in_the_air_is_that_of_the_drops_that_land_beyond():
    reach = fly(diameter_m=120e-6, **WEATHER).distance_m
    share = airborne_share(droplets=FINE, distance_m=reach, **WEATHER)
    assert share == pytest.approx(
        float(volume_share_below(droplets=FINE, diameter_m=120e-6)), rel=0.01
    )


def test_drops_that_evaporate_stay_in_the_air_at_any_distance():
    near, far = (
        airborne_share(droplets=FINE, distance_m=x, **(WEATHER | {"delta_t_k": 12.0}))
        for x in (200.0, 2000.0)
    )
    assert far == near
    assert far > 0.05


def test_at_the_nozzle_all_of_it_is_in_the_air():
    assert airborne_share(droplets=ALL, distance_m=0.0, **WEATHER) == pytest.approx(1.0, abs=1e-3)


def test_in_still_air_only_what_evaporates_goes_anywhere():
    still = WEATHER | {"wind_m_s": 0.0, "delta_t_k": 0.0}
    assert airborne_share(droplets=COARSE, distance_m=1.0, **still) < 1e-3


@FEW
@given(DISTANCES, st.floats(0, 8), st.floats(0, 15))
def test_a_coarser_spray_never_has_more_in_the_air(distance, wind, delta_t):
    at = {"wind_m_s": wind, "delta_t_k": delta_t, "boom_height_m": 0.5}
    assert np.all(np.diff(airborne_share(droplets=ALL, distance_m=distance, **at)) <= 1e-9)


@FEW
@given(st.lists(DISTANCES, min_size=2, max_size=2))
def test_further_away_never_more_is_in_the_air(distances):
    near, far = airborne_share(droplets=FINE, distance_m=sorted(distances), **WEATHER)
    assert far <= near


@FEW
@given(
    st.sampled_from(["wind_m_s", "boom_height_m", "delta_t_k"]),
    st.lists(st.floats(0.3, 2.0), min_size=2, max_size=2),
    DISTANCES,
)
def test_more_wind_a_higher_boom_or_drier_air_never_leave_less_in_the_air(what, values, distance):
    less, more = airborne_share(
        droplets=COARSE, distance_m=distance, **(WEATHER | {what: np.array(sorted(values))})
    )
    assert more >= less - 1e-6


def test_classes_distances_and_weathers_broadcast():
    shares = airborne_share(
        droplets=ALL[:, None, None],
        distance_m=np.array([1.0, 5.0])[:, None],
        **(WEATHER | {"wind_m_s": np.array([1.0, 3.0, 6.0])}),
    )
    assert shares.shape == (8, 2, 3)


@pytest.mark.parametrize("missing", ["wind_m_s", "delta_t_k", "boom_height_m", "distance_m"])
def test_a_missing_value_gives_an_unknown_share(missing):
    case = {"distance_m": 5.0, **WEATHER, missing: np.nan}
    assert np.isnan(airborne_share(droplets=FINE, **case))
