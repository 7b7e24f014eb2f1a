"""Droplet classes of ASABE S572 / ISO 25358: sizes printed beside it by extension services.

Driftable shares: GRDC Spray Application Manual, module 4 (medium up to 20 %, coarse below 10, very
coarse below 5 %; each coarser class halves the share). Median ranges of two conventions, from
memory. The shares are what our distributions were fitted to; the medians' ranges and the order of
the classes are not.
"""

import numpy as np
import pytest
from scipy.optimize import brentq

from watcher.weather.spray_quality import volume_share_below

FINE, MEDIUM, COARSE, VERY_COARSE, EXTREMELY_COARSE, ULTRA_COARSE = range(2, 8)
# class: (S572.1 based, older S572), µm
MEDIANS = {
    0: [(0, 60)],
    1: [(61, 105), (0, 145)],
    FINE: [(106, 235), (145, 225)],
    MEDIUM: [(236, 340), (226, 325)],
    COARSE: [(341, 403), (326, 400)],
    VERY_COARSE: [(404, 502), (401, 500)],
    EXTREMELY_COARSE: [(503, 665), (500, np.inf)],
    ULTRA_COARSE: [(665, np.inf)],
}


@pytest.mark.parametrize(
    ("droplets", "most_pct"),
    [
        (FINE, 40),
        (MEDIUM, 20),
        (COARSE, 10),
        (VERY_COARSE, 5),
        (EXTREMELY_COARSE, 2.5),
        (ULTRA_COARSE, 1.25),
    ],
)
def test_the_share_below_150_um_is_the_most_the_class_may_have(droplets, most_pct):
    share = volume_share_below(droplets=droplets, diameter_m=150e-6)
    assert share * 100 == pytest.approx(most_pct)


@pytest.mark.parametrize("droplets", MEDIANS)
def test_half_the_volume_is_below_a_size_within_the_printed_ranges(droplets):
    median = 1e6 * brentq(
        lambda d: float(volume_share_below(droplets=droplets, diameter_m=d)) - 0.5, 1e-6, 5e-3
    )
    assert all(low <= median <= high for low, high in MEDIANS[droplets])


def test_a_coarser_class_has_less_volume_below_every_size():
    sizes = np.geomspace(10e-6, 1e-3, 50)
    shares = volume_share_below(droplets=np.arange(8)[:, None], diameter_m=sizes)
    assert np.all(np.diff(shares, axis=0) <= 1e-9)
