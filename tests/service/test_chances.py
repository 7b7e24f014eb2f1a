"""Chances from the log: what is kept, what is learned from it, what is said, and what came."""

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from tests.support.farms import LATITUDE, LONGITUDE, build, tables
from tests.support.running import SetClock, running
from watcher.farm import Farm
from watcher.forecasts.history import KNOWN, PATH_H
from watcher.jobs.steps import StepName, StepOutcome, StepRequest
from watcher.judge.chances import FarmChances
from watcher.limits.catalogue import Limit
from watcher.limits.farm_arrays import FarmArrays
from watcher.service import forecast_history
from watcher.service.chances import ChanceKeeper, came_of, said, work_out
from watcher.service.planning import planner
from watcher.service.snapshot import compose, take
from watcher.sources.base import Flag, Forecast, Observations
from watcher.store import aggregates, chances, weather
from watcher.store.database import Database
from watcher.weather.series import Site, WeatherSeries

HOUR, DAY = 3600, 86_400
NOON = 1_781_107_200  # 2026-06-10 11:00 in Chicago's zone
START = NOON - 6 * DAY
MEASURES = ["wind", "gust", "wind_from", "temperature", "humidity", "rain"]
Wind = Callable[[np.ndarray], np.ndarray]


def farm(height: str = "10 m") -> Farm:
    config: dict[str, Any] = tables()
    config["sources"] = {
        "mast": {
            "kind": "push",
            "heights": {"wind": height},
            "measures": MEASURES,
            "place": [LATITUDE, LONGITUDE],
        },
        "feed": {"kind": "met_norway"},
        "other": {"kind": "open_meteo"},
    }
    for window in config["windows"].values():
        window["wind"] = {"low": "2 mph", "high": "20 mph"}
        window["gust"] = {"high": "30 mph"}
    config["neighbours"] = {}
    return build(config)


def steady(times: np.ndarray) -> np.ndarray:
    return np.full(times.shape, 5.0)


def values(times: np.ndarray, wind: Wind) -> dict[str, np.ndarray]:
    day = 2 * np.pi * ((times + LONGITUDE * 240) % DAY) / DAY
    return {
        "wind_m_s": wind(times),
        "gust_m_s": 1.4 * wind(times),
        "wind_from_deg": np.full(times.size, 200.0),
        "temp_c": 20.0 - 5.0 * np.cos(day),
        "humidity_pct": 60.0 + 10.0 * np.cos(day),
        "rain_mm_h": np.zeros(times.size),
    }


def issue(
    log: Database,
    feed: str,
    at: int,
    wind: Wind = steady,
    *,
    hours: int = 80,
    model: str | None = None,
) -> None:
    times = at // HOUR * HOUR + HOUR * np.arange(hours)
    more = {"cloud_pct": np.full(times.size, 60.0)}
    site = Site(LATITUDE, LONGITUDE, elevation_m=350.0)
    series = WeatherSeries.of(times, site, feed, values(times, wind) | more)
    with log.writing() as session:
        weather.add_forecast(session, Forecast(series, at, at, "invented", model=model))


def measure(
    log: Database, start: int, end: int, wind: Wind = steady, *, flag: Flag = Flag.GOOD
) -> None:
    times = np.arange(start, end, 300)
    site = Site(LATITUDE, LONGITUDE, wind_height_m=10.0)
    series = WeatherSeries.of(times, site, "mast", values(times, wind))
    flags = {"wind_m_s": np.full(times.size, int(flag), np.uint16)} if flag else {}
    with log.writing() as session:
        weather.add_observations(session, Observations(series, flags), None)


@pytest.fixture
def filled(log: Database) -> Database:
    """Six days in which it blew a little harder than one feed foretold, and than the other."""
    rng = np.random.default_rng(1)
    for at in range(START, NOON + 1, 6 * HOUR):
        strength = 5.0 + rng.normal(0.0, 0.4)
        for feed in ("feed", "other"):
            issue(log, feed, at, lambda t, s=strength: np.full(t.shape, s))
    measure(log, START, NOON + 1)
    return log


def keep(log: Database, of: Farm, now: int) -> None:
    for _ in range(4):
        with log.reading() as session:
            new = forecast_history.new_pairs(session, of, now)
        with log.writing() as session:
            forecast_history.put(session, new)


def worked_out(log: Database, of: Farm, now: int) -> FarmChances:
    plan = FarmArrays.of(of)
    with log.reading() as session:
        return work_out(session, plan, compose(session, plan, now))


def test_what_was_foretold_is_kept_and_what_came_once_all_of_it_has_passed(
    filled: Database,
) -> None:
    keep(filled, farm(), NOON)
    with filled.reading() as session:
        pairs = chances.pairs(session, "feed", "mast", 0)
    assert [p.at % (3 * HOUR) for p in pairs] == [0] * len(pairs)
    assert len(pairs) > 40
    over = [p for p in pairs if p.at + PATH_H[-1] * HOUR <= NOON - HOUR]
    assert all((p.measured is not None) == (p in over) for p in pairs)
    assert over
    assert over[-1].measured is not None
    assert over[-1].measured["wind_m_s"] == pytest.approx(np.full(PATH_H.size, 5.0), abs=0.01)


def test_a_forecast_kept_once_outlives_the_raw_one(filled: Database) -> None:
    keep(filled, farm(), NOON)
    with filled.writing() as session:
        while aggregates.tend(session, NOON + 20 * DAY, keep_raw_s=DAY).more:
            pass
    with filled.reading() as session:
        assert weather.latest_forecast(session, "feed", NOON) is None
        assert len(chances.pairs(session, "feed", "mast", 0)) > 40


def test_hours_before_an_issue_are_as_they_were_foretold_before(filled: Database) -> None:
    issue(filled, "feed", NOON + 60, lambda t: np.full(t.shape, 9.0))
    entry = farm().config.sources["feed"]
    with filled.reading() as session:
        found = forecast_history.in_hand(
            session,
            ("feed", entry),
            Site(LATITUDE, LONGITUDE),
            at=NOON - HOUR,
            known_at=NOON + 120,
        )
    wind = found.hours["wind_m_s"]
    assert wind[PATH_H == 1] == 9.0
    assert np.isfinite(wind[KNOWN]).all()
    assert (wind[KNOWN] < 8.0).all()


def test_past_forecasts_here_stand_behind_a_chance(filled: Database) -> None:
    keep(filled, farm(), NOON)
    found = worked_out(filled, farm(), NOON).of("hill", "coarse")
    assert found[0].starts_at == NOON
    assert found[0].past_forecasts > 30
    assert found[0].chance is not None
    assert 0.5 < found[0].chance <= 1.0


def last_known_h(found: FarmChances) -> tuple[float, float]:
    """How far ahead the last start lies, and the last of which a chance is known. [h]"""
    every = found.of("hill", "coarse")
    known = [c.starts_at for c in every if c.chance is not None]
    return (every[-1].starts_at - NOON) / HOUR, (known[-1] - NOON) / HOUR


def far_seeing(hours: int) -> Farm:
    known = farm()
    judging = known.config.judging.model_copy(update={"horizon": float(hours * HOUR)})
    return replace(known, config=known.config.model_copy(update={"judging": judging}))


@pytest.mark.parametrize("hours", [6, 48, 240])
def test_starts_of_three_days_have_a_chance_whatever_the_horizon(
    filled: Database, hours: int
) -> None:
    """All but the last: of a job that ends beyond the scenarios nothing is known."""
    keep(filled, farm(), NOON)
    last, known = last_known_h(worked_out(filled, far_seeing(hours), NOON))
    assert last == 71.5
    assert 64 <= known < 71


def test_beyond_what_a_feed_foretells_no_chance_is_known(filled: Database) -> None:
    for feed in ("feed", "other"):
        issue(filled, feed, NOON + 60, hours=40)
    found = worked_out(filled, farm(), NOON + 120)
    last, known = last_known_h(found)
    assert last > 71
    assert 34 <= known < 40


def test_fewer_past_forecasts_stand_behind_starts_further_ahead(filled: Database) -> None:
    """Of the third day the newest forecasts have not been measured yet."""
    keep(filled, farm(), NOON)
    near, *_, far = worked_out(filled, farm(), NOON).of("hill", "coarse")
    assert 20 < far.past_forecasts < near.past_forecasts


def test_the_plan_keeps_to_the_horizon(filled: Database) -> None:
    plan = FarmArrays.of(farm())
    with filled.reading() as session:
        snapshot = take(session, plan, NOON)
        found = work_out(session, plan, snapshot.timeline)
    laid_out = planner(snapshot.judgement, snapshot.timeline.now_index, found, done=())
    assert laid_out is not None
    assert laid_out.choices.starts[-1] == NOON + 47.5 * HOUR


@pytest.mark.parametrize(
    "site",
    [
        Site(LATITUDE, LONGITUDE, wind_height_m=4.0),
        Site(LATITUDE + 0.01, LONGITUDE, wind_height_m=10.0),
    ],
    ids=["raised", "moved"],
)
def test_a_mast_that_was_raised_or_moved_starts_anew(filled: Database, site: Site) -> None:
    keep(filled, farm(), NOON)
    assert worked_out(filled, farm(), NOON).of("hill", "coarse")[0].past_forecasts > 0
    one = {"wind_m_s": np.array([4.0])}
    moved = WeatherSeries.of(np.array([NOON]), site, "mast", one)
    with filled.writing() as session:
        weather.add_observations(session, Observations(moved), NOON)
    found = worked_out(filled, farm(), NOON).of("hill", "coarse")
    assert found[0].past_forecasts == 0


def test_a_feed_of_another_model_starts_anew_and_the_others_keep_theirs(filled: Database) -> None:
    keep(filled, farm(), NOON)
    issue(filled, "feed", NOON + 60, model="another")
    with filled.reading() as session:
        of = ("mast",), ("feed", "other"), NOON + 120
        foretold = forecast_history.history(session, farm(), *of).foretold["wind_m_s"]
    known = np.isfinite(foretold[:, :-1]).any(axis=2).sum(axis=1)
    assert known[0] == 0
    assert known[1] > 20
    assert np.isfinite(foretold[:, -1]).any(axis=1).all()
    keep(filled, farm(), NOON + 6 * HOUR)
    with filled.reading() as session:
        models = [p.model for p in chances.pairs(session, "feed", "mast", NOON)]
    assert set(models) == {"another"}


def test_a_moment_looked_back_at_knows_nothing_of_what_came_later(filled: Database) -> None:
    later = NOON + 4 * DAY
    measure(filled, NOON + 300, later, lambda t: np.full(t.shape, 9.0))
    keep(filled, farm(), later)
    with filled.reading() as session:
        found = forecast_history.history(session, farm(), ("mast",), ("feed",), NOON)
    came = found.measured["wind_m_s"]
    assert np.isnan(came[found.times > found.at[-1]]).all()
    assert np.isfinite(came[found.times <= found.at[-1]]).any()


def test_what_quality_control_distrusts_is_not_learned_from(log: Database) -> None:
    for at in range(START, NOON + 1, 6 * HOUR):
        issue(log, "feed", at)
    measure(log, START, NOON - 2 * DAY, lambda t: np.full(t.shape, 20.0), flag=Flag.STUCK)
    measure(log, NOON - 2 * DAY, NOON + 1)
    keep(log, farm(), NOON)
    with log.reading() as session:
        found = forecast_history.history(session, farm(), ("mast",), ("feed",), NOON)
    came = found.measured["wind_m_s"]
    assert np.isfinite(came).any()
    assert np.nanmax(came) < 6.0


def test_without_a_forecast_nothing_is_said(log: Database) -> None:
    measure(log, START, NOON + 1)
    assert worked_out(log, farm(), NOON).of("hill", "coarse") == ()


def test_a_wind_foretold_over_the_limit_leaves_little_chance(filled: Database) -> None:
    for feed in ("feed", "other"):
        issue(filled, feed, NOON + 60, lambda t: np.where(t < NOON + 6 * HOUR, 5.0, 20.0))
    found = worked_out(filled, farm(), NOON + 120).of("hill", "coarse")
    early = found[0]
    late = next(c for c in found if c.starts_at >= NOON + 9 * HOUR)
    assert early.chance is not None
    assert late.chance is not None
    assert early.chance > 0.6
    assert late.chance < 0.1
    assert late.ended_by in (Limit.WIND, Limit.GUST)


def test_now_unsuitable_has_no_chance_however_calm_it_will_be(filled: Database) -> None:
    measure(filled, NOON + 300, NOON + 901, lambda t: np.full(t.shape, 20.0))
    found = worked_out(filled, farm(), NOON + 900).of("hill", "coarse")
    assert found[0].chance == 0.0


def test_now_unknown_has_an_unknown_chance(filled: Database) -> None:
    later = NOON + 2 * HOUR  # the mast has been silent since noon
    assert worked_out(filled, farm(), later).of("hill", "coarse")[0].chance is None


def test_what_was_said_is_closed_by_ten_minutes_over_the_limit(filled: Database) -> None:
    plan = FarmArrays.of(farm())
    with filled.reading() as session:
        timeline = compose(session, plan, NOON)
        given = said(plan, timeline, work_out(session, plan, timeline))
    with filled.writing() as session:
        chances.put_said(session, given)
    first = [one for one in given if one.starts_at == NOON]
    assert {one.field for one in first} == {"creek_side", "hill"}
    assert all(one.foretold_open for one in first)

    end = first[0].ends_at
    # One stretch of ten minutes in the middle of the first jobs; every hour's mean holds.
    squall = NOON + (end - NOON) // 2 // 600 * 600
    measure(
        filled,
        NOON + 300,
        NOON + 2 * DAY,
        lambda t: np.where((t >= squall) & (t < squall + 600), 20.0, 5.0),
    )
    later = NOON + 2 * DAY
    with filled.reading() as session:
        found = came_of(session, plan, later)
    with filled.writing() as session:
        chances.close_said(session, found)
    by_case = {(w.field, w.starts_at): (outcome, by) for w, outcome, by in found}
    assert by_case["hill", NOON] == ("broken", "wind")
    with filled.reading() as session:
        known = chances.known_said(session, 0)
    assert {one.outcome for one in known if one.starts_at > NOON + 4 * HOUR} <= {"held", "broken"}
    assert "held" in {one.outcome for one in known}
    with filled.reading() as session:
        assert came_of(session, plan, later) == []


def test_the_keeper_works_out_once_an_hour_and_once_an_issue(filled: Database) -> None:
    keeper = ChanceKeeper(FarmArrays.of(farm()), filled)
    assert keeper.due(NOON)
    with filled.reading() as session:
        timeline = compose(session, keeper.plan, NOON + 180)
    keeper.keep(keeper.look(timeline))
    assert keeper.latest is not None
    assert not keeper.due(NOON + 1800)
    assert keeper.due(NOON + HOUR + 180)
    keeper.ask()
    assert keeper.due(NOON + 1800)
    with filled.reading() as session:
        assert chances.pairs(session, "feed", "mast", 0)


async def test_the_running_watch_works_them_out_beside_its_judgements(filled: Database) -> None:
    async with running(farm(), filled, SetClock(NOON + 180), chances=True) as service:
        await service.watch._work_out_chances()
        keeper = service.watch.chances
        assert keeper is not None
        assert keeper.latest is not None
        assert keeper.latest.of("hill", "coarse")[0].chance is not None
        before = keeper.latest
        await service.watch._work_out_chances()
        assert keeper.latest is before


async def test_the_running_watch_works_them_out_anew_with_a_rig_that_was_changed(
    filled: Database,
) -> None:
    clock = SetClock(NOON + 180)
    async with running(farm(), filled, clock, chances=True) as service:
        watch = service.watch
        await watch._work_out_chances()
        await watch.rejudge()
        start = StepRequest(StepName.START, "", field="hill", setup="coarse")
        asked = await watch.take_step(start)
        if asked.outcome is StepOutcome.ASKS:
            tokens = tuple(one.token for one in asked.obstacles)
            asked = await watch.take_step(replace(start, confirm=tokens))
        assert asked.job is not None, asked.text
        await watch.take_step(StepRequest(StepName.CHANGE, "", job=1, changed={"speed": "6 mph"}))
        await watch.rejudge()
        assert watch.snapshot is not None
        [rig] = watch.snapshot.rigs
        assert watch.snapshot.ranking.every["hill"].chance is None
        await watch._work_out_chances()
        await watch.rejudge()
        assert watch.chances is not None
        assert watch.chances.latest is not None
        assert watch.chances.latest.rigs == (rig,)
        shown = watch.snapshot.ranking.every["hill"].chance
        [[_, slower]] = watch.chances.latest.of_rigs
        assert shown is not None
        assert shown.ends_at - shown.starts_at == int(
            slower.duration_s[0, watch.transactions.plan.setups.index("coarse")]
        )
