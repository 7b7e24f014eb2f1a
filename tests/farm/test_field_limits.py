"""A window tightened by a field's own limits."""

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from watcher.farm.field_limits import limits_for
from watcher.farm.models import DropletClass, Origin, OwnLimits, Window


def _window(**limits: Any) -> Window:
    return Window.model_validate({"wind": {"low": "3 m/s", "high": "9 m/s"}} | limits)


def _own(**limits: Any) -> OwnLimits:
    return OwnLimits.model_validate(limits)


def test_without_own_limits_the_window_stands() -> None:
    window = _window(temperature={"high": "30 degC", "origin": "law", "margin": 0.2})
    assert limits_for(window, OwnLimits()) == window


def test_the_tighter_of_each_bound_stands_with_its_origin() -> None:
    window = _window(wind={"low": "3 m/s", "high": "9 m/s", "origin": "label"})
    wind = limits_for(window, _own(wind={"low": "2 m/s", "high": "8 m/s"})).wind
    assert (wind.low, wind.high) == (3.0, 8.0)
    assert (wind.origin_of("low"), wind.origin_of("high")) == (Origin.LABEL, Origin.OWN)


def test_of_equal_bounds_the_stricter_origin_stands() -> None:
    window = _window(wind={"low": "3 m/s", "high": "9 m/s", "origin": "label"})
    wind = limits_for(window, _own(wind={"low": "3 m/s", "high": "9 m/s"})).wind
    assert {wind.origin_of("low"), wind.origin_of("high")} == {Origin.LABEL}


@pytest.mark.parametrize(
    ("window", "own", "stands"),
    [
        ("default", "own", Origin.OWN),
        ("own", "label", Origin.LABEL),
        ("label", "law", Origin.LAW),
        ("label", "own", Origin.LABEL),
        # No law stands before another: the window's, said first.
        ("law", "state law", Origin.LAW),
        ("state law", "national law", Origin.STATE_LAW),
        ("national law", "law", Origin.NATIONAL_LAW),
    ],
)
def test_of_two_equal_the_law_s_stands_before_the_label_s_before_one_s_own(
    window: str, own: str, stands: Origin
) -> None:
    def limits(origin: str) -> dict[str, Any]:
        return {
            "temperature": {"high": "30 degC", "origin": origin},
            "droplets": {"low": "medium", "origin": origin},
        }

    merged = limits_for(_window(**limits(window)), _own(**limits(own)))
    assert merged.temperature is not None
    assert merged.droplets is not None
    assert (merged.temperature.origin, merged.droplets.origin) == (stands, stands)


def test_a_low_bound_alone_keeps_its_origin() -> None:
    window = _window(rain_free_after={"low": "4 h", "origin": "label"})
    merged = limits_for(window, _own(rain_free_after={"low": "2 h"})).rain_free_after
    assert merged is not None
    assert (merged.low, merged.origin, merged.origin_of("low")) == (
        4 * 3600.0,
        Origin.LABEL,
        Origin.LABEL,
    )


def test_a_limit_only_one_of_them_has_is_taken_as_it_is() -> None:
    merged = limits_for(_window(humidity={"low": "40 %"}), _own(gust={"high": "12 m/s"}))
    assert merged.humidity is not None
    assert merged.humidity.low == 40.0
    assert merged.gust is not None
    assert merged.gust.high == 12.0


def test_the_wider_margin_stands() -> None:
    window = _window(wind={"low": "3 m/s", "high": "9 m/s", "margin": 0.1})
    assert limits_for(window, _own(wind={"high": "8 m/s", "margin": 0.3})).wind.margin == 0.3
    assert limits_for(window, _own(wind={"high": "8 m/s"})).wind.margin == 0.1


@pytest.mark.parametrize(
    ("window", "own", "merged"),
    [
        ("medium", "coarse", DropletClass.COARSE),
        ("coarse", "medium", DropletClass.COARSE),
        (None, "fine", DropletClass.FINE),
        ("fine", None, DropletClass.FINE),
    ],
)
def test_the_coarser_droplet_rule_stands(
    window: str | None, own: str | None, merged: DropletClass
) -> None:
    rules = [{} if low is None else {"droplets": {"low": low}} for low in (window, own)]
    rule = limits_for(_window(**rules[0]), _own(**rules[1])).droplets
    assert rule is not None
    assert rule.low is merged


bound = st.none() | st.floats(0, 30).map(lambda speed: f"{speed:.3f} m/s")
bounds = st.fixed_dictionaries({"low": bound, "high": bound, "origin": st.sampled_from(Origin)})


@given(bounds, bounds)
def test_merging_never_loosens_either(window: dict[str, Any], own: dict[str, Any]) -> None:
    bounds = [{k: v for k, v in b.items() if v is not None} for b in (window, own)]
    one, other = _window(wind=bounds[0]), _own(wind=bounds[1])
    merged = limits_for(one, other).wind
    for given_ in (one.wind, other.wind):
        assert given_ is not None
        assert given_.low is None or (merged.low is not None and merged.low >= given_.low)
        assert given_.high is None or (merged.high is not None and merged.high <= given_.high)


@given(bounds, bounds)
def test_merging_twice_changes_nothing(window: dict[str, Any], own: dict[str, Any]) -> None:
    bounds = [{k: v for k, v in b.items() if v is not None} for b in (window, own)]
    other = _own(wind=bounds[1])
    once = limits_for(_window(wind=bounds[0]), other)
    assert limits_for(once, other) == once
