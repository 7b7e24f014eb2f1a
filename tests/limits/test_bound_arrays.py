"""Bounds of windows as arrays: what they are measured by, and what follows from what."""

import numpy as np
import pytest

from tests.support.worked_farm import build_farm, farm_tables
from watcher.limits.bound_arrays import BoundArrays
from watcher.limits.catalogue import Limit
from watcher.limits.farm_arrays import FarmArrays

MPH = 0.44704


def bounds(
    *, judging: dict[str, object] | None = None, **window: object
) -> dict[Limit, BoundArrays]:
    config = farm_tables() | {"judging": judging or {}}
    config["windows"]["contact"] = window
    return FarmArrays.of(build_farm(config)).bounds


@pytest.mark.parametrize(
    ("wind", "scale"),
    [
        ({"low": "3 mph", "high": "10 mph"}, 10 * MPH),
        ({"low": "3 mph"}, 3 * MPH),
        ({"high": "10 mph"}, 10 * MPH),
        ({"low": "0 mph"}, 1.0),
    ],
)
def test_a_wind_is_measured_by_its_high_bound_else_its_low_one(
    wind: dict[str, str], scale: float
) -> None:
    assert bounds(wind=wind)[Limit.WIND].scale == pytest.approx(scale)


def test_delta_t_is_measured_by_the_room_between_its_bounds() -> None:
    both = bounds(delta_t={"low": "2 delta_degC", "high": "8 delta_degC"})[Limit.DELTA_T]
    assert both.scale == pytest.approx(6.0)


def test_a_gust_nobody_wrote_follows_the_wind() -> None:
    found = bounds(wind={"high": "10 mph"}, judging={"gust_over_wind": "4 mph"})[Limit.GUST]
    assert found.high == pytest.approx(14 * MPH)
    assert set(found.derived) == {True}
    own = bounds(wind={"high": "10 mph"}, gust={"high": "12 mph"})[Limit.GUST]
    assert own.high == pytest.approx(12 * MPH)
    assert set(own.derived) == {False}


def test_a_limit_without_any_bound_is_not_checked_but_wind_and_gust_are() -> None:
    assert set(bounds()) == {Limit.WIND, Limit.GUST}
    assert np.isneginf(bounds()[Limit.WIND].low).all()
    assert np.isposinf(bounds()[Limit.WIND].high).all()
    one_sided = bounds(temperature={"high": "25 degC"}, humidity={"low": "40 %"})
    assert set(one_sided) >= {Limit.TEMPERATURE, Limit.HUMIDITY}


def test_a_margin_of_its_own_takes_the_place_of_the_usual_one() -> None:
    own = bounds(humidity={"low": "40 %", "margin": 0.25}, judging={"margin": 0.10})
    assert own[Limit.HUMIDITY].margin == pytest.approx(0.25)
    assert own[Limit.WIND].margin == pytest.approx(0.10)
