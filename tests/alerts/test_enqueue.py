"""Who hears what, and what quiet hours hold back."""

from datetime import UTC, datetime, time

import pytest
from sqlalchemy import select

from tests.support.farms import build, tables
from watcher.alerts.alert import Alert
from watcher.alerts.conditions import Rule, Urgency
from watcher.alerts.enqueue import Enqueue
from watcher.alerts.quiet_hours import due_at
from watcher.farm.models import QuietHours, Recipient, Topic
from watcher.i18n.message import say
from watcher.messages.job import TAKE_A_READING
from watcher.messages.reasons import Speaker
from watcher.messages.text import Text
from watcher.store.tables import Outgoing

BRIEF = Rule("morning brief", Topic.BRIEF, Urgency.SOON, 3 * 3600)
STOP = Rule("stop", Topic.JOB, Urgency.NOW, 7200)


def at(text: str) -> int:
    """An instant of June 2026 in Chicago's zone, which is five hours behind UTC then."""
    return int(datetime.fromisoformat(f"2026-06-{text}").replace(tzinfo=UTC).timestamp()) + 5 * 3600


@pytest.mark.parametrize(
    ("quiet", "now", "due"),
    [
        ((time(21, 30), time(5, 0)), "10 12:00", "10 12:00"),
        ((time(21, 30), time(5, 0)), "10 21:29", "10 21:29"),
        ((time(21, 30), time(5, 0)), "10 21:30", "11 05:00"),
        ((time(21, 30), time(5, 0)), "11 02:00", "11 05:00"),
        ((time(21, 30), time(5, 0)), "11 05:00", "11 05:00"),
        ((time(12, 0), time(13, 0)), "10 12:30", "10 13:00"),
        ((time(12, 0), time(13, 0)), "10 13:00", "10 13:00"),
        # As they end the next day when not after the start, these are a whole day.
        ((time(6, 0), time(6, 0)), "10 12:00", "11 06:00"),
    ],
)
def test_quiet_hours_hold_back_until_they_end(farm, quiet, now, due):
    recipient = Recipient(quiet_hours=QuietHours(start=quiet[0], end=quiet[1]))
    assert due_at(BRIEF, recipient, farm.zone, at(now)) == at(due)


def test_a_mid_job_alert_knows_no_quiet_hours(farm):
    recipient = Recipient(quiet_hours=QuietHours(start=time(21, 30), end=time(5)))
    assert due_at(STOP, recipient, farm.zone, at("11 02:00")) == at("11 02:00")


def _posted(store, farm, rule):
    text = Text(say("stop"), (TAKE_A_READING,))
    alert = Alert(rule, "job:1", "job:1/x/1", text, at("10 12:00"))
    with store.writing() as session:
        new = Enqueue(Speaker(farm))(session, alert, at("10 12:00"))
    with store.reading() as session:
        return new, list(session.scalars(select(Outgoing).order_by(Outgoing.recipient)))


def test_everyone_who_hears_a_tag_gets_a_message_of_their_own(store, farm):
    new, messages = _posted(store, farm, STOP)
    assert new == 2
    assert [m.recipient for m in messages] == ["grower", "operator"]
    assert len({m.key for m in messages}) == 2
    assert len({m.short_id for m in messages}) == 1
    assert [m.expires_at for m in messages] == [at("10 14:00")] * 2


def test_who_does_not_hear_a_tag_gets_nothing(store, farm):
    _, messages = _posted(store, farm, BRIEF)
    assert [m.recipient for m in messages] == ["grower"]


def test_the_same_news_is_written_once(store, farm):
    assert _posted(store, farm, STOP)[0] == 2
    assert _posted(store, farm, STOP)[0] == 0


def test_a_name_from_the_farm_file_cannot_break_the_lines_of_a_message(store):
    config = tables()
    config["recipients"] = {"grower": {"form": "mail"}}
    _, messages = _posted(store, build(config), STOP)
    assert messages[0].body.splitlines()[0] == "Take a reading at boom height, or stop."


def _in_languages(farm_language, operator_language):
    config = tables()
    config["farm"]["language"] = farm_language
    config["recipients"]["operator"] |= operator_language
    return build(config)


@pytest.mark.parametrize(
    ("farm_language", "operator_language", "titles"),
    [
        ("en", {}, ["stop", "stop"]),
        ("es", {}, ["parar", "parar"]),
        ("en", {"language": "es"}, ["stop", "parar"]),
        ("es", {"language": "en"}, ["parar", "stop"]),
    ],
)
def test_each_is_written_to_in_their_own_language(store, farm_language, operator_language, titles):
    _, messages = _posted(store, _in_languages(farm_language, operator_language), STOP)
    assert [m.title or m.body.partition(".")[0] for m in messages] == titles
    for message, title in zip(messages, titles, strict=True):
        spanish = "Decide" in message.body or "Solo orientación" in message.body
        assert spanish == (title == "parar")
