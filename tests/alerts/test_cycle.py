"""From weather to the outbox: what a day's cycles tell, and that they tell nothing else."""

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from sqlalchemy import select

from tests.support import job_steps
from tests.support.farms import build, tables
from tests.support.minutes import Minutes
from tests.support.skies import judged, timeline
from watcher.alerts import cycle
from watcher.alerts.rules import field, job
from watcher.farm import Farm
from watcher.store import jobs
from watcher.store.database import Database
from watcher.store.tables import Condition, Outgoing


@pytest.fixture
def watch(store: Database, farm: Farm) -> Minutes:
    return Minutes(store, farm)


@pytest.fixture
def in_hand(store: Database) -> Callable[..., None]:
    def do(step: Callable[..., Any], *args: Any) -> None:
        with store.writing() as session:
            step(session, *args)

    return do


def test_a_quiet_job_is_told_nothing(watch):
    watch.start()
    assert watch.see(minutes=30) == []
    assert watch.raised() == set()


def test_a_gust_front_is_one_alert_at_once_and_one_all_clear_when_it_has_passed_for_long_enough(
    watch,
):
    watch.start()
    assert watch.see() == []
    assert watch.see(wind_mph=12.0, gust_mph=17.0) == ["Stop creek side: too windy, 12 mph"]
    assert "Also gust 17 mph, at most 15 mph (own): 2 mph over." in watch.newest()
    assert watch.see(minutes=14, wind_mph=12.0, gust_mph=17.0) == []
    assert watch.see(minutes=10) == []
    assert watch.see() == ["All clear creek side: inside for 10 min"]
    assert watch.raised() == {"stopped lately"}
    assert watch.see(minutes=20) == []
    assert watch.raised() == set()


def test_wind_near_its_bound_wakes_nobody_until_it_crosses_it(watch):
    watch.start()
    assert watch.see(minutes=30, wind_mph=9.5) == []
    assert watch.see(wind_mph=10.5) == ["Stop creek side: too windy, 10.5 mph"]


def test_wind_dithering_round_its_bound_every_minute_is_one_alert_and_no_all_clear(watch):
    watch.start()
    watch.see()
    heard = []
    for _ in range(60):
        heard += watch.see(wind_mph=10.2) + watch.see(wind_mph=9.8)
    stops = [t for t in heard if t.startswith("Stop")]
    assert not any(t.startswith(("All clear", "Get ready")) for t in heard)
    assert len(stops) <= 1 + 120 // 30


def test_wind_just_inside_its_bound_is_not_yet_back(watch):
    watch.start()
    watch.see()
    watch.see(wind_mph=11.0)
    assert watch.see(minutes=20, wind_mph=9.7) == []
    assert watch.see(minutes=11, wind_mph=7.0) == ["All clear creek side: inside for 10 min"]


def test_when_the_wind_falls_silent_the_watch_says_that_it_is_blind(watch):
    watch.start()
    watch.see()
    (title,) = watch.see(wind_mph=np.nan, gust_mph=np.nan, wind_age_s=960.0)
    assert title.startswith("Check creek side: cannot see ")
    assert "Wind unknown: no value to rely on; see to mast." in watch.newest()
    assert (
        "The watch cannot see all of it. Take a reading at boom height, or stop." in watch.newest()
    )
    assert "Nobody has reported the wind for 16 min." in watch.newest()
    assert watch.see(minutes=2) == ["All clear creek side: measured again"]
    assert "Measured again." in watch.newest()


def test_blindness_is_no_all_clear_for_what_was_broken(watch):
    watch.start()
    watch.see()
    watch.see(wind_mph=12.0)
    # What is to be done has not changed, but what called for it is hidden: that is said, once.
    heard = watch.see(minutes=25, wind_mph=np.nan, gust_mph=np.nan)
    assert heard == ["Stop creek side: cannot see wind"]
    assert {"stop", "limit broken: wind"} <= watch.raised()


def test_what_only_cannot_be_seen_is_told_once_the_stop_is_over(watch):
    watch.start()
    watch.see(wind_mph=12.0)
    heard = watch.see(minutes=11, humidity_pct=np.nan)
    assert heard == ["Check creek side: cannot see Delta T"]


def test_a_stop_that_is_over_while_something_cannot_be_seen_becomes_a_check_again(watch):
    watch.start()
    watch.see()
    assert watch.see(humidity_pct=np.nan) == ["Check creek side: cannot see Delta T"]
    assert watch.see(wind_mph=12.0, humidity_pct=np.nan) == ["Stop creek side: too windy, 12 mph"]
    assert watch.see(minutes=11, humidity_pct=np.nan) == ["Check creek side: cannot see Delta T"]


def test_wind_turning_towards_the_orchard_stops_the_job(watch):
    watch.start()
    watch.see(wind_mph=7.0)
    assert watch.see(wind_mph=7.0, wind_from_deg=180.0) == ["Stop creek side: blowing to orchard"]
    assert "Orchard downwind to the N, 33 ft" in watch.newest()


def test_rain_counts_from_the_end_of_what_is_left_of_the_job(watch, store):
    watch.start()
    with store.reading() as session:
        planned = jobs.open_jobs(session)[0].planned_s
    # Rain at 5 h: a whole job of 43 min leaves 4.3 h dry, of 4 h needed.
    rain = np.where(np.arange(72) >= 5, 1.0, 0.0)
    assert 2400 < planned < 2700
    assert watch.see(rain_mm_h=rain) == []
    sooner = np.where(np.arange(72) >= 4, 1.0, 0.0)
    assert watch.see(rain_mm_h=sooner) == ["Stop creek side: rain in 3.3 h"]


def test_a_dry_hot_hour_stops_the_job(watch):
    watch.start()
    watch.see()
    (title,) = watch.see(temp_c=34.0, humidity_pct=20.0)
    assert title.startswith("Stop creek side: too dry, Delta T")


def test_a_job_begun_outside_its_window_is_told_at_once(watch):
    watch.start()
    assert watch.see(wind_mph=12.0) == ["Stop creek side: too windy, 12 mph"]


def test_while_paused_nothing_new_is_told_and_going_on_outside_the_window_is(watch, in_hand):
    job = watch.start()
    watch.see()
    in_hand(job_steps.pause, job, watch.now)
    assert watch.see(minutes=5, wind_mph=12.0) == []
    in_hand(job_steps.resume, job, watch.now)
    assert watch.see(wind_mph=12.0) == ["Stop creek side: too windy, 12 mph"]


def test_going_on_although_it_was_told_to_stop_is_told_again(watch, in_hand):
    job = watch.start()
    watch.see()
    watch.see(wind_mph=12.0)
    in_hand(job_steps.pause, job, watch.now)
    assert watch.see(minutes=5, wind_mph=12.0) == []
    in_hand(job_steps.resume, job, watch.now + 1)
    assert watch.see(wind_mph=12.0) == ["Stop creek side: too windy, 12 mph"]


def test_a_clock_set_back_an_hour_neither_repeats_nor_forgets(watch):
    watch.start()
    watch.see()
    watch.see(wind_mph=12.0)
    watch.now -= 3600
    assert watch.see(minutes=5, wind_mph=12.0) == []
    assert watch.see(minutes=11) == ["All clear creek side: inside for 10 min"]
    assert watch.see(wind_mph=12.0) == ["Stop creek side: too windy, 12 mph"]


def test_a_clock_set_forward_a_day_is_no_all_clear_by_itself(watch):
    watch.start()
    watch.see()
    watch.see(wind_mph=12.0)
    watch.now += 86400
    heard = watch.see(minutes=2, wind_mph=12.0)
    assert not any(t.startswith("All clear") for t in heard)
    assert "limit broken: wind" in watch.raised()


def test_a_finished_job_is_not_watched_any_more(watch, in_hand):
    job = watch.start()
    watch.see()
    watch.see(wind_mph=12.0)
    in_hand(job_steps.finish, job, watch.now)
    assert watch.see(minutes=30) == []
    assert watch.raised() == set()


def test_two_jobs_are_watched_each_for_itself(watch):
    watch.start("creek_side", "coarse")
    watch.start("hill", "old_coarse")
    watch.see(wind_mph=7.0)
    assert watch.see(wind_mph=7.0, wind_from_deg=180.0) == ["Stop creek side: blowing to orchard"]


def test_a_job_whose_field_left_the_farm_file_keeps_its_conditions_and_does_not_blind_the_others(
    watch, store
):
    watch.start("creek_side", "coarse")
    watch.start("hill", "old_coarse")
    watch.see(wind_mph=12.0)
    config = tables()
    del config["fields"]["creek_side"], config["neighbours"]["orchard"]
    other = Minutes(store, build(config))
    other.now = watch.now
    config = other.see(minutes=12)
    assert "All clear hill: inside for 10 min" in config
    assert "Not watched: creek side" in config
    with store.reading() as session:
        raised = session.scalars(
            select(Condition.kind).where(Condition.state == "raised", Condition.subject == "job:1")
        )
        assert set(raised) >= {"limit broken: wind", "job not watched"}


def test_the_operator_hears_the_job_by_sms_and_not_the_brief(watch, store):
    watch.start()
    watch.see(wind_mph=12.0)
    with store.reading() as session:
        (sms,) = session.scalars(select(Outgoing).where(Outgoing.recipient == "operator"))
    assert sms.title == ""
    assert sms.body.startswith("Stop creek side: too windy, 12 mph. Stop spraying")
    assert len(sms.body) <= 160
    assert sms.urgent


def test_a_fault_in_one_part_is_told_and_does_not_silence_the_others(watch, monkeypatch):
    def broken(*_: Any) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr(field, "evaluate", broken)
    monkeypatch.setattr(cycle.log, "exception", lambda *_, **__: None)
    watch.start()
    watch.see()
    assert watch.see(wind_mph=12.0) == ["Stop creek side: too windy, 12 mph"]
    watch.topic = "sources"
    assert [m.title for m in watch.messages()] == ["Watch has a fault"]
    assert "no alerts of field closing, field open until" in watch.newest()


def test_a_fault_in_wording_the_second_job_does_not_repeat_the_first_every_minute(
    watch, monkeypatch
):
    say = job.stop

    def broken(speaker: Any, place: Any, *args: Any, **kwargs: Any) -> Any:
        if place.field == "hill":
            raise ZeroDivisionError
        return say(speaker, place, *args, **kwargs)

    monkeypatch.setattr(job, "stop", broken)
    monkeypatch.setattr(cycle.log, "exception", lambda *_, **__: None)
    watch.start("creek_side", "coarse")
    watch.start("hill", "old_coarse")
    assert watch.see(minutes=5, wind_mph=12.0) == ["Watch has a fault"]
    monkeypatch.undo()
    assert len(watch.see(wind_mph=12.0)) == 2


def test_a_fault_in_what_guards_the_job_is_urgent(watch, monkeypatch):
    def broken(*_: Any) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr(job, "evaluate", broken)
    monkeypatch.setattr(cycle.log, "exception", lambda *_, **__: None)
    watch.start()
    assert watch.see(minutes=3) == ["Watch has a fault"]
    assert watch.messages()[0].urgent


def test_state_and_message_are_kept_together_or_not_at_all(watch, store):
    watch.start()
    watch.see()
    look = timeline(watch.now + 60, wind_mph=12.0)
    judgement, ranking = judged(watch.plan, look)

    class PowerCut(Exception):  # noqa: N818
        pass

    def cut_off() -> None:
        with store.writing() as session:
            assert cycle.run(session, watch.post, judgement, look, ranking).written == 2
            raise PowerCut

    with pytest.raises(PowerCut):
        cut_off()
    assert watch.raised() == set()
    assert watch.see(wind_mph=12.0) == ["Stop creek side: too windy, 12 mph"]


def test_the_same_moment_seen_twice_is_told_once(watch, store):
    watch.start()
    look = timeline(watch.now + 60, wind_mph=12.0)
    judgement, ranking = judged(watch.plan, look)
    with store.writing() as session:
        assert cycle.run(session, watch.post, judgement, look, ranking).written == 2
    with store.writing() as session:
        assert cycle.run(session, watch.post, judgement, look, ranking).written == 0
