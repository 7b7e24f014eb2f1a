"""Labels' and laws' rules in the judgement: worked cases, through the tables of a farm file."""

from datetime import date, datetime, timedelta
from typing import Any, ClassVar
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.affinity import translate

from tests.support.worked_farm import (
    BOOM_HEIGHT_M,
    LATITUDE,
    LONGITUDE,
    build_farm,
    fair_weather,
    farm_tables,
)
from watcher.farm import Farm
from watcher.farm.geometry.ground import Ground
from watcher.judge.judgement import Judgement, judge
from watcher.judge.ranking import rank
from watcher.judge.reasons import Reason, left_strips, reasons
from watcher.limits.catalogue import Limit
from watcher.limits.farm_arrays import FarmArrays
from watcher.limits.status import Band, LimitState, Status
from watcher.messages.reasons import Speaker
from watcher.weather.series import Site, WeatherSeries
from watcher.weather.sun import next_sunset
from watcher.weather.wind_profile import wind_at_height

ZONE = ZoneInfo("America/Chicago")
MPH = 0.44704
NAN = float("nan")
BOOM = {"height": "boom", "gusts": "not counted"}


def at(text: str, day: date = date(2026, 6, 10)) -> int:
    hour, minute = map(int, text.split(":"))
    return int(datetime(day.year, day.month, day.day, hour, minute, tzinfo=ZONE).timestamp())


def tables(*rules: dict[str, Any], more: list[dict[str, Any]] | None = None, **field: Any) -> Any:
    """The worked farm with one field, C, sprayed with a product of some rules, and maybe another.

    Its window leaves nearly everything to the rules.
    """
    config = farm_tables()
    config["windows"]["contact"] = {"droplets_in_marginal_wind": {"low": "extremely fine"}}
    config["fields"] = {"C": config["fields"]["C"] | {"products": ["a"]} | field}
    config["neighbours"] = {}
    config["products"] = {"a": _product(rules)}
    if more is not None:
        config["products"]["b"] = _product(more)
        config["fields"]["C"]["products"] = ["a", "b"]
    return config


def _product(rules: Any) -> dict[str, Any]:
    return {"name": "invented", "registration": "0-0", "rules": list(rules)}


def judged(given: Any, series: WeatherSeries, **keys: Any) -> Judgement:
    return judge(FarmArrays.of(build_farm(given)), series, **keys)


def limits(judgement: Judgement, time: int = 0, setup: int = 1) -> dict[Limit, Reason]:
    return {r.limit: r for r in reasons(judgement, 0, setup, time)}


def sky(*, minutes: int = 10, count: int = 300, **values: Any) -> WeatherSeries:
    """Fair weather in steps of minutes; ``start`` and any quantity may be given."""
    start = values.pop("start", at("12:00"))
    hours = fair_weather(hours=count, start=start, **values)
    return WeatherSeries.of(
        start + 60 * minutes * np.arange(count), hours.site, "test", hours.quantities()
    )


def mast(height_m: float, series: WeatherSeries) -> WeatherSeries:
    site = Site(LATITUDE, LONGITUDE, elevation_m=350.0, wind_height_m=height_m)
    return WeatherSeries.of(series.times, site, "test", series.quantities())


SUNSET_RULE = {"kind": "clock", "closes": "2 h before sunset"}


class TestHoursOfTheDay:
    SUNSET = float(next_sunset(times=at("12:00"), latitude=LATITUDE, longitude=LONGITUDE))
    CUT_OFF = int((SUNSET - 7200) // 60) * 60

    def _ends(self, rule: dict[str, Any], start: int) -> tuple[Judgement, float]:
        """Judge from a time on; with how long the job takes."""
        judgement = judged(tables(rule), fair_weather(start=start))
        return judgement, float(judgement.plan.duration_s[0, 1])

    def test_until_the_cut_off_only_and_how_much_of_the_job_that_is(self) -> None:
        _, takes = self._ends(SUNSET_RULE, at("12:00"))
        start = int(self.CUT_OFF - 0.81 * takes)
        judgement, _ = self._ends(SUNSET_RULE, start)
        assert judgement.breaks_at[0, 1, 0] == self.CUT_OFF
        assert judgement.share_done[0, 1, 0] == pytest.approx(0.81, abs=0.001)
        assert judgement.status[0, 1, 0] == Status.MARGINAL

    def test_a_job_that_must_be_finished_is_not_begun(self) -> None:
        rule = SUNSET_RULE | {"binds": "end"}
        _, takes = self._ends(rule, at("12:00"))
        late, early = int(self.CUT_OFF - takes) + 60, int(self.CUT_OFF - takes) - 3600
        assert self._ends(rule, late)[0].status[0, 1, 0] == Status.UNSUITABLE
        assert self._ends(rule, early)[0].status[0, 1, 0] == Status.SUITABLE
        assert limits(self._ends(rule, late)[0])[Limit.BEGIN].stand is LimitState.BROKEN

    def test_a_job_begun_in_time_may_go_on(self) -> None:
        rule = SUNSET_RULE | {"binds": "start"}
        judgement, _ = self._ends(rule, self.CUT_OFF - 1200)
        assert judgement.status[0, 1, 0] >= Status.MARGINAL
        assert judgement.breaks_at[0, 1, 0] == np.inf
        late, _ = self._ends(rule, self.CUT_OFF + 60)
        assert late.status[0, 1, 0] == Status.UNSUITABLE

    def test_a_windows_own_time_before_sunset_is_as_exact(self) -> None:
        config = tables(wind_rule())
        config["windows"]["contact"]["before_sunset"] = {"low": "2 h"}
        start = self.CUT_OFF - 540
        ranking = rank(judged(config, fair_weather(start=start)), 0)
        field = ranking.every["C"]
        assert field.breaks_at == self.CUT_OFF
        assert field.closes_at is None or field.closes_at <= self.CUT_OFF
        assert field.status <= Status.MARGINAL

    def test_no_time_is_offered_after_the_cut_off(self) -> None:
        field = rank(self._ends(SUNSET_RULE, self.CUT_OFF - 5 * 3600 - 540)[0], 0).every["C"]
        assert field.closes_at == self.CUT_OFF

    def test_the_last_hour_counts_up_to_the_cut_off(self) -> None:
        start = self.CUT_OFF - 3600 - 1800
        config = tables(SUNSET_RULE)
        config["judging"] = {"horizon": "6 h"}
        config["sprayers"] = farm_tables()["sprayers"]
        field = rank(judged(config, fair_weather(start=start)), 0).every["C"]
        assert field.usable_hours <= 1.5

    def test_after_bee_flight_only(self) -> None:
        rule = {"kind": "clock", "opens": "sunset", "closes": "23:00", "origin": "national law"}
        assert judged(tables(rule), fair_weather(start=at("14:00"))).status[0, 1, 0] == (
            Status.UNSUITABLE
        )
        assert (
            limits(judged(tables(rule), fair_weather(start=at("21:30"))))[Limit.CLOCK].stand
            >= LimitState.NEAR
        )


def wind_rule(**keys: Any) -> dict[str, Any]:
    return {"kind": "wind", "low": "3 mph", "high": "10 mph"} | BOOM | keys


class TestWindAtItsOwnHeight:
    LAW: ClassVar[dict[str, Any]] = {
        "kind": "wind",
        "high": "19 km/h",
        "height": "10 m",
        "gusts": "not counted",
    }

    @pytest.mark.parametrize(("km_h", "open_"), [(22.0, False), (28.0, False), (19.0, True)])
    def test_a_law_at_ten_metres_is_held_to_the_mast_there(self, km_h: float, open_: bool) -> None:
        series = mast(10.0, fair_weather(wind_mph=km_h / 1.609344))
        found = limits(judged(tables(self.LAW), series))[Limit.WIND]
        assert found.value == pytest.approx(km_h / 3.6)
        assert (found.stand >= LimitState.NEAR) is open_

    def test_the_same_wind_passes_a_label_at_the_boom(self) -> None:
        series = mast(10.0, fair_weather(wind_mph=12.0))
        found = limits(judged(tables(wind_rule()), series))[Limit.WIND]
        at_boom = wind_at_height(wind_m_s=12.0 * MPH, from_m=10.0, to_m=BOOM_HEIGHT_M)
        assert found.value == pytest.approx(float(at_boom))
        assert found.stand >= LimitState.NEAR

    def test_the_sentence_names_value_height_bound_and_law(self) -> None:
        law = self.LAW | {"origin": "national law", "citation": "article 2"}
        series = mast(10.0, fair_weather(wind_mph=22.0 / 1.609344))
        config = tables(law)
        config["farm"]["units"] = "metric"
        judgement = judged(config, series)
        said = str(Speaker(judgement.plan.farm).reason("C", limits(judgement)[Limit.WIND]))
        for part in ("22.0 km/h at 10.0 m", "at most 19.0 km/h", "national law", "article 2"):
            assert part in said

    @pytest.mark.parametrize(
        ("gusts", "state"),
        [
            ("counted", LimitState.BROKEN),
            ("unstated", LimitState.BROKEN),
            ("not counted", LimitState.HOLDS),
        ],
    )
    def test_gusts_count_unless_the_text_says_otherwise(
        self, gusts: str, state: LimitState
    ) -> None:
        series = fair_weather(wind_mph=8.0, gust_mph=12.0)
        judgement = judged(tables(wind_rule(gusts=gusts)), series)
        found = limits(judgement)[Limit.GUST]
        assert found.stand is state
        if gusts == "unstated":
            said = str(Speaker(judgement.plan.farm).reason("C", found))
            assert "gusts counted as nothing says they are not" in said

    def test_a_gust_that_counts_and_is_not_known_is_unknown(self) -> None:
        series = fair_weather(wind_mph=5.0, gust_mph=np.nan)
        judgement = judged(tables(wind_rule(gusts="counted")), series)
        assert judgement.status[0, 1, 0] == Status.UNKNOWN

    def test_a_height_that_is_not_named_is_the_stricter(self) -> None:
        rule = {"kind": "wind", "low": "3 mph", "high": "10 mph", "gusts": "not counted"}
        high = limits(judged(tables(rule), mast(10.0, fair_weather(wind_mph=12.0))))[Limit.WIND]
        assert high.stand is LimitState.BROKEN
        low = limits(judged(tables(rule), mast(10.0, fair_weather(wind_mph=4.0))))[Limit.WIND]
        assert low.stand is LimitState.BROKEN

    def test_a_shorter_averaging_is_nearer_to_the_gust(self) -> None:
        series = fair_weather(wind_mph=8.0, gust_mph=12.0)
        values = [
            limits(judged(tables(wind_rule(averaging=a)), series))[Limit.WIND].value
            for a in ("10 min", "2 min", "3 s")
        ]
        assert values == sorted(values)
        assert values[0] == pytest.approx(8.0 * MPH)
        assert values[2] == pytest.approx(12.0 * MPH)


class TestTheCalmBandByRulesAlone:
    """No window bounds the wind: what is calm follows from the rules."""

    @pytest.mark.parametrize(("mph", "state"), [(5.0, LimitState.NEAR), (7.0, LimitState.BROKEN)])
    def test_only_calm_wind_may_blow_to_a_susceptible_neighbour(
        self, mph: float, state: LimitState
    ) -> None:
        config = tables(wind_rule())
        config["neighbours"] = {
            "vines_C": {
                "grows": "vines",
                "susceptibility": "susceptible",
                "tolerable_deposit": "50 %",
            }
        }
        series = fair_weather(wind_mph=mph, wind_from_deg=180.0)
        assert limits(judged(config, series))[Limit.NEIGHBOUR].stand is state

    def test_a_law_at_ten_metres_is_lower_at_the_boom(self) -> None:
        law = {"kind": "wind", "high": "19 km/h", "height": "10 m", "gusts": "not counted"}
        config = tables(law)
        series = mast(10.0, fair_weather(wind_mph=np.array([6.0] * 36 + [9.0] * 36)))
        band = judged(config, series).boom.band[0, 1]
        assert (band[0], band[-1]) == (Band.CALM, Band.MARGINAL)


class TestCalm:
    FLOOR: ClassVar[dict[str, Any]] = wind_rule()
    DUTY: ClassVar[dict[str, Any]] = {"kind": "calm duty", "below": "3 mph"}
    NOON: ClassVar[dict[str, Any]] = {"start": at("12:00"), "wind_mph": 2.0, "cloud_pct": 0.0}

    def test_a_floor_is_a_floor_at_noon_too(self) -> None:
        assert judged(tables(self.FLOOR), fair_weather(**self.NOON)).status[0, 1, 0] == (
            Status.UNSUITABLE
        )

    def test_a_duty_asks_for_the_operators_finding(self) -> None:
        config, series = tables(self.DUTY), fair_weather(**self.NOON)
        assert limits(judged(config, series))[Limit.CALM_DUTY].stand is LimitState.UNKNOWN
        found = judged(config, series, no_inversion_found={"C"})
        assert limits(found)[Limit.CALM_DUTY].stand is LimitState.HOLDS

    def test_both_in_one_tank(self) -> None:
        config = tables(self.FLOOR, more=[self.DUTY])
        found = judged(config, fair_weather(**self.NOON), no_inversion_found={"C"})
        assert found.status[0, 1, 0] == Status.UNSUITABLE


class TestTheDaysHigh:
    RULE: ClassVar[dict[str, Any]] = {
        "kind": "day high",
        "high": "85 degF",
        "whole_degrees": True,
        "origin": "state law",
    }

    def _day(self, *highs_f: float, start: int | None = None) -> WeatherSeries:
        """Days from midnight on, warmest at three."""
        hour = np.arange(24 * len(highs_f)) % 24
        high = np.repeat([(f - 32) / 1.8 for f in highs_f], 24)
        temp = high - np.abs(hour - 15) * 0.5
        return fair_weather(hours=temp.size, start=at("00:00"), temp_c=temp)

    def test_a_high_over_it_closes_the_whole_day(self) -> None:
        judgement = judged(tables(self.RULE), self._day(87.0, 80.0, 80.0))
        stand = [limits(judgement, time=h)[Limit.DAY_HIGH].stand for h in (6, 10, 23)]
        assert stand == [LimitState.BROKEN] * 3
        assert limits(judgement, time=26)[Limit.DAY_HIGH].stand is LimitState.HOLDS

    @pytest.mark.parametrize(("high", "open_"), [(85.0, True), (85.4, True), (85.6, False)])
    def test_whole_degrees(self, high: float, open_: bool) -> None:
        found = limits(judged(tables(self.RULE), self._day(high, 80.0)), time=10)
        assert (found[Limit.DAY_HIGH].stand >= LimitState.NEAR) is open_

    def test_a_day_with_a_missing_hour_is_not_known(self) -> None:
        series = self._day(80.0, 80.0)
        temp = series.temp_c.copy()
        temp[15] = np.nan
        found = limits(judged(tables(self.RULE), series.having(temp_c=temp)), time=10)
        assert found[Limit.DAY_HIGH].stand is LimitState.UNKNOWN

    def test_unless_it_is_too_hot_already(self) -> None:
        series = self._day(90.0, 80.0)
        temp = series.temp_c.copy()
        temp[3] = np.nan
        found = limits(judged(tables(self.RULE), series.having(temp_c=temp)), time=10)
        assert found[Limit.DAY_HIGH].stand is LimitState.BROKEN

    def test_a_share_of_the_ground_is_marginal_and_no_ban(self) -> None:
        share = {"kind": "day high", "high": "85 degF", "acreage_share": "50 %"}
        none = {"kind": "day high", "high": "95 degF", "inclusive": False}
        judgement = judged(tables(share, none), self._day(90.0, 80.0))
        warm = limits(judgement, time=10)
        assert warm[Limit.DAY_HIGH].stand is LimitState.NEAR
        said = str(Speaker(judgement.plan.farm).reason("C", warm[Limit.DAY_HIGH]))
        assert "for more than 50% of the ground not yet treated" in said
        hot = limits(judged(tables(share, none), self._day(95.0, 80.0)), time=10)
        assert hot[Limit.DAY_HIGH].stand is LimitState.BROKEN


class TestDatesAndStages:
    STAGE: ClassVar[dict[str, Any]] = {
        "kind": "stage",
        "last": date(2026, 6, 30),
        "until_stage": "R1",
    }

    def _stand(self, time: int, rule: dict[str, Any], **field: Any) -> LimitState:
        found = limits(judged(tables(rule, **field), fair_weather(start=time)))
        return found[Limit.DATES].stand

    def test_the_stage_first(self) -> None:
        time = at("10:00", date(2026, 6, 29))
        seen = {"stages": {"R1": date(2026, 6, 27)}}
        assert self._stand(time, self.STAGE, **seen) is LimitState.BROKEN

    def test_the_date_first_by_the_farms_own_calendar(self) -> None:
        looked = {"stages_on": date(2026, 6, 30)}
        late = at("00:10", date(2026, 7, 1))
        assert self._stand(late, self.STAGE, **looked) is LimitState.BROKEN
        assert self._stand(late - 3600, self.STAGE, **looked) is LimitState.HOLDS

    def test_a_stage_nobody_looked_for_is_not_guessed(self) -> None:
        time = at("10:00", date(2026, 6, 20))
        assert self._stand(time, self.STAGE) is LimitState.UNKNOWN
        assert self._stand(time, self.STAGE, stages_on=date(2026, 6, 16)) is LimitState.UNKNOWN
        assert self._stand(time, self.STAGE, stages_on=date(2026, 6, 17)) is LimitState.HOLDS

    def test_days_after_planting(self) -> None:
        rule = {"kind": "stage", "days_after_planting": 45}
        planted = date(2026, 5, 1)
        for days, state in ((45, LimitState.HOLDS), (46, LimitState.BROKEN)):
            time = at("10:00", planted + timedelta(days=days))
            assert self._stand(time, rule, planted=planted) is state

    def test_a_closed_season(self) -> None:
        rule = {
            "kind": "dates",
            "first": date(2026, 5, 26),
            "last": date(2026, 10, 31),
            "means": "closed",
        }
        assert self._stand(at("10:00"), rule) is LimitState.BROKEN
        assert self._stand(at("10:00", date(2026, 5, 25)), rule) is LimitState.HOLDS

    def test_a_label_that_is_no_longer_valid(self) -> None:
        config = tables(wind_rule())
        config["products"]["a"]["valid_until"] = date(2026, 6, 9)
        assert limits(judged(config, fair_weather()))[Limit.DATES].stand is LimitState.BROKEN


class TestRain:
    AHEAD: ClassVar[dict[str, Any]] = {"kind": "rain ahead", "within": "24 h", "amount": "12 mm"}

    def _ahead(self, rule: dict[str, Any], **weather: Any) -> Reason:
        return limits(judged(tables(rule), fair_weather(**weather)))[Limit.RAIN_AHEAD]

    @pytest.mark.parametrize(
        ("mm", "state"),
        [(4.0, LimitState.HOLDS), (11.5, LimitState.NEAR), (13.0, LimitState.BROKEN)],
    )
    def test_an_amount_in_the_hours_after_the_job(self, mm: float, state: LimitState) -> None:
        rain = np.where(np.arange(72) == 20, mm, 0.0)
        found = self._ahead(self.AHEAD, rain_mm_h=rain)
        assert found.value == pytest.approx(mm)
        assert found.stand is state

    def test_a_forecast_that_ends_too_soon_is_not_known(self) -> None:
        assert self._ahead(self.AHEAD, hours=20).stand is LimitState.UNKNOWN

    def test_nothing_is_decided_without_an_amount(self) -> None:
        assert self._ahead({"kind": "rain ahead", "within": "48 h"}).stand is LimitState.UNKNOWN

    @pytest.mark.parametrize(
        ("percent", "state"),
        [(40.0, LimitState.HOLDS), (70.0, LimitState.BROKEN), (np.nan, LimitState.UNKNOWN)],
    )
    def test_the_chance_of_rain(self, percent: float, state: LimitState) -> None:
        rule = {"kind": "rain ahead", "within": "6 h", "chance": "60 %"}
        chance = np.where(np.arange(72) == 4, percent, 10.0)
        assert self._ahead(rule, rain_chance_pct=chance).stand is state

    def test_soil_at_field_capacity_and_a_storm(self) -> None:
        rule = {"kind": "soil", "not_at": "field capacity", "with_rain_within": "48 h"}
        rain = np.where(np.arange(72) == 30, 2.0, 0.0)
        stands = [
            limits(
                judged(
                    tables(rule, **({"soil": soil, "soil_on": date(2026, 6, 10)} if soil else {})),
                    fair_weather(rain_mm_h=rain),
                )
            )[Limit.SOIL].stand
            for soil in ("field capacity", "saturated", "moist", None)
        ]
        assert stands == [
            LimitState.BROKEN,
            LimitState.BROKEN,
            LimitState.HOLDS,
            LimitState.UNKNOWN,
        ]

    @pytest.mark.parametrize(
        ("soil", "rain", "state"),
        [
            ("field capacity", 0.0, LimitState.HOLDS),
            ("field capacity", np.nan, LimitState.UNKNOWN),
            ("moist", np.nan, LimitState.HOLDS),
            (None, 0.0, LimitState.HOLDS),
            (None, np.nan, LimitState.UNKNOWN),
        ],
    )
    def test_a_wet_soil_waits_for_a_forecast_of_rain_that_is_known(
        self, soil: str | None, rain: float, state: LimitState
    ) -> None:
        rule = {"kind": "soil", "not_at": "field capacity", "with_rain_within": "48 h"}
        looked = {"soil": soil, "soil_on": date(2026, 6, 10)} if soil else {}
        foretold = np.where(np.arange(72) == 30, rain, 0.0)
        judgement = judged(tables(rule, **looked), fair_weather(rain_mm_h=foretold))
        assert limits(judgement)[Limit.SOIL].stand is state

    @pytest.mark.parametrize(("mm_h", "open_"), [(5.0, True), (8.5, False)])
    def test_rain_that_may_fall_while_spraying(self, mm_h: float, open_: bool) -> None:
        rule = {"kind": "rain now", "most": "8 mm/h", "origin": "national law"}
        found = limits(judged(tables(rule), fair_weather(rain_mm_h=mm_h)))[Limit.RAIN_NOW]
        assert (found.stand >= LimitState.NEAR) is open_


class TestEquipmentAndPapers:
    @pytest.mark.parametrize(
        ("held", "state"),
        [(2, LimitState.BROKEN), (3, LimitState.HOLDS), (None, LimitState.UNKNOWN)],
    )
    def test_runoff_points(self, held: int | None, state: LimitState) -> None:
        config = tables(
            {"kind": "points", "required": 3}, **({} if held is None else {"points": held})
        )
        assert limits(judged(config, fair_weather()))[Limit.PAPERS].stand is state

    def test_a_bulletin_grows_old(self) -> None:
        rule = {"kind": "bulletin", "looked_up_on": date(2025, 12, 1)}
        assert limits(judged(tables(rule), fair_weather()))[Limit.PAPERS].stand is (
            LimitState.BROKEN
        )

    def test_a_setup_that_is_too_fine_is_not_used(self) -> None:
        judgement = judged(tables({"kind": "droplets", "finest": "coarse"}), fair_weather())
        fine, coarse = (judgement.status[0, s, 0] for s in (0, 1))
        assert fine == Status.UNSUITABLE
        assert coarse >= Status.MARGINAL


class TestInversion:
    @pytest.mark.parametrize(
        ("effect", "clock", "state"),
        [
            ("duty", "12:00", LimitState.UNKNOWN),
            ("ban", "12:00", LimitState.HOLDS),
            ("deemed hours", "12:00", LimitState.HOLDS),
            ("deemed hours", "20:30", LimitState.BROKEN),
            ("deemed hours", "07:00", LimitState.BROKEN),  # an hour after sunrise, by the almanac
            ("deemed hours", "08:15", LimitState.HOLDS),
        ],
    )
    def test_by_effect(self, effect: str, clock: str, state: LimitState) -> None:
        hours = {"before_sunset": "90 min", "after_sunrise": "90 min"}
        rule = {"kind": "inversion", "effect": effect} | (hours if "deemed" in effect else {})
        series = fair_weather(start=at(clock), cloud_pct=30.0, wind_mph=7.0)
        assert limits(judged(tables(rule), series))[Limit.INVERSION].stand is state


def test_advice_is_marginal_and_never_a_ban() -> None:
    advice = wind_rule(force="advice", high="4 mph")
    judgement = judged(tables(advice), fair_weather(wind_mph=9.0))
    assert limits(judgement)[Limit.WIND].stand is LimitState.NEAR
    assert judgement.instant[0, 1, 0] == Status.MARGINAL
    unknown = judged(tables(advice), fair_weather(wind_mph=np.nan))
    assert limits(unknown)[Limit.WIND].stand is not LimitState.BROKEN


QUANTITIES = ("wind_m_s", "gust_m_s", "temp_c", "humidity_pct", "rain_mm_h", "rain_chance_pct")
RULES = st.sampled_from(
    [
        wind_rule(),
        wind_rule(height="10 m", gusts="counted"),
        wind_rule(height="unstated", gusts="unstated", averaging="1 min"),
        {"kind": "temperature", "high": "22 degC"},
        {"kind": "humidity", "low": "50 %"},
        {"kind": "Delta T", "high": "6 K"},
        {"kind": "day high", "high": "25 degC"},
        {"kind": "rain now", "most": "1 mm/h"},
        {"kind": "rain ahead", "within": "6 h", "amount": "2 mm", "chance": "50 %"},
        {"kind": "clock", "opens": "1 h after sunrise", "closes": "2 h before sunset"},
        {"kind": "clock", "closes": "18:00", "binds": "end"},
        {"kind": "droplets", "finest": "coarse"},
        {"kind": "calm duty", "below": "3 mph"},
        {"kind": "points", "required": 1},
    ]
)
SKIES = st.fixed_dictionaries(
    {
        "wind_mph": st.floats(0, 16),
        "temp_c": st.floats(10, 32),
        "humidity_pct": st.floats(20, 100),
        "rain_mm_h": st.sampled_from([0.0, 0.3, 2.0]),
        "rain_chance_pct": st.floats(0, 100),
        "start": st.integers(at("00:00"), at("23:00")),
    }
)


@settings(deadline=None, max_examples=25)
@given(st.lists(RULES, min_size=1, max_size=3), st.lists(RULES, max_size=3), SKIES)
def test_another_product_never_opens_an_hour(
    rules: list[Any], more: list[Any], sky_: dict[str, Any]
) -> None:
    series = fair_weather(hours=40, **sky_)
    alone, both = judged(tables(*rules), series), judged(tables(*rules, more=more), series)
    assert (both.instant <= np.where(alone.instant == 1, 3, alone.instant)).all()
    opens = lambda j: j.status >= Status.MARGINAL  # noqa: E731
    assert not (opens(both) & ~opens(alone)).any()
    assert (both.closes <= alone.closes).all()


@settings(deadline=None, max_examples=25)
@given(st.lists(RULES, min_size=1, max_size=4), SKIES, st.sampled_from(QUANTITIES))
def test_what_is_not_known_never_passes(
    rules: list[Any], sky_: dict[str, Any], missing: str
) -> None:
    series = fair_weather(hours=40, **sky_)
    blind = series.having(**{missing: np.full(len(series), np.nan)})
    known, unknown = (judged(tables(*rules), s).status for s in (series, blind))
    opened = (unknown >= Status.MARGINAL) & (known < Status.MARGINAL)
    assert not opened.any()


class TestBuffersOnTheGround:
    """A square of 400 m with vines 10 m to its north; the wind comes from where it is told."""

    def _config(self, buffer: dict[str, Any], **neighbour: Any) -> Any:
        config = tables(wind_rule())
        config["neighbours"] = {
            "vines_C": {"grows": "vines", "susceptibility": "tolerant", "kinds": ["crop"]}
            | neighbour
        }
        config["products"]["a"]["buffers"] = [{"protects": ["crop"], "inside": ["road"]} | buffer]
        return config

    def _found(self, given: Any, wind_from: float) -> Reason | None:
        return limits(judged(given, fair_weather(wind_from_deg=wind_from))).get(Limit.NO_SPRAY)

    def test_a_strip_is_left_and_the_rest_may_be_sprayed(self) -> None:
        config = self._config({"base": "240 ft"}, between=["road"])
        found = self._found(config, 180.0)
        assert found is not None
        assert found.stand is LimitState.NEAR
        (left,) = found.strips
        gap, width = left.gap_m, 90 * 0.3048
        assert gap == pytest.approx(10.0, abs=0.1)
        assert left.depth_m == pytest.approx(240 * 0.3048 - gap)
        assert left.passes == int(np.ceil(left.depth_m / width))
        assert left.area_m2 == pytest.approx(left.depth_m * 400.0, rel=0.01)

    def test_upwind_of_it_nothing_is_left(self) -> None:
        found = self._found(self._config({"base": "240 ft"}, between=["road"]), 0.0)
        assert found is not None
        assert found.stand is LimitState.HOLDS
        assert found.strips == ()

    def test_on_all_sides_whatever_the_wind(self) -> None:
        found = self._found(self._config({"base": "20 m", "sides": "all round"}), 0.0)
        assert found is not None
        assert found.strips[0].depth_m == pytest.approx(20.0)  # nobody said what lies between

    def test_what_is_left_on_all_sides_is_taken_off_the_area_and_no_other(self) -> None:
        all_round = {"base": "40 m", "sides": "all round"}
        shut = {"base": "500 m", "sides": "all round"}
        plans = [
            FarmArrays.of(build_farm(self._config(buffer)))
            for buffer in (all_round, {"base": "40 m"}, shut)
        ]
        shares = [plan.buffers.always_share.max() for plan in plans]
        # The neighbour lies along one side of 400 m; where all is shut there is nothing to take.
        assert shares == pytest.approx([40.0 / 400.0, 0.0, 0.0], abs=0.005)
        for plan, share in zip(plans, shares, strict=True):
            whole = plan.farm.ground.area_m2("C")
            assert plan.to_spray_m2[0] == pytest.approx([whole * (1.0 - share)] * 3)

    def test_a_lesser_distance_on_the_other_sides(self) -> None:
        config = self._config({"base": "60 m", "other_sides": "30 m"}, between=["road"])
        depths = [f.strips[0].depth_m for w in (180.0, 0.0) if (f := self._found(config, w))]
        assert depths == pytest.approx([50.0, 20.0], abs=0.1)

    @pytest.mark.parametrize(
        ("wind_from", "stands"),
        [(180.0, LimitState.BROKEN), (0.0, LimitState.HOLDS), (np.nan, LimitState.UNKNOWN)],
    )
    def test_a_strip_that_would_take_all_of_the_field_hangs_on_the_wind(
        self, wind_from: float, stands: LimitState
    ) -> None:
        found = self._found(self._config({"base": "500 m"}), wind_from)
        assert found is not None
        assert found.stand is stands

    @pytest.mark.parametrize(("metres", "passes"), [("27 m", 1), ("27.9 m", 2)])
    def test_a_strip_is_so_many_passes_of_the_boom_as_it_takes(
        self, metres: str, passes: int
    ) -> None:
        """Ninety feet are 27.4 m."""
        found = self._found(self._config({"base": metres, "sides": "all round"}), 0.0)
        assert found is not None
        assert found.strips[0].passes == passes

    def test_strips_that_take_all_of_the_field_together_leave_it_as_it_is_to_time(self) -> None:
        """Two of 250 m on opposite sides of 400 m: it is shut, however long it would take."""
        config = self._config({"base": "250 m", "sides": "all round"})
        farm = build_farm(config)
        south = translate(farm.ground.neighbours_deg["vines_C"], yoff=-820.0 / 111_195.0)
        config["neighbours"]["south"] = dict(config["neighbours"]["vines_C"])
        both = {**farm.ground.neighbours_deg, "south": south}
        config = farm.config.model_validate(config)
        plan = FarmArrays.of(Farm(config, Ground(farm.ground.fields_deg, both)))
        assert plan.buffers.always_share[plan.fields.index("C")].tolist() == [0.0] * len(
            plan.setups
        )

    @pytest.mark.parametrize("deeper", ["vines_C", "south"])
    def test_the_deepest_strip_comes_first(self, deeper: str) -> None:
        """Ten metres off on two sides, which count where it is known what lies between."""
        config = self._config({"base": "60 m", "sides": "all round"})
        farm = build_farm(config)
        south = translate(farm.ground.neighbours_deg["vines_C"], yoff=-820.0 / 111_195.0)
        config["neighbours"]["south"] = dict(config["neighbours"]["vines_C"])
        (other,) = {"vines_C", "south"} - {deeper}
        config["neighbours"][other]["between"] = ["road"]
        both = {**farm.ground.neighbours_deg, "south": south}
        moved = Farm(farm.config.model_validate(config), Ground(farm.ground.fields_deg, both))
        judgement = judge(FarmArrays.of(moved), fair_weather(wind_from_deg=180.0))
        strips = left_strips(judgement, judgement.plan.fields.index("C"), 0, 0)
        assert strips[0].neighbour == deeper
        assert strips[0].depth_m > strips[1].depth_m

    @pytest.mark.parametrize("metres", ["8 m", "9.9 m"])
    def test_a_distance_the_neighbour_keeps_anyway_leaves_no_strip(self, metres: str) -> None:
        """It lies ten metres off: on the other sides, and on all of them."""
        upwind = {"base": "60 m", "other_sides": metres}
        for buffer in (upwind, {"base": metres}, {"base": metres, "sides": "all round"}):
            wind_from = 0.0 if buffer is upwind else 180.0
            found = self._found(self._config(buffer, between=["road"]), wind_from)
            assert found is not None
            assert found.stand is LimitState.HOLDS
            assert found.strips == ()

    def test_where_the_direction_is_not_known_neither_is_the_strip(self) -> None:
        found = self._found(self._config({"base": "60 m"}), np.nan)
        assert found is not None
        assert found.stand is LimitState.UNKNOWN

    def test_a_strip_that_takes_all_of_the_field_shuts_it(self) -> None:
        found = self._found(self._config({"base": "500 m"}), 180.0)
        assert found is not None
        assert found.stand is LimitState.BROKEN

    def test_equipment_outside_the_table_shuts_it(self) -> None:
        table = {"table": [{"base": "1.5 m", "drift_class": "75 %"}], "sides": "along water"}
        found = self._found(self._config(table), 0.0)
        assert found is not None
        assert found.stand is LimitState.BROKEN

    def test_a_reduction_of_the_setup_makes_it_narrower(self) -> None:
        halved = {
            "base": "60 m",
            "reductions": [{"needs": ["hood"], "percent": "50 %"}],
            "combine": "add and cap",
        }
        config = self._config(halved, between=["road"])
        config["setups"]["coarse15"]["measures"] = ["hood"]
        found = self._found(config, 180.0)
        assert found is not None
        assert found.strips[0].depth_m == pytest.approx(20.0, abs=0.1)

    def test_a_neighbour_of_another_kind_is_not_protected(self) -> None:
        assert self._found(self._config({"base": "60 m"}, kinds=["road"]), 180.0) is None


class TestNoWindTowards:
    def _stand(self, wind_from: float, adjacent: bool | None = None) -> LimitState:
        config = tables(wind_rule(), {"kind": "direction", "towards": ["crop"]})
        neighbour = {"grows": "vines", "susceptibility": "tolerant", "kinds": ["crop"]}
        config["neighbours"] = {
            "vines_C": neighbour | ({} if adjacent is None else {"adjacent": adjacent})
        }
        found = limits(judged(config, fair_weather(wind_mph=4.0, wind_from_deg=wind_from)))
        return found[Limit.NEIGHBOUR].stand

    def test_the_whole_field_is_shut_not_a_strip(self) -> None:
        assert self._stand(180.0) is LimitState.BROKEN
        assert self._stand(0.0) is LimitState.HOLDS

    def test_one_that_you_say_is_not_adjacent_does_not_count(self) -> None:
        assert self._stand(180.0, adjacent=True) is LimitState.BROKEN
        assert self._stand(180.0, adjacent=False) is LimitState.HOLDS

    def test_without_a_direction_it_is_not_known(self) -> None:
        assert self._stand(np.nan) is LimitState.UNKNOWN


class TestAtTheEdge:
    """On the last day, at the very bound, and just beyond."""

    @staticmethod
    def _stand(limit: Limit, time: int, *rules: Any, **field: Any) -> LimitState | None:
        found = limits(judged(tables(*rules, **field), fair_weather(start=time, hours=30)))
        return found[limit].stand if limit in found else None

    @pytest.mark.parametrize(
        ("days", "state"),
        [
            (-1, LimitState.UNKNOWN),
            (0, LimitState.BROKEN),
            (1, LimitState.BROKEN),
            (2, LimitState.UNKNOWN),
        ],
    )
    def test_the_soil_as_looked_at_counts_for_its_day_and_the_next(
        self, days: int, state: LimitState
    ) -> None:
        looked = {"soil": "field capacity", "soil_on": date(2026, 6, 10)}
        time = at("10:00", date(2026, 6, 10) + timedelta(days=days))
        rule = {"kind": "soil", "not_at": "field capacity"}
        assert self._stand(Limit.SOIL, time, rule, **looked) is state

    def test_a_dry_soil_that_is_not_the_banned_state_holds_without_rain(self) -> None:
        rule = {"kind": "soil", "not_at": "saturated"}
        looked = {"soil": "field capacity", "soil_on": date(2026, 6, 10)}
        assert self._stand(Limit.SOIL, at("10:00"), rule, **looked) is LimitState.HOLDS

    @pytest.mark.parametrize(
        ("day", "state"),
        [
            (date(2026, 5, 25), LimitState.HOLDS),
            (date(2026, 5, 26), LimitState.BROKEN),
            (date(2026, 10, 31), LimitState.BROKEN),
            (date(2026, 11, 1), LimitState.HOLDS),
        ],
    )
    def test_a_closed_season_holds_its_first_and_its_last_day(
        self, day: date, state: LimitState
    ) -> None:
        season = {"first": date(2026, 5, 26), "last": date(2026, 10, 31)}
        rule = {"kind": "dates", **season, "means": "closed"}
        assert self._stand(Limit.DATES, at("10:00", day), rule) is state
        opposite = LimitState.BROKEN if state is LimitState.HOLDS else LimitState.HOLDS
        assert self._stand(Limit.DATES, at("10:00", day), rule | {"means": "allowed"}) is opposite

    def test_an_open_end_of_a_season_never_comes(self) -> None:
        rule = {"kind": "dates", "first": date(2026, 5, 26), "means": "closed"}
        assert self._stand(Limit.DATES, at("10:00"), rule) is LimitState.BROKEN
        rule = {"kind": "dates", "last": date(2026, 5, 26), "means": "closed"}
        assert self._stand(Limit.DATES, at("10:00"), rule) is LimitState.HOLDS

    @pytest.mark.parametrize(("day", "binds"), [(9, False), (10, True), (12, True), (13, False)])
    def test_a_rule_binds_from_its_first_valid_day_to_its_last(self, day: int, binds: bool) -> None:
        rule = {
            "kind": "temperature",
            "high": "15 degC",
            "valid_from": date(2026, 6, 10),
            "valid_until": date(2026, 6, 12),
        }
        time = at("10:00", date(2026, 6, day))
        state = LimitState.BROKEN if binds else LimitState.HOLDS
        assert self._stand(Limit.TEMPERATURE, time, rule) is state

    def test_a_stage_that_is_seen_shuts_from_its_day_on(self) -> None:
        rule = {"kind": "stage", "until_stage": "R1"}
        for day, state in ((9, LimitState.HOLDS), (10, LimitState.BROKEN)):
            seen = {"stages": {"R1": date(2026, 6, 10)}, "stages_on": date(2026, 6, 10)}
            time = at("10:00", date(2026, 6, day))
            assert self._stand(Limit.DATES, time, rule, **seen) is state

    def test_a_planting_that_nobody_gave_leaves_the_days_after_it_unknown(self) -> None:
        rule = {"kind": "stage", "days_after_planting": 45}
        assert self._stand(Limit.DATES, at("10:00"), rule) is LimitState.UNKNOWN

    def test_a_bulletin_is_good_for_its_days(self) -> None:
        rule = {"kind": "bulletin", "looked_up_on": date(2026, 6, 10), "good_for_days": 5}
        for day, state in ((15, LimitState.HOLDS), (16, LimitState.BROKEN)):
            assert self._stand(Limit.PAPERS, at("10:00", date(2026, 6, day)), rule) is state
        never = {"kind": "bulletin"}
        assert self._stand(Limit.PAPERS, at("10:00"), never) is LimitState.UNKNOWN

    @pytest.mark.parametrize(
        ("inclusive", "high_c", "state"),
        [
            (True, 30.0, LimitState.NEAR),
            (True, 30.01, LimitState.BROKEN),
            (False, 29.99, LimitState.NEAR),
            (False, 30.0, LimitState.BROKEN),
        ],
    )
    def test_a_days_high_at_its_bound(
        self, inclusive: bool, high_c: float, state: LimitState
    ) -> None:
        rule = {"kind": "day high", "high": "30 degC", "inclusive": inclusive}
        series = fair_weather(hours=48, start=at("00:00"), temp_c=high_c)
        assert limits(judged(tables(rule), series), time=8)[Limit.DAY_HIGH].stand is state

    def test_the_high_of_the_next_day_is_that_of_the_next_day(self) -> None:
        rule = {"kind": "day high", "high": "30 degC", "day": "next day"}
        temp = np.repeat([20.0, 35.0, 20.0], 24)
        series = fair_weather(hours=72, start=at("00:00"), temp_c=temp)
        judgement = judged(tables(rule), series)
        stands = [limits(judgement, time=h)[Limit.DAY_HIGH].stand for h in (8, 30)]
        assert stands == [LimitState.BROKEN, LimitState.HOLDS]

    @pytest.mark.parametrize(("high_c", "binds"), [(30.0, False), (30.1, True), (NAN, True)])
    def test_hours_of_hot_days_only_bind_where_the_day_is_or_may_be_hot(
        self, high_c: float, binds: bool
    ) -> None:
        rule = {"kind": "clock", "closes": "09:00", "if_high_over": "30 degC"}
        series = fair_weather(hours=48, start=at("00:00"), temp_c=high_c)
        found = limits(judged(tables(rule), series), time=12)
        assert (found[Limit.CLOCK].stand is LimitState.BROKEN) is binds

    @pytest.mark.parametrize(("mm", "state"), [(12.0, LimitState.NEAR), (12.01, LimitState.BROKEN)])
    def test_so_much_rain_as_is_allowed_may_come(self, mm: float, state: LimitState) -> None:
        rain = np.where(np.arange(72) == 20, mm, 0.0)
        rule = {"kind": "rain ahead", "within": "24 h", "amount": "12 mm"}
        found = limits(judged(tables(rule), fair_weather(rain_mm_h=rain)))
        assert found[Limit.RAIN_AHEAD].stand is state

    def test_rain_is_looked_for_from_the_end_of_the_job_on(self) -> None:
        """Within six hours of the end: whole in the hour before it is up, not in the one after."""
        rule = {"kind": "rain ahead", "within": "6 h", "amount": "12 mm"}
        takes = float(judged(tables(rule), fair_weather()).plan.duration_s[0, 1])
        last = int((6 * 3600 + takes) // 3600) - 1
        for hour, mm in ((last, 15.0), (last + 2, 0.0)):
            rain = np.where(np.arange(72) == hour, 15.0, 0.0)
            found = limits(judged(tables(rule), fair_weather(rain_mm_h=rain)))
            assert found[Limit.RAIN_AHEAD].value == pytest.approx(mm)

    @pytest.mark.parametrize(
        ("mph", "state"), [(2.99, LimitState.UNKNOWN), (3.0, LimitState.HOLDS)]
    )
    def test_a_duty_of_calm_begins_under_its_wind(self, mph: float, state: LimitState) -> None:
        duty = {"kind": "calm duty", "below": "3 mph"}
        series = fair_weather(start=at("12:00"), wind_mph=mph)
        assert limits(judged(tables(duty), series))[Limit.CALM_DUTY].stand is state

    def test_whoever_has_looked_has_no_inversion_deemed_or_doubted(self) -> None:
        night = fair_weather(start=at("20:30"), cloud_pct=100.0, wind_mph=8.5)
        for rule in (
            {"kind": "inversion", "effect": "duty"},
            {
                "kind": "inversion",
                "effect": "deemed hours",
                "before_sunset": "90 min",
                "after_sunrise": "90 min",
            },
        ):
            config = tables(rule)
            blind, looked = (
                limits(judged(config, night, no_inversion_found=found))[Limit.INVERSION].stand
                for found in (set(), {"C"})
            )
            assert blind < LimitState.NEAR
            assert looked is LimitState.HOLDS

    def test_of_two_rules_the_worse_decides_and_of_two_alike_the_tighter(self) -> None:
        for bounds, decides in (((25, 15), 1), ((15, 25), 0), ((30, 25), 1), ((25, 30), 0)):
            rules = [{"kind": "temperature", "high": f"{bound} degC"} for bound in bounds]
            judgement = judged(tables(*rules), fair_weather())
            found = next(c for c in judgement.checks if c.limit is Limit.TEMPERATURE)
            assert found.rule is not None
            assert np.ravel(found.rule)[0] == decides
            assert np.ravel(found.high)[0] == pytest.approx(min(bounds))

    def test_a_window_tighter_than_a_rule_decides(self) -> None:
        config = tables({"kind": "temperature", "high": "30 degC"})
        config["windows"]["contact"]["temperature"] = {"high": "25 degC"}
        found = next(
            c for c in judged(config, fair_weather()).checks if c.limit is Limit.TEMPERATURE
        )
        assert found.rule is not None
        assert np.ravel(found.rule)[0] == -1
        assert np.ravel(found.high)[0] == pytest.approx(25.0)

    def test_advice_that_is_broken_has_no_room_and_advice_that_holds_keeps_its_own(self) -> None:
        for high, room in (("15 degC", 0.0), ("30 degC", None)):
            rule = {"kind": "temperature", "high": high}
            law, advice = (
                next(
                    c
                    for c in judged(tables(rule | force), fair_weather()).checks
                    if c.limit is Limit.TEMPERATURE
                )
                for force in ({}, {"force": "advice"})
            )
            expected = np.ravel(law.headroom)[0] if room is None else room
            assert np.ravel(advice.headroom)[0] == pytest.approx(expected)
