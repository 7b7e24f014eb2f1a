"""The order of the fields, criterion by criterion; what is known of each without its reasons."""

from collections.abc import Callable, Mapping
from datetime import date
from typing import Any

import numpy as np
import pytest

from tests.support.large_farm import changeable_weather
from tests.support.mixed_farm import mixed_farm
from tests.support.worked_farm import NOON_UTC
from watcher.judge.judgement import judge
from watcher.judge.ranking import Ranking, rank
from watcher.limits.catalogue import Limit
from watcher.limits.farm_arrays import FarmArrays
from watcher.limits.status import LimitState, Status
from watcher.weather.series import WeatherSeries

Tables = dict[str, Any]
PlanOf = Callable[[Mapping[str, Any]], FarmArrays]
Weather = Callable[..., WeatherSeries]


@pytest.fixture
def ranked(plan_of: PlanOf, weather: Weather) -> Callable[..., Ranking]:
    def of(tables: Tables, **quantities: Any) -> Ranking:
        return rank(judge(plan_of(tables), weather(**quantities)), 0)

    return of


def _order(ranking: Ranking) -> list[str]:
    return [field.field for field in ranking.spray]


def test_the_room_of_a_field_is_that_of_the_nearest_of_its_reasons() -> None:
    judgement = judge(FarmArrays.of(mixed_farm()), changeable_weather(72))
    seen = 0
    for time in range(0, 72, 7):
        for field in rank(judgement, time).every.values():
            rooms = [r.headroom for r in field.reasons if not np.isnan(r.headroom)]
            assert field.headroom == min(rooms)
            seen += field.status >= Status.MARGINAL
    assert seen > 5  # some of them open


def test_scarcity_is_how_much_of_the_hours_left_the_job_takes() -> None:
    judgement = judge(FarmArrays.of(mixed_farm()), changeable_weather(48))
    seen = [f for time in (0, 7) for f in rank(judgement, time).spray if f.usable_hours]
    assert seen
    for field in seen:
        assert field.scarcity * field.usable_hours * 3600 == pytest.approx(field.duration_s)


def test_the_first_of_the_reasons_binds() -> None:
    judgement = judge(FarmArrays.of(mixed_farm()), changeable_weather(24))
    for field in rank(judgement, 3).every.values():
        assert repr(field.binding) == repr(field.reasons[0])  # NaN is not NaN
        worst = min(r.stand for r in field.reasons)
        assert field.binding.stand is LimitState(worst)


def test_of_two_alike_the_one_whose_last_day_comes_first_goes_first(
    tables: Tables, ranked: Callable[..., Ranking]
) -> None:
    clean = tables["fields"]["C"]
    tables["fields"] = {"C": clean, "D": clean | {"latest": date(2030, 1, 1)}}
    tables["neighbours"] = {}
    assert _order(ranked(tables)) == ["D", "C"]


def test_nothing_is_taken_off_a_field_of_which_nothing_was_sprayed(
    tables: Tables, ranked: Callable[..., Ranking]
) -> None:
    assert {field.left for field in ranked(tables).every.values()} == {1.0}


def test_of_two_alike_the_name_decides(tables: Tables, ranked: Callable[..., Ranking]) -> None:
    clean = tables["fields"]["C"]
    tables["fields"] = {"D": clean, "C": clean}
    tables["neighbours"] = {}
    assert _order(ranked(tables)) == ["C", "D"]


def test_a_weedy_field_goes_before_a_clean_one(
    tables: Tables, ranked: Callable[..., Ranking]
) -> None:
    clean = tables["fields"]["C"]
    tables["fields"] = {"C": clean | {"weeds": "clean"}, "D": clean | {"weeds": "weedy"}}
    tables["neighbours"] = {}
    assert _order(ranked(tables)) == ["D", "C"]


def test_when_an_open_field_closes_and_how_many_hours_it_can_use(
    tables: Tables, ranked: Callable[..., Ranking]
) -> None:
    """Five hours of calm air, then wind over the label's bound; opens again at the tenth."""
    hours = np.arange(72)
    wind = np.where((hours >= 5) & (hours < 10), 12.0, 5.0)
    at = weather_times()
    field = ranked(tables, wind_mph=wind).every["C"]
    assert field.closes_at == at[5]
    assert field.opens_at is None
    shut = ranked(tables, wind_mph=np.where(hours < 5, 12.0, 5.0)).every["C"]
    assert shut.opens_at == at[5]
    assert shut.closes_at is None
    assert shut.status is Status.UNSUITABLE


def weather_times() -> list[int]:
    return [NOON_UTC + 3600 * hour for hour in range(72)]


def test_a_field_that_never_opens_names_the_limit_that_is_broken_longest(
    tables: Tables, ranked: Callable[..., Ranking]
) -> None:
    hours = np.arange(72)
    wind = np.where(hours < 20, 12.0, 5.0)
    rain = np.where(hours >= 10, 1.0, 0.0)
    field = ranked(tables, wind_mph=wind, rain_mm_h=rain).every["C"]
    assert field.shut_by is Limit.RAIN_AFTER
    assert ranked(tables).every["C"].shut_by is None


def test_who_does_not_need_the_calm_may_wait_for_a_breezier_hour(
    tables: Tables, ranked: Callable[..., Ranking]
) -> None:
    """Calm up to the share of the bound; at the fourth hour in the upper part of the range."""
    wind = np.where(np.arange(72) == 4, 8.0, 5.0)
    found = ranked(tables, wind_mph=wind).every
    assert found["C"].can_wait_until == weather_times()[4]
    assert found["W"].can_wait_until is None  # it needs the calm itself
    clean = {"C": tables["fields"]["C"]}
    alone = ranked(tables | {"fields": clean, "neighbours": {}}, wind_mph=wind).every
    assert alone["C"].can_wait_until is None


def test_a_moderate_field_stands_between_a_weedy_and_a_clean_one(
    tables: Tables, ranked: Callable[..., Ranking]
) -> None:
    clean = tables["fields"]["C"]
    kinds = {"A": "clean", "B": "moderate", "D": "weedy"}
    tables["fields"] = {name: clean | {"weeds": weeds} for name, weeds in kinds.items()}
    tables["neighbours"] = {}
    assert _order(ranked(tables)) == ["D", "B", "A"]


def two_fields(tables: Tables, **of_the_second: Any) -> Tables:
    """A clean field C, and a D that is like it but for this."""
    clean = tables["fields"]["C"]
    return tables | {"fields": {"C": clean, "D": clean | of_the_second}, "neighbours": {}}


def test_a_suitable_field_goes_before_a_marginal_one(
    tables: Tables, ranked: Callable[..., Ranking]
) -> None:
    """At 21 degrees one that may not be warmer than 21.5 stands on the edge."""
    close = {"temperature": {"high": "21.5 degC"}}
    found = ranked(with_own(tables, **close), temp_c=21.0)
    assert [(f.field, f.status) for f in found.spray] == [
        ("C", Status.SUITABLE),
        ("D", Status.MARGINAL),
    ]
    assert found.rest == ()
    assert found.every["D"].opens_at is None  # it is open
    assert _order(ranked(with_own_of_the_first(tables, **close), temp_c=21.0)) == ["D", "C"]


def with_own(tables: Tables, **bounds: Any) -> Tables:
    """Two fields alike, but that the window of D has these bounds too."""
    own = tables["windows"]["contact"] | bounds
    return two_fields(tables, window="own") | {"windows": tables["windows"] | {"own": own}}


def with_own_of_the_first(tables: Tables, **bounds: Any) -> Tables:
    told = with_own(tables, **bounds)
    windows = told["windows"]
    return told | {"windows": {"own": windows["contact"], "contact": windows["own"]}}


def test_of_two_alike_the_one_with_more_room_goes_first(
    tables: Tables, ranked: Callable[..., Ranking]
) -> None:
    """1.5 K below the bound of its own is less room than any other limit leaves it."""
    close = {"temperature": {"high": "21.5 degC"}}
    found = ranked(with_own(tables, **close), temp_c=20.0)
    assert found.every["D"].headroom == pytest.approx(0.15)
    assert found.every["D"].status is Status.SUITABLE
    assert _order(found) == ["C", "D"]
    assert _order(ranked(with_own_of_the_first(tables, **close), temp_c=20.0)) == ["D", "C"]


@pytest.mark.parametrize(("hours", "first"), [(47, "C"), (42, "D")])
def test_whoever_has_fewer_hours_left_goes_first_but_for_less_than_a_tenth(
    tables: Tables, ranked: Callable[..., Ranking], hours: int, first: str
) -> None:
    """Of the 48 hours ahead; the last ones are too hot for D."""
    temp_c = np.where(np.arange(72) < hours, 17.0, 19.0)
    found = ranked(with_own(tables, temperature={"high": "18.5 degC"}), temp_c=temp_c)
    hours_left = {name: field.usable_hours for name, field in found.every.items()}
    assert hours_left == {"C": 48.0, "D": hours}
    assert _order(found)[0] == first


def test_a_field_that_opens_later_and_one_that_closes_between(
    tables: Tables, ranked: Callable[..., Ranking]
) -> None:
    """Open now, shut for the next hour, open again: it closes, and does not open; and turned."""
    hours = np.arange(72)
    now = ranked(tables, wind_mph=np.where(hours == 1, 12.0, 5.0)).every["C"]
    assert (now.opens_at, now.closes_at) == (None, weather_times()[1])
    later = ranked(tables, wind_mph=np.where(hours == 0, 12.0, 5.0)).every["C"]
    assert (later.opens_at, later.closes_at) == (weather_times()[1], None)


def test_a_field_that_needs_calm_can_use_calm_hours_only_and_its_own_setups_only(
    tables: Tables, ranked: Callable[..., Ranking]
) -> None:
    """Calm for ten hours of every two days, else in the upper part of the range."""
    calm = np.where(np.arange(72) < 10, 5.0, 8.0)
    found = ranked(tables, wind_mph=calm).every
    assert (found["W"].usable_hours, found["C"].usable_hours) == (10.0, 48.0)
    tables["fields"]["W"] = tables["fields"]["W"] | {"setups": ["coarse7"]}
    assert ranked(tables, wind_mph=calm).every["W"].usable_hours == 0.0


@pytest.mark.parametrize(
    ("closes", "wind_from_h", "minutes"),
    # It is eleven o'clock. The clock alone, the wind before the clock, and the other way round.
    [("13:20", 72, 140), ("13:20", 2, 120), ("13:20", 5, 140), (None, 5, 300), (None, 72, None)],
)
def test_a_field_closes_with_its_hours_of_the_day_or_by_the_weather_whichever_is_first(
    tables: Tables,
    ranked: Callable[..., Ranking],
    closes: str | None,
    wind_from_h: int,
    minutes: int | None,
) -> None:
    tables |= two_fields(tables)
    tables["fields"].pop("D")
    if closes is not None:
        rule = {"kind": "clock", "opens": "06:00", "closes": closes}
        product = {"name": "A", "registration": "0-0", "rules": [rule]}
        tables["products"] = {"a": product}
        tables["fields"]["C"] = tables["fields"]["C"] | {"products": ["a"]}
    wind = np.where(np.arange(72) >= wind_from_h, 12.0, 5.0)
    field = ranked(tables, wind_mph=wind).every["C"]
    assert field.closes_at == (None if minutes is None else NOON_UTC + 60 * minutes)
    if (closes, wind_from_h) == ("13:20", 5):  # two hours and a third of the third
        assert field.usable_hours == pytest.approx(2 + 1 / 3)


def test_nobody_waits_for_a_field_that_is_shut_itself_or_done(
    tables: Tables, plan_of: PlanOf, weather: Weather
) -> None:
    """W needs the calm, and C could wait; where W is done or may not be sprayed C need not."""
    wind = np.where(np.arange(72) == 4, 8.0, 5.0)
    for entry, done, waits in (
        ({}, (), True),
        ({}, ("W",), False),
        ({"setups": ["coarse7"]}, (), False),
    ):
        fields = {"C": tables["fields"]["C"], "W": tables["fields"]["W"] | entry}
        plan = plan_of(tables | {"fields": fields, "neighbours": {}})
        found = rank(judge(plan, weather(wind_mph=wind)), 0, done=done).every
        assert (found["C"].can_wait_until is not None) == waits


def test_the_limit_broken_longest_is_counted_in_hours_not_in_times(
    tables: Tables, plan_of: PlanOf, weather: Weather
) -> None:
    """Too windy at ten times a minute apart, and too hot for the day after them."""
    series = weather(hours=12, temp_c=np.where(np.arange(12) < 10, 20.0, 40.0))
    times = np.append(NOON_UTC + 60 * np.arange(11), NOON_UTC + 600 + 86_400)
    wind = np.where(np.arange(12) < 10, 6.0, 2.0)
    odd = WeatherSeries.of(
        times,
        series.site,
        "test",
        {
            name: getattr(series, name)
            for name in ("temp_c", "humidity_pct", "wind_from_deg", "cloud_pct", "rain_mm_h")
        }
        | {"wind_m_s": wind, "gust_m_s": wind},
    )
    bounds = {"wind": {"low": "3 mph", "high": "10 mph"}, "temperature": {"high": "30 degC"}}
    tables["windows"] = {"contact": bounds}
    field = rank(judge(plan_of(tables), odd), 0).every["C"]
    assert field.shut_by is Limit.TEMPERATURE
