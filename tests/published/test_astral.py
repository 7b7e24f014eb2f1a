"""Sunrise and sunset beside astral, on the day each of them really belongs to."""

from datetime import UTC, date, timedelta

import numpy as np
import pytest
from astral import Observer
from astral.sun import noon, sunrise, sunset

from watcher.weather.sun import (
    next_sunrise,
    next_sunset,
    previous_sunrise,
    previous_sunset,
    solar_noon,
)

PLACES = [
    (-45.0, 170.5),  # far east
    (-17.8, 177.9),
    (52.0, 0.0),
    (41.0, -96.0),
    (21.3, -157.9),  # far west
    (60.0, 25.0),
    (-51.7, -57.9),
]
DAYS = [date(2026, 1, 2) + timedelta(days=13 * i) for i in range(28)]
TWO_MINUTES = 120.0


@pytest.mark.parametrize(("latitude", "longitude"), PLACES)
@pytest.mark.parametrize(
    ("event", "following", "last"),
    [(sunrise, next_sunrise, previous_sunrise), (sunset, next_sunset, previous_sunset)],
)
def test_rise_and_set_over_a_year(
    latitude: float, longitude: float, event: object, following: object, last: object
) -> None:
    assert callable(event)
    assert callable(following)
    assert callable(last)
    observer = Observer(latitude, longitude)
    theirs = np.array([event(observer, date=day, tzinfo=UTC).timestamp() for day in DAYS])
    where = {"latitude": latitude, "longitude": longitude}
    for hours in (1, 9, 20):
        ahead = following(times=theirs - hours * 3600, **where)
        behind = last(times=theirs + hours * 3600, **where)
        assert np.abs(ahead - theirs).max() < TWO_MINUTES
        assert np.abs(behind - theirs).max() < TWO_MINUTES


@pytest.mark.parametrize(("latitude", "longitude"), PLACES)
def test_solar_noon_over_a_year(latitude: float, longitude: float) -> None:
    observer = Observer(latitude, longitude)
    theirs = np.array([noon(observer, date=day, tzinfo=UTC).timestamp() for day in DAYS])
    for hours in (-11, 0, 11):
        ours = solar_noon(times=theirs + hours * 3600, longitude=longitude)
        assert np.abs(ours - theirs).max() < TWO_MINUTES
