"""An alert nobody acknowledges goes to the backup, and no further than it must."""

import pytest
from pydantic import SecretStr
from sqlalchemy import select

from tests.support.farms import build, tables
from tests.support.skies import MORNING, judged, outlook
from watcher.alerts import cycle
from watcher.alerts.acknowledgement import Links, acknowledge
from watcher.alerts.posting import Post
from watcher.alerts.wording.reasons import Speaker
from watcher.jobs import book
from watcher.judge.plan import Plan
from watcher.store import jobs
from watcher.store.tables import Message

LINKS = Links(SecretStr("a secret of the settings"), "https://farm.example/seen")
STORM = {"wind_mph": 12.0, "gust_mph": 17.0}


class Spraying:
    """A job in a storm, watched minute by minute."""

    def __init__(self, store, recipients):
        told = tables() | {"recipients": recipients}
        farm = build(told)
        self.store, self.plan, self.post = store, Plan.of(farm), Post(Speaker(farm), LINKS)
        self.now = MORNING
        with store.writing() as session:
            self.job = book.start(session, self.plan, "creek_side", "coarse", self.now).id

    def see(self, minutes, **weather):
        for _ in range(minutes):
            self.now += 60
            look = outlook(self.now, **weather)
            with self.store.writing() as session:
                cycle.run(session, self.post, *judged_parts(self.plan, look))

    def to(self, recipient):
        with self.store.reading() as session:
            found = select(Message).where(
                Message.recipient == recipient, Message.tag == "job", Message.urgent
            )
            return list(session.scalars(found.order_by(Message.id)))


def judged_parts(plan, look):
    judgement, ranking = judged(plan, look)
    return judgement, look, ranking


@pytest.fixture
def spraying(store):
    return Spraying(
        store,
        {
            "operator": {"hears": ["job"], "backup": "grower", "backup_after": "5 min"},
            "grower": {"hears": ["brief"], "form": "sms"},
        },
    )


def test_after_five_minutes_without_an_answer_the_backup_is_told(spraying):
    spraying.see(1)
    spraying.see(5, **STORM)
    assert spraying.to("grower") == []
    spraying.see(1, **STORM)
    (told,) = spraying.to("grower")
    assert told.body.startswith(
        "Stop: creek side, wind 12 mph. operator has not acknowledged this for 5 min."
    )
    assert len(told.body) <= 160
    assert told.short_id == spraying.to("operator")[0].short_id


def test_the_backup_is_told_once(spraying):
    spraying.see(1)
    spraying.see(20, **STORM)
    assert len(spraying.to("grower")) == 1


def test_an_acknowledged_alert_goes_no_further_and_is_not_repeated(spraying, store):
    spraying.see(1)
    spraying.see(2, **STORM)
    (alert,) = spraying.to("operator")
    with store.writing() as session:
        acknowledge(session, alert.short_id, "operator", spraying.now)
    spraying.see(40, **STORM)
    assert spraying.to("grower") == []
    assert len(spraying.to("operator")) == 1


def test_without_an_acknowledgement_it_is_told_again_after_half_an_hour(spraying):
    spraying.see(1)
    spraying.see(31, **STORM)
    assert [m.caused_at - MORNING for m in spraying.to("operator")] == [120, 120 + 1800]


def test_a_paused_job_needs_no_backup(spraying, store):
    spraying.see(1)
    spraying.see(2, **STORM)
    with store.writing() as session:
        jobs.pause(session, spraying.job, spraying.now)
    spraying.see(20, **STORM)
    assert spraying.to("grower") == []


def test_what_is_over_needs_no_backup(spraying):
    spraying.see(1)
    spraying.see(1, **STORM)
    spraying.see(3)
    spraying.see(1)
    with spraying.store.writing() as session:
        jobs.finish(session, spraying.job, spraying.now)
    spraying.see(10)
    assert spraying.to("grower") == []


def test_two_who_are_each_others_backup_do_not_pass_it_to_and_fro(store):
    pair = Spraying(
        store,
        {
            "operator": {"hears": ["job"], "backup": "grower", "backup_after": "5 min"},
            "grower": {"hears": ["brief"], "backup": "operator", "backup_after": "5 min"},
        },
    )
    pair.see(1)
    pair.see(25, **STORM)
    assert (len(pair.to("operator")), len(pair.to("grower"))) == (1, 1)


def test_an_alert_asks_to_be_acknowledged_by_a_link_of_its_own_recipient(spraying):
    spraying.see(1)
    spraying.see(1, **STORM)
    (alert,) = spraying.to("operator")
    link = next(w for w in alert.body.split() if w.startswith("https://farm.example/seen/"))
    seen = LINKS.read(link.rpartition("/")[2])
    assert (seen.ref, seen.recipient) == (alert.short_id, "operator")
