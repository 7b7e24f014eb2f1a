"""Basic drift values for field crops, JKI 2010 / Rautmann, Streloke & Winkler 2001.

Percent of the applied rate on the ground, every row of the table. We hold the curves FOCUS fitted
to it, so the check allows the fit's known 3 % and half a unit of the table's last digit.
"""

import numpy as np
import pytest
from scipy import stats

from watcher.weather.drift_curves import CURVES, MEAN_CURVE, deposit_at, distance_for

DISTANCES_M = (1, 3, 5, 10, 15, 20, 30, 40, 50)
TABLE = {
    (1, 90): (2.77, 0.95, 0.57, 0.29, 0.20, 0.15, 0.10, 0.07, 0.06),
    (2, 82): (2.38, 0.79, 0.47, 0.24, 0.16, 0.12, 0.08, 0.06, 0.05),
    (3, 77): (2.01, 0.68, 0.41, 0.20, 0.14, 0.10, 0.07, 0.05, 0.04),
    (4, 74): (1.85, 0.62, 0.38, 0.19, 0.13, 0.10, 0.06, 0.05, 0.04),
    (5, 72): (1.75, 0.59, 0.36, 0.18, 0.12, 0.09, 0.06, 0.05, 0.04),
    (6, 70): (1.64, 0.56, 0.34, 0.17, 0.11, 0.09, 0.06, 0.04, 0.03),
    (7, 69): (1.61, 0.55, 0.33, 0.17, 0.11, 0.08, 0.06, 0.04, 0.03),
    (8, 67): (1.52, 0.52, 0.31, 0.16, 0.11, 0.08, 0.05, 0.04, 0.03),
}


@pytest.mark.parametrize(("applications", "percentile"), TABLE)
def test_the_curve_goes_through_the_published_row(applications, percentile):
    curve = CURVES[applications]
    row = np.array(TABLE[applications, percentile])
    assert curve.percentile == percentile
    off = np.abs(deposit_at(distance_m=DISTANCES_M, curve=curve) - row)
    assert np.all(off <= 0.03 * row + 0.005)


def test_the_mean_curve_is_at_the_mean_of_a_log_normal_through_the_table_at_one_metre():
    z = stats.norm.ppf([percentile / 100 for _, percentile in TABLE])
    sigma, log_median = np.polyfit(z, np.log([row[0] for row in TABLE.values()]), 1)
    mean = np.exp(log_median + sigma**2 / 2)
    assert deposit_at(distance_m=1.0, curve=MEAN_CURVE) == pytest.approx(mean, rel=0.03)


@pytest.mark.parametrize(("reduction", "distance_m"), [(0.0, 29.75), (0.75, 7.21), (0.90, 2.82)])
def test_a_deposit_of_a_tenth_of_a_percent_is_reached_at_the_distance_worked_out(
    reduction, distance_m
):
    # Computed from the published curve by hand.
    distance = distance_for(tolerance_pct=0.1, strength=1 - reduction)
    assert distance == pytest.approx(distance_m, abs=0.005)
