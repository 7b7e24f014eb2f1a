"""Whose a bound is: the grower's own only where the farm file says it."""

from typing import Any

import numpy as np
import pytest

from tests.support.english import english
from tests.support.farms import build, tables
from tests.support.large_farm import changeable_weather
from tests.support.mixed_farm import mixed_farm
from tests.support.worked_farm import build_farm, fair_weather, farm_tables
from watcher.farm.origin import Origin
from watcher.i18n.language import language
from watcher.judge.judgement import judge
from watcher.judge.reasons import Reason, deciding, reasons
from watcher.limits.catalogue import Limit
from watcher.limits.farm_arrays import FarmArrays
from watcher.limits.status import LimitState
from watcher.messages.reasons import Speaker

SOUTH = 180.0
"""Wind from the south blows to the orchard north of the field."""


def found(given: dict[str, Any], limit: Limit, **weather: float) -> tuple[Reason, Speaker]:
    """How a limit of the field beside the orchard stands in fair weather with fine drops."""
    farm = build(given)
    plan = FarmArrays.of(farm)
    judgement = judge(plan, fair_weather(**weather))
    of_field = reasons(judgement, plan.fields.index("creek_side"), plan.setups.index("fine"), 0)
    return next(r for r in of_field if r.limit is limit), Speaker(farm)


def changed(table: str, **keys: Any) -> dict[str, Any]:
    """The invented farm with some keys of its window, or of how it is judged, written or gone."""
    config = tables()
    place = config["windows"]["contact"] if table == "window" else config.setdefault("judging", {})
    for key, value in keys.items():
        if value is None:
            del place[key]
        else:
            place[key] = value
    return config


LEFT_OUT = [Limit.INVERSION, Limit.NEIGHBOUR, Limit.DROPLETS_IN_WIND, Limit.CONTROL, Limit.DEPOSIT]


@pytest.mark.parametrize("limit", LEFT_OUT)
def test_what_the_farm_file_leaves_out_is_our_default(limit: Limit) -> None:
    assert found(tables(), limit, wind_from_deg=SOUTH)[0].origin is Origin.DEFAULT


WRITTEN = [
    (Limit.INVERSION, "window", {"inversion": {"tolerate": "none"}}),
    (Limit.NEIGHBOUR, "window", {"neighbours": {"susceptible": "never"}}),
    (Limit.DROPLETS_IN_WIND, "window", {"droplets_in_marginal_wind": {"low": "medium"}}),
    (Limit.CONTROL, "judging", {"control_loss": {"moderate": "10 %"}}),
    (Limit.DEPOSIT, "judging", {"tolerable_deposit": {"susceptible": "0.5 %"}}),
]


@pytest.mark.parametrize(("limit", "table", "keys"), WRITTEN)
def test_what_the_grower_writes_is_their_own(limit: Limit, table: str, keys: Any) -> None:
    config = changed(table, **keys)
    assert found(config, limit, wind_from_deg=SOUTH)[0].origin is Origin.OWN


BESIDE_IT = [
    (Limit.NEIGHBOUR, "window", {"neighbours": {"very_susceptible": "never"}}),
    (Limit.CONTROL, "judging", {"control_loss": {"weedy": "10 %"}}),
    (Limit.DEPOSIT, "judging", {"tolerable_deposit": {"very_susceptible": "0.5 %"}}),
]


@pytest.mark.parametrize(("limit", "table", "keys"), BESIDE_IT)
def test_a_key_beside_it_makes_no_default_the_growers(limit: Limit, table: str, keys: Any) -> None:
    config = changed(table, **keys)
    assert found(config, limit, wind_from_deg=SOUTH)[0].origin is Origin.DEFAULT


def test_what_a_neighbour_stands_is_the_growers_where_they_say_it_of_that_neighbour() -> None:
    config = tables()
    config["neighbours"]["orchard"]["tolerable_deposit"] = "0.5 %"
    assert found(config, Limit.DEPOSIT, wind_from_deg=SOUTH)[0].origin is Origin.OWN


def test_a_rule_on_neighbours_written_as_the_labels_is_the_labels() -> None:
    said = changed("window", neighbours={"origin": "label"})
    assert found(said, Limit.NEIGHBOUR, wind_from_deg=SOUTH)[0].origin is Origin.LABEL


GUSTS = [
    ({}, "(our default, from the wind's bound)"),
    ({"gust_over_wind": "3 mph"}, "(own, from the wind's bound)"),
]


@pytest.mark.parametrize(("judging", "said"), GUSTS)
def test_a_gusts_bound_that_follows_from_the_labels_wind_is_not_the_labels(
    judging: dict[str, str], said: str
) -> None:
    given = changed("window", gust=None) | {"judging": judging}
    reason, speaker = found(given, Limit.GUST)
    assert said in english(speaker.reason("creek_side", reason))


def test_a_gusts_bound_that_is_given_is_whoever_gave_it() -> None:
    said = changed("window", gust={"high": "15 mph", "origin": "law"})
    reason, speaker = found(said, Limit.GUST)
    assert "(law)" in english(speaker.reason("creek_side", reason))


def test_our_default_is_said_in_spanish() -> None:
    reason, speaker = found(changed("window", gust=None), Limit.GUST)
    said = speaker.reason("creek_side", reason).render(language("es"))
    assert "(nuestro valor por defecto, a partir del límite del viento)" in said


OWN_LOSS = {"much_water": ["1 %", "3 %"], "little_water": ["4 %", "9 %"]}


@pytest.mark.parametrize(
    ("keys", "whose", "estimate"),
    [
        ({}, "our estimate", Origin.DEFAULT),
        (
            {"loss_by_mode": {f"herbicide on {w}": OWN_LOSS for w in ("grasses", "broadleaves")}},
            "your estimate",
            Origin.OWN,
        ),
    ],
)
def test_a_loss_of_control_says_whose_estimate_it_is(keys, whose, estimate) -> None:
    reason, speaker = found(changed("judging", **keys), Limit.CONTROL)
    assert reason.estimate is estimate
    assert f"loss of weed control ({whose})" in english(speaker.reason("creek_side", reason))


@pytest.mark.parametrize(
    ("mph", "side"),
    [(2.0, "low"), (4.0, "low"), (6.4, "low"), (6.6, "high"), (9.9, "high"), (12.0, "high")],
)
def test_a_reason_names_the_bound_that_acted_or_is_nearer(mph: float, side: str) -> None:
    """Between 3 and 10 mph: half way are 6.5; above the calm share the upper one acts."""
    config = farm_tables() | {"judging": {"calm_share": 1.0}}
    judgement = judge(FarmArrays.of(build_farm(config)), fair_weather(wind_mph=mph))
    found = next(r for r in reasons(judgement, 0, 1, 0) if r.limit is Limit.WIND)
    assert found.side == side


def test_without_bounds_no_side_acts_and_with_one_it_does() -> None:
    config = farm_tables()
    config["windows"]["contact"]["wind"] = {"low": "3 mph"}
    judgement = judge(FarmArrays.of(build_farm(config)), fair_weather(wind_mph=30.0))
    found = {r.limit: r for r in reasons(judgement, 0, 1, 0)}
    assert found[Limit.WIND].side == "low"
    assert found[Limit.INVERSION].side is None


def test_reasons_come_worst_first_and_the_least_room_first_of_each() -> None:
    judgement = judge(
        FarmArrays.of(build_farm(farm_tables())),
        fair_weather(wind_mph=12.0, gust_mph=14.0, temp_c=np.nan),
    )
    found = reasons(judgement, 0, 0, 0)
    keys = [(r.stand, -np.inf if np.isnan(r.headroom) else r.headroom) for r in found]
    assert keys == sorted(keys)
    assert found[0].limit is Limit.WIND


@pytest.mark.parametrize(
    ("gone", "limit", "missing"),
    [
        ({"wind_mph": np.nan}, Limit.WIND, ("wind_m_s",)),
        ({"gust_mph": np.full(72, np.nan)}, Limit.GUST, ("gust_m_s",)),
        ({"humidity_pct": np.nan}, Limit.DELTA_T, ("humidity_pct",)),
        ({"rain_mm_h": np.nan}, Limit.RAIN_AFTER, ("rain_mm_h",)),
        ({"wind_from_deg": np.nan}, Limit.NEIGHBOUR, ("wind_from_deg",)),
    ],
)
def test_an_unknown_limit_names_what_is_missing(
    gone: dict[str, Any], limit: Limit, missing: tuple[str, ...]
) -> None:
    plan = FarmArrays.of(build_farm(farm_tables()))
    judgement = judge(plan, fair_weather(**gone))
    found = next(r for r in reasons(judgement, plan.fields.index("S"), 1, 0) if r.limit is limit)
    assert found.stand is LimitState.UNKNOWN
    assert found.missing == missing


def test_rain_that_is_known_but_not_for_long_enough_is_what_is_missing() -> None:
    judgement = judge(FarmArrays.of(build_farm(farm_tables())), fair_weather(hours=2))
    found = next(r for r in reasons(judgement, 0, 1, 0) if r.limit is Limit.RAIN_AFTER)
    assert (found.stand, found.missing) == (LimitState.UNKNOWN, ("rain_mm_h",))


def test_only_what_is_unknown_names_what_is_missing() -> None:
    judgement = judge(FarmArrays.of(build_farm(farm_tables())), fair_weather(wind_from_deg=SOUTH))
    for field in range(4):
        for reason in reasons(judgement, field, 0, 0):
            assert reason.stand is not LimitState.UNKNOWN
            assert reason.missing == ()


def test_where_no_curve_tells_of_a_sprayer_nothing_that_is_measured_is_missing() -> None:
    told = farm_tables()
    told["sprayers"]["boom"]["kind"] = "hand-held"
    judgement = judge(FarmArrays.of(build_farm(told)), fair_weather(wind_from_deg=SOUTH))
    (deposit,) = (r for r in reasons(judgement, 1, 0, 0) if r.limit is Limit.DEPOSIT)
    assert deposit.stand is LimitState.UNKNOWN
    assert deposit.missing == ()


@pytest.mark.parametrize("time", range(0, 48, 8))
def test_what_decides_are_the_limits_that_do_not_hold_or_the_one_that_binds(time: int) -> None:
    judgement = judge(FarmArrays.of(mixed_farm()), changeable_weather(48))
    for field in range(len(judgement.plan.fields)):
        every = reasons(judgement, field, 0, time)
        expected = [r for r in every if r.stand < LimitState.HOLDS] or every[:1]
        assert repr(deciding(judgement, field, 0, time)) == repr(expected)
