"""Hours added up: the same status, setup and binding limit as one hour asked about by itself."""

import numpy as np
import pytest

from tests.support.large_farm import changeable_weather, large_farm
from tests.support.worked_farm import build_farm, fair_weather, farm_tables
from watcher.judge.judgement import Judgement, judge
from watcher.judge.reasons import reasons
from watcher.judge.season import Tally, tally
from watcher.judge.setup_choice import choose_setup
from watcher.limits.catalogue import Limit
from watcher.limits.farm_arrays import FarmArrays
from watcher.limits.status import LimitState, Status
from watcher.weather.series import WeatherSeries

HOURS = 24 * 8


def gappy(hours: int = HOURS) -> WeatherSeries:
    """Changeable weather with less wind and rain, and with a hole here and there."""
    rng = np.random.default_rng(4)
    series = changeable_weather(hours)
    series = series.having(
        wind_m_s=series.wind_m_s - 1.0,
        gust_m_s=series.wind_m_s + rng.random(hours),
        rain_mm_h=np.where(rng.random(hours) < 0.01, 1.0, 0.0),
    )
    holes = {
        name: np.where(rng.random(hours) < 0.02, np.nan, getattr(series, name))
        for name in ("wind_m_s", "gust_m_s", "temp_c", "rain_mm_h", "wind_from_deg")
    }
    return series.having(**holes)


@pytest.fixture(scope="module")
def judged() -> Judgement:
    return judge(FarmArrays.of(large_farm(9, 1)), gappy())


def everything(judgement: Judgement) -> Tally:
    return tally(judgement, np.ones(len(judgement.series), dtype=bool))


def one_by_one(judgement: Judgement) -> Tally:
    """The same by the functions that explain a single case, in plain loops."""
    plan, count = judgement.plan, len(judgement.plan.fields)
    hours = np.zeros((count, 4))
    bound, alone = ({limit: np.zeros(count) for limit in Limit} for _ in range(2))
    cut_short = np.zeros(count)
    somewhere = 0
    for time in range(len(judgement.series)):
        opened = False
        for field in range(count):
            setup = choose_setup(judgement, field, time)
            assert setup is not None
            status = int(judgement.status[field, setup, time])
            hours[field, status] += 1
            opened |= status >= Status.MARGINAL
            if status >= Status.MARGINAL:
                continue
            found = reasons(judgement, field, setup, time)
            failing = [r for r in found if r.stand <= LimitState.UNKNOWN]
            if failing:
                bound[found[0].limit][field] += 1
                alone[found[0].limit][field] += len(failing) == 1
            else:
                cut_short[field] += 1
        somewhere += opened
    return Tally(plan.fields, hours, bound, alone, cut_short, float(somewhere))


def assert_same(found: Tally, wanted: Tally) -> None:
    np.testing.assert_array_equal(found.hours, wanted.hours)
    np.testing.assert_array_equal(found.cut_short, wanted.cut_short)
    assert found.open_somewhere == wanted.open_somewhere
    for limit in Limit:
        zeros = np.zeros(len(found.fields))
        for kind in ("bound", "alone"):
            np.testing.assert_array_equal(
                getattr(found, kind).get(limit, zeros), getattr(wanted, kind).get(limit, zeros)
            )


@pytest.mark.long
def test_the_sums_are_those_of_every_hour_explained_by_itself(judged: Judgement) -> None:
    wanted = one_by_one(judged)
    assert (wanted.hours.sum(axis=0) > 10).all()  # every status came up
    assert len([limit for limit, hours in wanted.bound.items() if hours.any()]) >= 8
    assert_same(everything(judged), wanted)


def test_every_hour_is_counted_once(judged: Judgement) -> None:
    found = everything(judged)
    assert (found.hours.sum(axis=1) == HOURS).all()
    closed = found.hours[:, : Status.MARGINAL].sum(axis=1)
    np.testing.assert_array_equal(sum(found.bound.values()) + found.cut_short, closed)


def test_parts_add_up_to_the_whole(judged: Judgement) -> None:
    first = np.arange(HOURS) < 100
    assert_same(tally(judged, first) + tally(judged, ~first), everything(judged))


def test_no_hours_are_nothing_and_change_no_sum(judged: Judgement) -> None:
    assert_same(Tally.empty(judged.plan) + everything(judged), everything(judged))


def test_a_windy_day_is_taken_away_by_the_wind() -> None:
    """Twelve miles an hour all day, the window's bound is ten; nothing else is wrong."""
    tables = farm_tables()
    tables["neighbours"] = {}
    plan = FarmArrays.of(build_farm(tables))
    judgement = judge(plan, fair_weather(wind_mph=12.0, gust_mph=13.0))
    day = np.arange(72) < 4  # from eleven to three o'clock: no inversion
    found = tally(judgement, day)
    assert (found.hours[:, Status.UNSUITABLE] == 4).all()
    assert list(found.bound) == [Limit.WIND]
    assert (found.alone[Limit.WIND] == 4).all()
    assert (found.open_hours == 0).all()


def test_an_hour_that_is_not_known_to_the_jobs_end_is_cut_short() -> None:
    tables = farm_tables()
    tables["neighbours"] = {}
    tables["sprayers"]["boom"]["speed"] = "3 mph"
    plan = FarmArrays.of(build_farm(tables))
    assert (plan.duration_s > 3600).all()
    wind = np.full(72, 5.0)
    wind[2] = np.nan
    judgement = judge(plan, fair_weather(wind_mph=wind, gust_mph=np.full(72, 7.0)))
    found = tally(judgement, np.arange(72) == 1)
    assert (found.hours[:, Status.UNKNOWN] == 1).all()
    assert (found.cut_short == 1).all()
    assert found.bound == {}
