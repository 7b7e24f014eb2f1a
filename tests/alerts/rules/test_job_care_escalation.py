"""An alert nobody acknowledges goes to the backup, and no further than it must."""

import numpy as np
import pytest
from pydantic import SecretStr

from tests.support import job_steps
from tests.support.farms import build, tables
from tests.support.minutes import Minutes
from tests.support.skies import MORNING
from watcher.delivery.acknowledgement import Links
from watcher.jobs.commands import see

LINKS = Links(SecretStr("a secret of the settings"), "https://farm.example/seen")
STORM = {"wind_mph": 12.0, "gust_mph": 17.0}


def watch(store, recipients) -> Minutes:
    minutes = Minutes(store, build(tables() | {"recipients": recipients}), links=LINKS)
    minutes.start()
    return minutes


RECIPIENTS = {
    "operator": {"hears": ["job"], "backup": "grower", "backup_after": "5 min"},
    "grower": {"hears": ["brief"], "form": "sms"},
}


@pytest.fixture
def spraying(store):
    return watch(store, RECIPIENTS)


def test_after_five_minutes_without_an_answer_the_backup_is_told(spraying):
    spraying.see(1)
    spraying.see(5, **STORM)
    assert spraying.messages("grower") == []
    spraying.see(1, **STORM)
    (heard,) = spraying.messages("grower")
    assert heard.body.startswith(
        "Stop creek side: too windy, 12 mph. operator has not acknowledged this for 5 min."
    )
    assert len(heard.body) <= 160
    assert heard.short_id == spraying.messages("operator")[0].short_id


def test_the_backup_is_told_once(spraying):
    spraying.see(1)
    spraying.see(20, **STORM)
    assert len(spraying.messages("grower")) == 1


def test_an_acknowledged_alert_goes_no_further_and_is_not_repeated(spraying, store):
    spraying.see(1)
    spraying.see(2, **STORM)
    (alert,) = spraying.messages("operator")
    with store.writing() as session:
        see(session, alert.short_id, "operator", spraying.now)
    spraying.see(40, **STORM)
    assert spraying.messages("grower") == []
    assert len(spraying.messages("operator")) == 1


def test_without_an_acknowledgement_it_is_told_again_after_half_an_hour(spraying):
    spraying.see(1)
    spraying.see(31, **STORM)
    assert [m.caused_at - MORNING for m in spraying.messages("operator")] == [120, 120 + 1800]


def test_a_paused_job_needs_no_backup(spraying, store):
    spraying.see(1)
    spraying.see(2, **STORM)
    with store.writing() as session:
        job_steps.pause(session, 1, spraying.now)
    spraying.see(20, **STORM)
    assert spraying.messages("grower") == []


def test_what_is_over_needs_no_backup(spraying):
    spraying.see(1)
    spraying.see(1, **STORM)
    spraying.see(3)
    spraying.see(1)
    with spraying.store.writing() as session:
        job_steps.finish(session, 1, spraying.now)
    spraying.see(10)
    assert spraying.messages("grower") == []


def test_what_has_come_back_but_not_yet_for_long_wakes_no_backup(spraying):
    spraying.see(1)
    spraying.see(1, **STORM)
    spraying.see(8)
    assert spraying.messages("grower") == []


def test_a_warning_before_the_alert_is_not_passed_on_beside_it(spraying):
    spraying.see(1)
    spraying.see(1, wind_mph=9.2)
    spraying.see(8, **STORM)
    assert len(spraying.messages("grower")) == 1


def test_two_who_are_each_others_backup_do_not_pass_it_to_and_fro(store):
    pair = watch(
        store,
        {
            "operator": {"hears": ["job"], "backup": "grower", "backup_after": "5 min"},
            "grower": {"hears": ["brief"], "backup": "operator", "backup_after": "5 min"},
        },
    )
    pair.see(1)
    pair.see(25, **STORM)
    assert (len(pair.messages("operator")), len(pair.messages("grower"))) == (1, 1)


def test_an_alert_asks_to_be_acknowledged_by_a_link_of_its_own_recipient(spraying):
    spraying.see(1)
    spraying.see(1, **STORM)
    (alert,) = spraying.messages("operator")
    link = next(w for w in alert.body.split() if w.startswith("https://farm.example/seen/"))
    seen = LINKS.read(link.rpartition("/")[2])
    assert (seen.ref, seen.recipient) == (alert.short_id, "operator")


def test_a_job_that_cannot_be_watched_goes_to_the_backup_too(spraying, store):
    spraying.see(1)
    config = tables() | {"recipients": RECIPIENTS}
    del config["fields"]["creek_side"], config["neighbours"]["orchard"]
    other = Minutes(store, build(config), links=LINKS)
    other.now = spraying.now
    other.see(5)
    assert other.messages("grower") == []
    other.see(2)
    (to_backup,) = other.messages("grower")
    assert to_backup.body.startswith("Not watched: creek side. operator has not acknowledged")


def test_a_warning_that_needs_no_answer_goes_to_no_backup(spraying):
    spraying.see(1)
    spraying.measure(np.full(70, 9.8), np.full(70, 11.0))
    spraying.see(20)
    assert [m.kind for m in spraying.messages("operator")] == ["get ready"]
    assert spraying.messages("grower") == []
