"""The climate of place and season refuses no record, and finds degrees of another kind."""

from datetime import UTC, datetime

import pytest

from watcher.sources.quality.climate import day_mean_c
from watcher.weather.series import Site


def day(month: int, number: int = 15) -> int:
    return int(datetime(2025, month, number, tzinfo=UTC).timestamp())


@pytest.mark.parametrize(
    ("what", "site", "month", "mean_c"),
    [
        # Means of record days, from memory and rounded outwards.
        ("Yakutia in its coldest January", Site(62.0, 129.7, 100.0), 1, -58.0),
        ("the Great Plains in February 2021", Site(36.6, -97.5, 318.0), 2, -22.0),
        ("a desert valley under the sea in July", Site(36.5, -116.9, -59.0), 7, 47.0),
        ("the Sahara in summer", Site(27.0, 0.0, 280.0), 7, 43.0),
        ("western Ireland in a mild January", Site(53.0, -9.0, 10.0), 1, 13.0),
        ("the same in a cold July", Site(53.0, -9.0, 10.0), 7, 9.0),
        ("the pampas in winter", Site(-35.0, -60.0, 80.0), 7, -2.0),
        ("the pampas in summer", Site(-35.0, -60.0, 80.0), 1, 33.0),
        ("the Andean plateau in winter", Site(-17.0, -68.0, 3900.0), 7, -9.0),
        ("the equator", Site(0.0, 20.0, 400.0), 4, 30.0),
    ],
)
def test_records_are_held(what: str, site: Site, month: int, mean_c: float) -> None:
    assert day_mean_c(site, day(month)).holds(mean_c), what


@pytest.mark.parametrize(
    ("month", "mean_c"), [(3, 5.0), (4, 10.0), (6, 20.0), (7, 25.0), (10, 11.0)]
)
def test_a_usual_day_of_the_corn_belt_in_fahrenheit_is_not(month: int, mean_c: float) -> None:
    """From March to October; a frost in Fahrenheit may be a mild winter's day."""
    climate = day_mean_c(Site(41.0, -96.0, 350.0), day(month))
    assert climate.holds(mean_c)
    assert not climate.holds(mean_c * 1.8 + 32.0)


def test_nobody_knows_the_climate_of_nowhere() -> None:
    nowhere = Site(float("nan"), float("nan"), float("nan"))
    assert day_mean_c(nowhere, day(1)).holds(55.0)
