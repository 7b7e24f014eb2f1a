"""A log in memory that stands in: filled from the log, kept in a file's bytes, given back."""

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from sqlalchemy import select

from tests.support import job_steps
from tests.support.new_log import new_log
from watcher.sources.base import Forecast, Observations
from watcher.store import aggregates, handover, jobs, outbox, runs, weather
from watcher.store.database import Database
from watcher.store.standby import StandbyLog
from watcher.store.tables import Outgoing
from watcher.weather.bins import HOUR_S
from watcher.weather.series import Site, WeatherSeries

NOW = 1_781_107_200 + 1234
WANTED = handover.Wanted(["mast"], ["feed"], readings_s=2 * HOUR_S, jobs_s=86_400)
SITE = Site(41.0, -96.0, wind_height_m=2.0)


@pytest.fixture
def main(tmp_path: Path) -> Iterator[Database]:
    log = new_log(tmp_path / "watch.db")
    yield log
    log.close()


@pytest.fixture
def own() -> Iterator[StandbyLog]:
    log = StandbyLog()
    yield log
    log.close()


def readings(first: int, count: int, wind: float = 2.0) -> Observations:
    times = first + 60 * np.arange(count)
    winds = wind + 0.001 * np.arange(count)
    return Observations(WeatherSeries.of(times, SITE, "mast", {"wind_m_s": winds}))


def message(key: str, at: int) -> outbox.NewMessage:
    return outbox.NewMessage(
        key=key,
        short_id=outbox.short_id(key),
        about="job:1",
        kind="limit broken",
        recipient="grower",
        title=key,
        body="",
        created_at=at,
        caused_at=at,
        due_at=at,
        urgent=True,
    )


def filled(main: Database, own: StandbyLog, now: int = NOW) -> None:
    with main.reading() as session:
        copy = handover.copied(session, WANTED, now)
    with own.writing() as session:
        handover.fill(session, copy)


def give_back(main: Database, own: StandbyLog) -> int | None:
    with own.reading() as session:
        given = handover.given_back(session, NOW)
    with main.writing() as session:
        return handover.take_back(session, given)


@pytest.mark.parametrize("tended", [False, True])
def test_judging_finds_the_same_weather_in_both(main, own, tended):
    with main.writing() as session:
        weather.add_observations(session, readings(NOW - 40 * HOUR_S, 40 * 60), NOW)
        if tended:
            aggregates.tend(session, NOW, keep_raw_s=np.inf)
        series = WeatherSeries.of([NOW, NOW + HOUR_S], SITE, "feed", {"wind_m_s": [3.0, 4.0]})
        weather.add_forecast(session, Forecast(series, NOW - 60, NOW - 60, "of nobody"))
    for _ in range(2):  # again and again
        filled(main, own)
    with main.reading() as there, own.reading() as here:
        found = [
            (
                aggregates.bins(s, "mast", HOUR_S, NOW - 37 * HOUR_S, NOW),
                weather.observations(s, "mast", NOW - 2 * HOUR_S, NOW),
                weather.latest_forecast(s, "feed", NOW),
            )
            for s in (there, here)
        ]
    for (hours, recent, forecast), (own_hours, own_recent, own_forecast) in [found]:
        np.testing.assert_array_equal(hours.series.times, own_hours.series.times)
        np.testing.assert_allclose(hours.series.wind_m_s, own_hours.series.wind_m_s)
        np.testing.assert_array_equal(recent.series.wind_m_s, own_recent.series.wind_m_s)
        np.testing.assert_array_equal(forecast.series.wind_m_s, own_forecast.series.wind_m_s)


def test_an_hour_that_goes_on_in_memory_is_made_of_all_its_readings(main, own):
    with main.writing() as session:
        weather.add_observations(session, readings(NOW - 1200, 20, wind=2.0), NOW)
    filled(main, own)
    with own.writing() as session:
        weather.add_observations(session, readings(NOW, 20, wind=4.0), NOW)
        hour = aggregates.bins(session, "mast", HOUR_S, NOW - HOUR_S, NOW + HOUR_S)
    assert hour.readings.sum() == 40


def test_what_comes_in_and_is_told_meanwhile_is_given_back_once(main, own):
    with main.writing() as session:
        weather.add_observations(session, readings(NOW - 600, 10), NOW)
        outbox.put(session, message("waits", NOW - 10))
        run = runs.begin(session, NOW - 600)
    filled(main, own)
    with own.writing() as session:
        weather.add_observations(session, readings(NOW + 60, 2, wind=5.0), NOW + 180)
        outbox.put(session, message("new", NOW + 60))
        for claimed in outbox.claim(session, NOW + 60, 30, 9, recipient="grower"):
            outbox.mark_sent(session, claimed.id, NOW + 61)
        runs.seen(session, run, NOW + 60)
    for _ in range(2):
        assert give_back(main, own) == run
    with main.reading() as session:
        kept = weather.observations(session, "mast", NOW + 60, NOW + 600)
        messages = session.scalars(select(Outgoing).order_by(Outgoing.id)).all()
        assert kept.series.wind_m_s.tolist() == [5.0, 5.001]
        assert [(m.key, m.state, m.sent_at) for m in messages] == [
            ("waits", "sent", NOW + 61),
            ("new", "sent", NOW + 61),
        ]
        assert runs.last(session).seen_at == NOW + 60


def test_what_was_sent_is_not_sent_again_for_what_was_known_in_memory(main, own):
    with main.writing() as session:
        outbox.put(session, message("told", NOW - 10))
    filled(main, own)
    with main.writing() as session:
        (claimed,) = outbox.claim(session, NOW, 30, 1)
        outbox.mark_sent(session, claimed.id, NOW)
    give_back(main, own)
    with main.reading() as session:
        assert session.scalars(select(Outgoing)).one().state == "sent"


def test_a_run_that_began_in_memory_is_noted_under_a_number_of_the_log(main, own):
    with main.writing() as session:
        before = runs.begin(session, NOW - 600)
    filled(main, own)
    with own.writing() as session:
        runs.begin(session, NOW)
    new = give_back(main, own)
    assert new not in {None, before}
    assert give_back(main, own) == new


def test_what_is_packed_is_held_by_another(main, own):
    with main.writing() as session:
        job_steps.started(
            session, field="hill", setup="coarse", sprayer="boom", at=NOW, planned_s=600.0
        )
    filled(main, own)
    other = StandbyLog()
    assert other.unpack(own.packed())
    with other.reading() as session:
        assert [job.field for job in jobs.open_jobs(session)] == ["hill"]
    other.close()


@pytest.mark.parametrize("spoil", [lambda b: b"", lambda b: b[1:], lambda b: b[:-9]])
def test_what_cannot_be_unpacked_changes_nothing(own, spoil):
    with own.writing() as session:
        runs.begin(session, NOW)
    assert not own.unpack(spoil(own.packed()))
    with own.reading() as session:
        assert runs.last(session).started_at == NOW
