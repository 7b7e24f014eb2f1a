"""Fields of one kind are judged once: each must come out as if it had been judged alone."""

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from tests.support.large_farm import changeable_weather
from tests.support.mixed_farm import ASKED, KINDS, mixed_farm
from tests.support.worked_farm import LATITUDE, LONGITUDE, build_farm, farm_tables
from watcher.farm.geometry.bearings import Reach
from watcher.judge.judgement import Judgement, judge
from watcher.limits.catalogue import Limit
from watcher.limits.farm_arrays import FarmArrays
from watcher.limits.status import LimitState
from watcher.weather.series import WeatherSeries

HOURS = 48


def _only(plan: FarmArrays, fields: list[int]) -> FarmArrays:
    """The plan of some of the fields and their neighbours, on the same ground."""
    reach = plan.reach
    own = np.isin(reach.pair_field, fields)
    return replace(
        plan,
        fields=tuple(plan.fields[f] for f in fields),
        windows=tuple(plan.windows[f] for f in fields),
        reach=Reach(
            np.searchsorted(fields, reach.pair_field[own]),
            reach.pair_neighbour[own],
            reach.gap_m[own],
            reach.width_m[fields],
        ),
    )


def _holed_weather(seed: int) -> WeatherSeries:
    rng = np.random.default_rng(seed)
    series = changeable_weather(HOURS)
    return series.having(
        **{
            name: np.where(rng.random(HOURS) < 0.1, np.nan, values)
            for name, values in series.quantities().items()
        }
    )


def _outcomes(judgement: Judgement, field: int) -> Iterator[tuple[str, np.ndarray]]:
    """Everything a reader may ask of one field, by name. [S, T] each"""
    shape = judgement.instant.shape
    wind = judgement.boom
    whole: dict[str, np.ndarray] = {
        "instant": judgement.instant,
        "status": judgement.status,
        "drift": judgement.drift.upper,
        "wind": wind.wind_m_s,
        "gust": wind.gust_m_s,
        "band": wind.band,
    }
    for check in judgement.checks:
        for part in ("value", "low", "high", "headroom", "stand"):
            whole[f"{check.limit} {part}"] = getattr(check, part)
    for name, values in whole.items():
        yield name, np.broadcast_to(values, shape)[field]


@pytest.fixture(scope="module")
def mixed() -> FarmArrays:
    return FarmArrays.of(mixed_farm())


_ASK_ALIKE = [0, 1, 2, 3, 0, 4, 5, 6]
"""Which of ``ASKED`` ask the same."""


def test_fields_are_of_one_kind_when_only_place_setups_and_a_little_size_differ(
    mixed: FarmArrays,
) -> None:
    """A size counts as far as the wind over a field is the field's own up to another height."""
    asked = [_ASK_ALIKE[f % len(ASKED)] for f in range(len(mixed.fields))]
    first: dict[tuple[int, float], int] = {}
    alike = zip(asked, mixed.layer_m.tolist(), strict=True)
    assert mixed.kind.tolist() == [first.setdefault(of, len(first)) for of in alike]
    assert KINDS < len(mixed.kinds.fields) <= 2 * KINDS
    assert len(np.unique(mixed.duration_s[:, 0])) == len(mixed.fields)


def _assert_each_as_if_alone(plan: FarmArrays, series: WeatherSeries) -> None:
    together = judge(plan, series)
    for field in range(len(plan.fields)):
        alone = dict(_outcomes(judge(_only(plan, [field]), series), 0))
        for name, found in _outcomes(together, field):
            if name in alone:
                # Deposits are laid over many pairs at once in single precision.
                loose = 1e-6 if name.startswith(Limit.DEPOSIT) else 0.0
                np.testing.assert_allclose(found, alone[name], loose, loose, err_msg=name)
            elif name.endswith("stand"):  # a limit only others have
                assert np.all(found == LimitState.HOLDS), name


@pytest.mark.parametrize("seed", range(4))
def test_every_field_is_judged_as_if_it_were_alone(mixed: FarmArrays, seed: int) -> None:
    _assert_each_as_if_alone(mixed, _holed_weather(seed))


def test_every_field_of_a_farm_of_one_kind_is_judged_as_if_it_were_alone(mixed: FarmArrays) -> None:
    same = _only(mixed, np.flatnonzero(mixed.kind == 0).tolist())
    assert len(same.kinds.fields) == 1 < len(same.fields)
    _assert_each_as_if_alone(same, _holed_weather(0))


def test_every_field_of_a_farm_without_two_alike_is_judged_as_if_it_were_alone(
    mixed: FarmArrays,
) -> None:
    unlike = _only(mixed, [4, 2, 1, 3, 7])
    assert len(unlike.kinds.fields) == len(unlike.fields)
    _assert_each_as_if_alone(unlike, _holed_weather(0))


def _worked(**changed: Any) -> FarmArrays:
    return FarmArrays.of(build_farm(farm_tables() | changed))


def test_how_high_the_wind_is_a_fields_own_in_steps_of_two() -> None:
    """Half of 400 m of fetch, by the form of Wood 1982 and by hand: 8.4, 13.1 and 16.2 m."""
    config = farm_tables()["fields"]
    for name, canopy in (("W", "12 cm"), ("S", "90 cm"), ("C", "210 cm")):
        config[name]["canopy"] = canopy
    assert _worked(fields=config).layer_m[:3].tolist() == [10.0, 10.0, 20.0]


@pytest.mark.parametrize(
    ("rules", "hours"),
    [
        ([], 0),
        ([{"kind": "rain ahead", "within": "6 h", "amount": "2 mm"}], 6),
        ([{"kind": "soil", "not_at": "saturated", "with_rain_within": "48 h"}], 48),
        ([{"kind": "soil", "not_at": "saturated"}], 0),
        ([{"kind": "day high", "high": "30 degC"}], 24),
        ([{"kind": "day high", "high": "30 degC", "day": "next day"}], 48),
        (
            [
                {"kind": "day high", "high": "30 degC"},
                {"kind": "rain ahead", "within": "72 h", "amount": "2 mm"},
            ],
            72,
        ),
    ],
)
def test_how_far_beyond_a_job_its_rules_look(rules: list[dict[str, Any]], hours: int) -> None:
    product = {"name": "A", "registration": "0-0", "rules": rules}
    config = farm_tables()["fields"]
    config["C"]["products"] = ["a"]
    assert _worked(products={"a": product}, fields=config).rules_look_ahead_s == hours * 3600.0


def test_who_needs_calm_is_weedy_or_beside_something_susceptible() -> None:
    plan = _worked()
    needs = dict(zip(plan.fields, plan.needs_calm.tolist(), strict=True))
    assert needs == {"W": True, "S": True, "C": False, "K": True}
    beside = dict(zip(plan.fields, plan.beside_susceptible.tolist(), strict=True))
    assert beside == {"W": False, "S": True, "C": False, "K": True}


@pytest.mark.parametrize(("nearness", "banned"), [("9.9 m", False), ("10.1 m", True)])
def test_a_ban_on_a_direction_is_of_neighbours_so_near(nearness: str, banned: bool) -> None:
    config = farm_tables()
    config["neighbours"]["vines_S"]["kinds"] = ["crop"]
    config["windows"]["contact"]["rules"] = [
        {"kind": "direction", "towards": ["crop"], "nearness": nearness}
    ]
    plan = FarmArrays.of(build_farm(config))
    assert plan.bans_direction.tolist() == [banned, False]


def test_a_plan_of_some_fields_keeps_their_pairs_and_order() -> None:
    plan = _worked()
    part = plan.only(["K", "C"])
    assert part.fields == ("C", "K")
    assert part.reach.pair_field.tolist() == [1]
    np.testing.assert_array_equal(part.reach.gap_m, plan.reach.gap_m[[1]])
    assert part.canopy_m.size == 2
    assert plan.only(plan.fields) is plan


def test_what_is_left_of_a_field_is_what_its_job_sprays() -> None:
    plan = _worked()
    half = plan.leaving({"C": 0.5})
    c = plan.fields.index("C")
    assert half.to_spray_m2[c] == pytest.approx(0.5 * plan.to_spray_m2[c])
    assert half.to_spray_m2[0] == pytest.approx(plan.to_spray_m2[0])
    assert half.duration_s[c, 0] < plan.duration_s[c, 0]
    assert plan.leaving({"C": 0.5}) is half


def test_the_order_of_stations_that_most_fields_listen_to_comes_first() -> None:
    """Fields two kilometres apart; a station on W, the first, and one on K, listed before it."""
    told = farm_tables()
    east = 2000.0 * 3 / 111_195.0 / np.cos(np.radians(LATITUDE))
    told["sources"] = {
        "at_K": {"kind": "push", "place": [LATITUDE, LONGITUDE + east]},
        "at_W": {"kind": "push", "place": [LATITUDE, LONGITUDE]},
    }
    plan = FarmArrays.of(build_farm(told))
    assert list(plan.listens.items()) == [
        (("at_K", "at_W"), ("S", "C", "K")),
        (("at_W", "at_K"), ("W",)),
    ]
    assert plan.hears("W") == ("at_W", "at_K")
