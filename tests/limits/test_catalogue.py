"""The catalogue of limits: nothing is missing of any, and each stands as its bounds say."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, get_args

import numpy as np
import pytest
from pydantic import ValidationError

from watcher.farm.field_limits import limits_for
from watcher.farm.models import Judging, Neighbour, OwnLimits, Window
from watcher.farm.rules.kinds import Rule
from watcher.i18n.language import SOURCE, codes, language
from watcher.judge.judgement import judge
from watcher.limits.catalogue import BOTH, CATALOGUE, IN_WINDOWS, Check, Lift, Limit, Side
from watcher.limits.farm_arrays import FarmArrays
from watcher.limits.status import LimitState, Status
from watcher.weather.quantities import BY_COLUMN
from watcher.weather.series import WeatherSeries

PlanOf = Callable[[Mapping[str, Any]], FarmArrays]
Weather = Callable[..., WeatherSeries]
AT = 5
"""The hour that is judged, of a day that begins at noon."""
MARGIN = 0.15
H = 3600.0
NAN = float("nan")


def early(value: float, then: float) -> np.ndarray:
    """A value in the first hour, another one in the rest."""
    return np.array([value] + [then] * 23)


@dataclass(frozen=True)
class Case:
    """Weather of a day in which a limit has a known value in the hour that is judged."""

    value: float
    """[SI]"""
    weather: dict[str, Any] = field(default_factory=dict)
    missing: dict[str, Any] | None = None
    """The same day without what it is known by; None for what is always known."""
    near: float = 0.02


MEASURED = {
    Limit.WIND: Case(5 * 0.44704, {"wind_mph": 5.0}, {"wind_mph": NAN}),
    Limit.GUST: Case(7 * 0.44704, {"gust_mph": np.full(24, 7.0)}, {"gust_mph": np.full(24, NAN)}),
    Limit.TEMPERATURE: Case(21.5, {"temp_c": 21.5}, {"temp_c": NAN}),
    # Psychrometer tables: 25 degC and 50 % are a wet bulb of 17.9 degC.
    Limit.DELTA_T: Case(7.1, {"temp_c": 25.0, "humidity_pct": 50.0}, {"humidity_pct": NAN}),
    Limit.HUMIDITY: Case(45.0, {"humidity_pct": 45.0}, {"humidity_pct": NAN}),
    # It rains until one o'clock; it is five.
    Limit.RAIN_BEFORE: Case(4 * H, {"rain_mm_h": early(1.0, 0.0)}, {"rain_mm_h": NAN}),
    # Rain comes ten hours later; a job of creek_side's size takes some of them.
    Limit.RAIN_AFTER: Case(
        10 * H - 3500.0,
        {"rain_mm_h": np.where(np.arange(24) == AT + 10, 1.0, 0.0)},
        {"rain_mm_h": NAN},
        near=0.05,
    ),
    Limit.LEAF_DRY: Case(4 * H, {"humidity_pct": early(95.0, 55.0)}, {"humidity_pct": NAN}),
    Limit.SOIL_TEMPERATURE: Case(12.0, {"soil_temp_10cm_c": 12.0}, {"soil_temp_10cm_c": NAN}),
    # 41 N, 96 W in June: the sun rises at 10:50 and sets at 01:55 UTC; it is 22:00 UTC or so.
    Limit.AFTER_SUNRISE: Case(11 * H, near=0.1),
    Limit.BEFORE_SUNSET: Case(4 * H, near=0.3),
}
"""The day of every limit whose bounds a window writes."""

WINDOW = {"low": "0 m/s", "high": "10 mph"}


def state(
    plan_of: PlanOf,
    tables: dict[str, Any],
    series: WeatherSeries,
    limit: Limit,
    case: tuple[str, str] = ("C", "coarse15"),
) -> tuple[LimitState, Status, float]:
    """How a limit stands for a field and setup, and the status with it; all others hold."""
    plan = plan_of(tables)
    judgement = judge(plan, series)
    at = plan.fields.index(case[0]), plan.setups.index(case[1]), AT
    shape = judgement.instant.shape
    found = {c.limit: np.broadcast_to(c.stand, shape)[at] for c in judgement.checks}
    values = {c.limit: np.broadcast_to(c.value, shape)[at] for c in judgement.checks}
    return LimitState(found[limit]), Status(judgement.instant[at]), float(values[limit])


def with_bound(tables: dict[str, Any], limit: Limit, side: Side, bound: float) -> dict[str, Any]:
    """The farm with one limit beside the wind's."""
    entry = CATALOGUE[limit]
    assert entry.written is not None
    text = f"{bound!r} {entry.written.kind.inside}"
    window: dict[str, Any] = {"wind": WINDOW | ({side: text} if limit is Limit.WIND else {})}
    if limit is not Limit.WIND:
        window[entry.key] = {side: text}
    tables["windows"] = {"contact": window}
    return tables


SCALE = {
    Limit.TEMPERATURE: 10.0,
    Limit.SOIL_TEMPERATURE: 10.0,
    Limit.AFTER_SUNRISE: H,
    Limit.BEFORE_SUNSET: H,
}
"""What the room to a bound is a share of, where that is not the bound itself. [SI]"""


def bound_for(limit: Limit, side: Side, value: float, room: float) -> float:
    """The bound that leaves a value so much room, as a share of the limit's scale."""
    sign = -1.0 if side == "low" else 1.0
    if limit in SCALE or (limit is Limit.WIND and side == "low"):
        scale = SCALE.get(limit, 10 * 0.44704)  # the wind's other bound
        return value + sign * room * scale
    return value / (1.0 - sign * room)


ROOMS = [
    ("beyond", -0.1, LimitState.BROKEN, Status.UNSUITABLE),
    ("at", 0.0, LimitState.NEAR, Status.MARGINAL),
    ("near", MARGIN - 0.01, LimitState.NEAR, Status.MARGINAL),
    ("past the margin", MARGIN + 0.01, LimitState.HOLDS, Status.SUITABLE),
    ("well inside", 0.45, LimitState.HOLDS, Status.SUITABLE),
]
RULE_KINDS = {
    kind
    for model in get_args(get_args(Rule)[0])
    for kind in get_args(model.model_fields["kind"].annotation)
}
SIDES = [(limit, side) for limit in MEASURED for side in CATALOGUE[limit].sides]


@pytest.mark.parametrize(("limit", "side"), SIDES, ids=[f"{a.value}, {b}" for a, b in SIDES])
@pytest.mark.parametrize(
    ("room", "stands", "status"), [r[1:] for r in ROOMS], ids=[r[0] for r in ROOMS]
)
def test_a_limit_stands_as_its_bound_says(
    plan_of: PlanOf,
    tables: dict[str, Any],
    weather: Weather,
    limit: Limit,
    side: Side,
    room: float,
    stands: LimitState,
    status: Status,
) -> None:
    case = MEASURED[limit]
    series = weather(hours=24, **case.weather)
    least = bound_for(limit, side, case.value, 0.45)
    _, _, value = state(plan_of, with_bound(tables, limit, side, least), series, limit)
    assert value == pytest.approx(case.value, rel=case.near)
    if limit is Limit.WIND and side == "high" and stands is LimitState.HOLDS and room < 0.4:
        stands, status = LimitState.NEAR, Status.MARGINAL  # the upper part of the wind's band
    if limit is Limit.WIND and side == "low" and stands is LimitState.NEAR:
        stands, status = LimitState.HOLDS, Status.SUITABLE  # by day still air is no fault yet
    bounded = with_bound(tables, limit, side, bound_for(limit, side, value, room))
    assert state(plan_of, bounded, series, limit)[:2] == (stands, status)


@pytest.mark.parametrize(
    ("key", "side", "least", "most", "unit"),
    [
        ("wind", "low", 0, 40, "m/s"),
        ("gust", "high", 0, 40, "m/s"),
        ("delta_t", "high", 0, 40, "delta_degC"),
        ("temperature", "low", -40, 60, "degC"),
        ("humidity", "low", 0, 100, "%"),
        ("soil_temperature_10cm", "low", -40, 60, "degC"),
        ("rain_free_after", "low", 0, 14 * 24, "h"),
        ("rain_free_before", "low", 0, 14 * 24, "h"),
        ("leaf_dry_before", "low", 0, 14 * 24, "h"),
        ("after_sunrise", "low", 0, 14 * 24, "h"),
        ("before_sunset", "low", 0, 14 * 24, "h"),
    ],
)
def test_a_bound_is_believed_within_what_weather_there_is(
    key: str, side: str, least: float, most: float, unit: str
) -> None:
    def window(value: float) -> Window:
        told: dict[str, Any] = {"wind": {"low": "1 m/s", "high": "5 m/s"}}
        return Window.model_validate(told | {key: {side: f"{value} {unit}"}})

    for believed in (least, most):
        if key != "wind":
            assert getattr(window(believed), key) is not None
    for beyond in (least - 0.1, most + 0.1):
        with pytest.raises(ValidationError):
            window(beyond)
    with pytest.raises(ValidationError, match="40"):
        Window.model_validate({"wind": {"low": "0 m/s", "high": "40.1 m/s"}})
    assert Window.model_validate({"wind": {"low": "0 m/s", "high": "40 m/s"}})


@pytest.mark.parametrize(
    ("rule", "limit", "near", "holds"),
    [
        # 0.15 of an hour are 9 minutes, of ten kelvin 1.5; it is 11 o'clock and 20 degrees.
        ({"kind": "clock", "opens": "06:00", "closes": "{}"}, Limit.CLOCK, "11:08", "11:10"),
        (
            {"kind": "clock", "opens": "06:00", "closes": "{}", "binds": "start"},
            Limit.BEGIN,
            "11:08",
            "11:10",
        ),
        ({"kind": "day high", "high": "{} degC"}, Limit.DAY_HIGH, "21.4", "21.6"),
    ],
)
def test_a_rule_holds_with_little_room_within_a_share_of_its_scale(
    plan_of: PlanOf,
    tables: dict[str, Any],
    weather: Weather,
    rule: dict[str, str],
    limit: Limit,
    near: str,
    holds: str,
) -> None:
    tables["windows"] = {"contact": {}}
    tables["fields"] = {"C": tables["fields"]["C"] | {"products": ["a"]}}
    tables["neighbours"] = {}
    for bound, stands in ((near, LimitState.NEAR), (holds, LimitState.HOLDS)):
        written = {key: text.format(bound) for key, text in rule.items()}
        tables["products"] = {"a": {"name": "A", "registration": "0-0", "rules": [written]}}
        judgement = judge(plan_of(tables), weather(hours=48))
        found = next(c for c in judgement.checks if c.limit is limit)
        time = 20 if limit is Limit.DAY_HIGH else 0  # of the next day every hour is known
        assert np.broadcast_to(found.stand, judgement.instant.shape)[0, 0, time] == stands


MISSING = [(limit, side) for limit, side in SIDES if MEASURED[limit].missing is not None]


@pytest.mark.parametrize(("limit", "side"), MISSING, ids=[f"{a.value}, {b}" for a, b in MISSING])
def test_a_limit_without_its_value_is_unknown(
    plan_of: PlanOf, tables: dict[str, Any], weather: Weather, limit: Limit, side: Side
) -> None:
    case = MEASURED[limit]
    series = weather(hours=24, **case.weather | (case.missing or {}))
    easy = bound_for(limit, side, case.value, 0.45)
    stands, status, _ = state(plan_of, with_bound(tables, limit, side, easy), series, limit)
    assert (stands, status) == (LimitState.UNKNOWN, Status.UNKNOWN)


@dataclass(frozen=True)
class Ruled:
    """A limit that is judged by a rule: changes of the farm, the weather, and how it stands."""

    limit: Limit
    stands: LimitState
    change: Callable[[dict[str, Any]], None] = lambda tables: None
    weather: dict[str, Any] = field(default_factory=dict)
    case: tuple[str, str] = ("C", "fine15")


def window(**rules: Any) -> Callable[[dict[str, Any]], None]:
    return lambda tables: tables["windows"]["contact"].update(rules)


def vines(**rules: Any) -> Callable[[dict[str, Any]], None]:
    return lambda tables: tables["neighbours"]["vines_S"].update(rules)


def control(clean: float) -> Callable[[dict[str, Any]], None]:
    return lambda tables: tables.update(judging={"control_loss": {"clean": f"{clean} %"}})


TO_VINES, FROM_VINES = {"wind_from_deg": 180.0}, {"wind_from_deg": 0.0}
CLEAR_NIGHT = {"cloud_pct": 0.0, "wind_mph": 3.2, "start": 1_781_066_000}  # about 23:30 there
HARDLY_LAYERED = CLEAR_NIGHT | {"cloud_pct": 90.0, "wind_mph": 4.0}  # possible, by its wind
NOTHING_KNOWN = {"cloud_pct": NAN, "wind_mph": NAN, "wind_spread_deg": NAN, "temp_c": NAN}
RULED = [
    Ruled(Limit.DROPLETS, LimitState.BROKEN, window(droplets={"low": "medium"})),
    Ruled(Limit.DROPLETS, LimitState.HOLDS, window(droplets={"low": "fine"})),
    Ruled(Limit.DROPLETS_IN_WIND, LimitState.BROKEN, weather={"wind_mph": 8.0}),
    Ruled(Limit.DROPLETS_IN_WIND, LimitState.HOLDS, weather={"wind_mph": 5.0}),
    Ruled(
        Limit.DROPLETS_IN_WIND,
        LimitState.HOLDS,
        weather={"wind_mph": 8.0},
        case=("C", "coarse15"),
    ),
    Ruled(Limit.DROPLETS_IN_WIND, LimitState.UNKNOWN, weather={"wind_mph": NAN}),
    # 7 gal/acre with coarse drops loses at most 23 % of the grasses.
    Ruled(Limit.CONTROL, LimitState.BROKEN, control(22.0), case=("C", "coarse7")),
    Ruled(Limit.CONTROL, LimitState.NEAR, control(23.0), case=("C", "coarse7")),
    Ruled(Limit.CONTROL, LimitState.NEAR, control(26.0), case=("C", "coarse7")),
    Ruled(Limit.CONTROL, LimitState.HOLDS, control(28.0), case=("C", "coarse7")),
    Ruled(Limit.NEIGHBOUR, LimitState.HOLDS, weather=FROM_VINES, case=("S", "fine15")),
    Ruled(Limit.NEIGHBOUR, LimitState.NEAR, weather=TO_VINES, case=("S", "fine15")),
    Ruled(
        Limit.NEIGHBOUR,
        LimitState.BROKEN,
        weather=TO_VINES | {"wind_mph": 8.0},
        case=("S", "fine15"),
    ),
    Ruled(
        Limit.NEIGHBOUR, LimitState.UNKNOWN, weather={"wind_from_deg": NAN}, case=("S", "fine15")
    ),
    Ruled(
        Limit.NO_SPRAY,
        LimitState.NEAR,  # a strip is left
        vines(no_spray_distance="20 m"),
        TO_VINES,
        ("S", "fine15"),
    ),
    Ruled(
        Limit.NO_SPRAY,
        LimitState.BROKEN,  # nothing of the field is left
        vines(no_spray_distance="500 m"),
        TO_VINES,
        ("S", "fine15"),
    ),
    Ruled(
        Limit.NO_SPRAY, LimitState.HOLDS, vines(no_spray_distance="9 m"), TO_VINES, ("S", "fine15")
    ),
    Ruled(
        Limit.NO_SPRAY,
        LimitState.UNKNOWN,
        vines(no_spray_distance="20 m"),
        {"wind_from_deg": NAN},
        ("S", "fine15"),
    ),
    Ruled(
        Limit.DEPOSIT,
        LimitState.BROKEN,
        vines(tolerable_deposit="0.001 %"),
        TO_VINES,
        ("S", "fine15"),
    ),
    Ruled(
        Limit.DEPOSIT, LimitState.HOLDS, vines(tolerable_deposit="100 %"), TO_VINES, ("S", "fine15")
    ),
    Ruled(
        Limit.DEPOSIT,
        LimitState.UNKNOWN,
        vines(tolerable_deposit="0.001 %"),
        {"wind_from_deg": NAN, "wind_mph": NAN},
        ("S", "fine15"),
    ),
    Ruled(Limit.INVERSION, LimitState.HOLDS),
    Ruled(Limit.INVERSION, LimitState.BROKEN, weather=CLEAR_NIGHT),
    Ruled(Limit.INVERSION, LimitState.UNKNOWN, weather=NOTHING_KNOWN),
    # Possible: with coarse drops only, where the window bears it at all.
    Ruled(Limit.INVERSION, LimitState.NEAR, weather=HARDLY_LAYERED, case=("C", "coarse15")),
    Ruled(Limit.INVERSION, LimitState.BROKEN, weather=HARDLY_LAYERED),
    Ruled(
        Limit.INVERSION,
        LimitState.BROKEN,
        window(inversion={"tolerate": "none"}),
        HARDLY_LAYERED,
        ("C", "coarse15"),
    ),
]


@pytest.mark.parametrize("ruled", RULED, ids=[f"{r.limit.value}, {r.stands.name}" for r in RULED])
def test_a_rule_stands_as_it_says(
    plan_of: PlanOf, tables: dict[str, Any], weather: Weather, ruled: Ruled
) -> None:
    ruled.change(tables)
    series = weather(hours=24, **ruled.weather)
    assert state(plan_of, tables, series, ruled.limit, ruled.case)[0] is ruled.stands


def test_every_limit_is_in_the_catalogue_and_in_a_table_of_this_module() -> None:
    assert set(CATALOGUE) == set(Limit)
    assert set(MEASURED) == {entry.limit for entry in IN_WINDOWS.values()}
    of_rules = {entry.limit for entry in CATALOGUE.values() if entry.key.startswith("rules.")}
    # Those of rules only have their cases in tests/limits/test_rule_limits.py.
    assert {ruled.limit for ruled in RULED} == set(Limit) - set(MEASURED) - of_rules


@pytest.mark.parametrize("limit", Limit, ids=lambda limit: limit.value)
class TestEntry:
    def test_it_has_words_in_every_language(self, limit: Limit) -> None:
        entry = CATALOGUE[limit]
        said = (
            entry.words,
            entry.name,
            entry.short,
            entry.too_high,
            entry.too_low,
            entry.high_word,
            entry.low_word,
            entry.chart,
        )
        for code in codes():
            known = {e.id for e in language(code).catalog if e.string} if code != SOURCE else None
            assert known is None or {str(m) for m in said if m is not None} <= known

    def test_a_title_has_a_side_for_each_bound_that_counts(self, limit: Limit) -> None:
        entry = CATALOGUE[limit]
        assert (entry.too_low is not None) == ("low" in entry.sides)
        assert (entry.too_high is not None) == ("high" in entry.sides)
        assert (entry.low_word is not None) == ("low" in entry.sides)
        assert (entry.high_word is not None) == ("high" in entry.sides)

    def test_something_can_lift_it_and_it_says_what_it_is(self, limit: Limit) -> None:
        assert CATALOGUE[limit].lifted_by
        assert CATALOGUE[limit].lifted_by <= set(Lift)
        assert CATALOGUE[limit].description.endswith(".")

    def test_what_a_window_writes_has_bounds_units_and_a_panel(self, limit: Limit) -> None:
        entry = CATALOGUE[limit]
        if entry.written is None:
            assert not entry.sides
            return
        assert entry.sides
        assert set(entry.sides) <= set(BOTH)
        assert entry.check is Check.BOUNDS
        assert entry.kind is entry.written.kind
        assert entry.written.least < entry.written.most
        assert entry.chart or limit is Limit.GUST  # drawn with the wind
        assert entry.quantity is None or BY_COLUMN[entry.quantity].kind is entry.kind

    def test_the_farm_file_has_its_key(self, limit: Limit) -> None:
        key = CATALOGUE[limit].key
        table, _, rest = key.rpartition(".")
        fields = {
            "": Window.model_fields,
            "judging": Judging.model_fields,
            "neighbours": Neighbour.model_fields,
            "rules": RULE_KINDS,
        }[table]
        assert rest in fields
        if CATALOGUE[limit].written is not None:
            assert key in OwnLimits.model_fields
            assert Window.model_fields[key].description


@pytest.mark.parametrize("limit", [Limit.AFTER_SUNRISE, Limit.BEFORE_SUNSET])
def test_a_time_from_the_sun_is_near_within_nine_minutes(limit: Limit) -> None:
    """The margin is a share of an hour, however long the label asks for."""
    assert CATALOGUE[limit].scale == 3600.0


def test_a_field_may_tighten_every_limit_of_its_window() -> None:
    wind = {"wind": {"low": "1 m/s", "high": "5 m/s"}}
    for key, entry in IN_WINDOWS.items():
        assert entry.written is not None
        unit = entry.written.kind.inside
        strict, loose = ("3", "2") if entry.sides[0] == "low" else ("2", "3")
        window = Window.model_validate(wind | {key: {entry.sides[0]: f"{loose} {unit}"}})
        own = OwnLimits.model_validate({key: {entry.sides[0]: f"{strict} {unit}"}})
        tightened = getattr(limits_for(window, own), key)
        assert getattr(tightened, entry.sides[0]) == float(strict)
