"""What the last hour of a station says of a job, and what its log teaches of it."""

from dataclasses import replace

import numpy as np
import pytest

from tests.support import job_steps
from tests.support.skies import MORNING, MPH, judged, timeline
from watcher.jobs import commands
from watcher.jobs.wind_nowcast import learned_scale, recent_wind, wind_nowcast
from watcher.sources.base import Observations
from watcher.store import jobs, weather
from watcher.weather.series import Site, WeatherSeries

# At boom height, so that bounds at the sensor are those of the field.
MAST = Site(41.0, -96.0, wind_height_m=0.12 + 0.508)


def _readings(minutes, wind_mph, step_s=60):
    times = MORNING - step_s * np.arange(minutes * 60 // step_s)[::-1]
    wind = np.broadcast_to(np.asarray(wind_mph) * MPH, times.shape)
    return WeatherSeries.of(times, MAST, "mast", {"wind_m_s": wind, "gust_m_s": 1.2 * wind})


@pytest.fixture
def job(store, plan):
    with store.writing() as session:
        return job_steps.start(session, plan, "creek_side", "coarse", MORNING)


def _keep(store, series):
    with store.writing() as session:
        weather.add_observations(session, Observations(series), MORNING)


def _near(plan, job, seen, **scale):
    judgement, _ = judged(plan, timeline())
    return wind_nowcast(judgement, 0, job, seen, **scale)


def test_the_bound_is_brought_up_to_the_sensor(plan, job):
    at_boom = _readings(70, 9.8)
    aloft = replace(at_boom, site=replace(MAST, wind_height_m=10.0))
    near, far = (_near(plan, job, seen).mean_ahead.chance[-1] for seen in (at_boom, aloft))
    assert near == pytest.approx(0.39, abs=0.02)
    assert far < 0.01


def test_a_station_that_strays_more_is_less_sure(plan, job):
    usual, more = (_near(plan, job, _readings(70, 9.0), spread_scale=s) for s in (1.0, 1.4))
    assert more.mean_ahead.chance[-1] > usual.mean_ahead.chance[-1]


@pytest.mark.parametrize(("minutes", "step_s"), [(3, 60), (200, 1200)])
def test_too_few_and_too_rare_readings_foretell_nothing(plan, job, minutes, step_s):
    assert _near(plan, job, _readings(minutes, 9.8, step_s)) is None


def test_without_a_log_nothing_is_learned(store):
    with store.reading() as session:
        assert learned_scale(session, _readings(60, 9.0)) == 1.0


def test_a_log_of_steady_winds_makes_surer(store):
    _keep(store, _readings(3 * 1440, 9.0))
    with store.reading() as session:
        assert 0.7 <= learned_scale(session, _readings(60, 9.0)) < 1.0


def test_the_last_hour_is_that_of_the_station_that_speaks(store):
    _keep(store, _readings(200, 9.0))
    with store.reading() as session:
        recent = recent_wind(session, timeline())
        nobody = recent_wind(session, timeline(wind_mph=np.nan))
    assert len(recent) == 61
    assert nobody is None


def test_how_far_the_wind_strays_is_kept_of_each_station(store, job):
    with store.writing() as session:
        assert commands.wind_strays([], "mast") is None
        commands.note_wind_strays(session, job, "mast", 1.2, MORNING)
        commands.note_wind_strays(session, job, "barn", 0.9, MORNING)
    with store.reading() as session:
        events = jobs.events(session, job.id)
    assert commands.wind_strays(events, "mast") == 1.2
    assert commands.wind_strays(events, "shed") is None
