"""FOCUS surface water scenarios, appendix B and 5.4.5: arable crops, one application.

Values to all digits as printed by the documentation of an independent implementation (pfm for R).
"""

import pytest
from scipy.integrate import quad

from watcher.weather.drift_curves import CURVES, deposit_at, strip_mean


def test_the_regression_gives_the_printed_percentages_at_1_3_and_5_metres():
    printed = [2.7593000, 0.9424748, 0.5719342]
    assert deposit_at(distance_m=[1, 3, 5]) == pytest.approx(printed, abs=5e-8)


def test_the_strip_mean_gives_the_printed_percentages_for_water_one_metre_wide():
    printed = [1.9273922, 0.8160023, 0.5224362]
    assert strip_mean(near_m=[1, 3, 5], far_m=[2, 4, 6]) == pytest.approx(printed, abs=5e-8)


@pytest.mark.parametrize(
    ("distance_m", "percent"),
    [(2, 1.4010), (4, 0.7114), (10, 0.2904), (15, 0.1954), (20, 0.1475), (50, 0.0602)],
)
def test_the_regression_between_the_printed_distances(distance_m, percent):
    assert deposit_at(distance_m=distance_m) == pytest.approx(percent, abs=5e-5)


@pytest.mark.parametrize("curve", CURVES.values(), ids=CURVES.keys())
@pytest.mark.parametrize(("near_m", "far_m"), [(0.0, 0.02), (0.0, 5.0), (0.5, 5.5), (40.0, 45.0)])
def test_the_strip_mean_is_the_integral_of_the_curve(curve, near_m, far_m):
    points = [x for x in (0.015, 0.026, 0.1, 1.0) if near_m < x < far_m]
    integral, _ = quad(
        lambda x: float(deposit_at(distance_m=x, curve=curve)), near_m, far_m, points=points
    )
    mean = strip_mean(near_m=near_m, far_m=far_m, curve=curve)
    assert mean == pytest.approx(integral / (far_m - near_m), rel=1e-5)
