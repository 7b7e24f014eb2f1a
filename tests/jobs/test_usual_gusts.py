"""What gusts to expect in the wind of now, before a job starts."""

import numpy as np
import pytest

from tests.support.skies import MORNING, MPH, judged, timeline
from watcher.jobs.usual_gusts import usual_gusts
from watcher.sources.base import Observations
from watcher.store import weather
from watcher.weather.series import Site, WeatherSeries

MAST = Site(41.0, -96.0, wind_height_m=0.12 + 0.508)


def _usual(store, plan, **quantities):
    look = timeline(**quantities)
    judgement, _ = judged(plan, look)
    field, setup = plan.fields.index("creek_side"), plan.setups.index("coarse")
    with store.reading() as session:
        return usual_gusts(session, judgement, look, field, setup)


def _two_days(store, factor):
    times = MORNING - 600 * np.arange(300)[::-1] - 600
    wind = np.full(times.size, 4.0)
    series = WeatherSeries.of(times, MAST, "mast", {"wind_m_s": wind, "gust_m_s": factor * wind})
    with store.writing() as session:
        weather.add_observations(session, Observations(series), MORNING)


def test_it_is_the_wind_of_now_times_what_is_usual_there(store, plan):
    _two_days(store, 1.6)
    usual = _usual(store, plan, wind_mph=8.0)
    assert usual.factor == pytest.approx(1.6)
    assert usual.gust_m_s == pytest.approx(12.8 * MPH, rel=1e-3)
    assert usual.bound_m_s == pytest.approx(15 * MPH, rel=1e-3)


def test_without_a_log_nothing_is_said(store, plan):
    assert _usual(store, plan) is None


def test_without_a_station_nothing_is_said(store, plan):
    _two_days(store, 1.6)
    assert _usual(store, plan, wind_mph=np.nan) is None
