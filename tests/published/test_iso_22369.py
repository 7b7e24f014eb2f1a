"""Drift reduction classes of ISO 22369-1:2006 (scope seen, bounds from memory)."""

import pytest

from watcher.weather.drift_curves import deposit_at, iso_22369_class


@pytest.mark.parametrize(
    ("reduction", "name"),
    [
        (0.99, "A"),
        (0.989, "B"),
        (0.95, "B"),
        (0.949, "C"),
        (0.90, "C"),
        (0.899, "D"),
        (0.75, "D"),
        (0.749, "E"),
        (0.50, "E"),
        (0.499, "F"),
        (0.25, "F"),
        (0.249, None),
    ],
)
def test_a_reduction_falls_in_its_class(reduction, name):
    assert iso_22369_class(reduction) == name


def test_an_unknown_reduction_has_no_class():
    assert iso_22369_class(float("nan")) is None


@pytest.mark.parametrize(("reduction", "percent"), [(0.5, 0.286), (0.75, 0.143), (0.9, 0.0572)])
def test_a_reduction_at_five_metres(reduction, percent):
    # Worked by hand from the published 0.572 % at 5 m.
    deposit = deposit_at(distance_m=5.0) * (1 - reduction)
    assert deposit == pytest.approx(percent, rel=2e-3)
