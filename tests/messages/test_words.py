"""The small words of texts: how far away something is."""

import pytest

from tests.support.english import english
from watcher.messages.words import distance
from watcher.units import System


@pytest.mark.parametrize(
    ("away_m", "system", "words"),
    [
        (0.0, "us", "0 ft"),
        (804.0, "us", "2638 ft"),
        (804.672, "us", "0.5 mi"),  # 1 mi = 1609.344 m, by definition
        (3218.688, "us", "2.0 mi"),
        (999.0, "metric", "999 m"),
        (1000.0, "metric", "1.0 km"),
        (12_345.0, "metric", "12.3 km"),
    ],
)
def test_a_distance_is_in_a_unit_that_fits(away_m: float, system: System, words: str) -> None:
    assert english(distance(away_m, system)) == words
