"""What counts as said is delivered: what is given up untold is said anew while it is still so."""

import shutil
import tempfile
from collections import defaultdict
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule
from sqlalchemy import select

from tests.support import job_steps
from tests.support.farms import build, tables
from tests.support.minutes import MINUTE, Minutes
from tests.support.quick_skies import QuickSkies
from tests.support.skies import MORNING
from watcher.alerts import cycle
from watcher.alerts.enqueue import Enqueue
from watcher.farm import Farm
from watcher.limits.farm_arrays import FarmArrays
from watcher.messages.reasons import Speaker
from watcher.store import outbox
from watcher.store.database import Database
from watcher.store.outbox import FAILED_AGAIN_S
from watcher.store.tables import Outgoing

pytestmark = pytest.mark.long

LEASE_S = 30
STOP = "Stop creek side: too windy, 12 mph"
STORM = {"wind_mph": 12.0}


def deliver(store: Database, now: int, recipient: str) -> list[str]:
    """Take all that is due to one recipient, as a courier does; returns the titles or bodies."""
    with store.writing() as session:
        outbox.expire(session, now)
        claimed = outbox.claim(session, now, LEASE_S, 100, recipient=recipient)
        for message in claimed:
            outbox.mark_sent(session, message.id, now)
        return [m.title or m.body for m in claimed]


def expire(store: Database, now: int) -> None:
    with store.writing() as session:
        outbox.expire(session, now)


def test_a_stop_that_expired_undelivered_is_said_anew_while_it_stands(
    store: Database, farm: Farm
) -> None:
    watch = Minutes(store, farm)
    watch.start()
    watch.see()
    assert watch.see(**STORM) == [STOP]
    expire(store, watch.now + 3 * 3600)  # by a clock that jumped, say
    assert watch.see(**STORM) == [STOP]
    newest = watch.messages()[-1]
    assert (newest.state, newest.caused_at) == ("waiting", watch.now)
    assert watch.see(minutes=5, **STORM) == []


def test_only_who_did_not_get_it_is_told_again(store: Database, farm: Farm) -> None:
    watch = Minutes(store, farm)
    watch.start()
    watch.see()
    watch.see(**STORM)
    deliver(store, watch.now, "grower")
    expire(store, watch.now + 3 * 3600)
    operator = len(watch.messages("operator"))
    assert watch.see(**STORM) == []
    assert len(watch.messages("operator")) == operator + 1


def test_what_is_over_is_not_said_anew(store: Database, farm: Farm) -> None:
    watch = Minutes(store, farm)
    watch.start()
    watch.see()
    watch.see(**STORM)
    expire(store, watch.now + 3 * 3600)
    assert watch.see(minutes=30) == ["All clear creek side: inside for 10 min"]


def test_what_a_receiver_refuses_for_good_is_tried_again_once_an_hour(
    store: Database, farm: Farm
) -> None:
    watch = Minutes(store, farm, topic="sources")
    watch.see(minutes=7)
    assert watch.messages() != []

    def refuse() -> int:
        with store.writing() as session:
            claimed = outbox.claim(session, watch.now, LEASE_S, 100, recipient="grower")
            for message in claimed:
                outbox.mark_failed(session, message.id, message.attempts, "403", None)
            return len([m for m in claimed if m.tag == "sources" and "silent" in m.title])

    first = refuse()
    assert first >= 1
    tried = 0
    for _ in range(2 * FAILED_AGAIN_S // MINUTE + 2):
        watch.see()
        tried += refuse()
    assert 2 <= tried <= 3


def test_a_newer_message_of_the_same_takes_the_place_of_one_that_waits(
    store: Database, farm: Farm
) -> None:
    watch = Minutes(store, farm)
    watch.start()
    watch.see()
    watch.see(minutes=92, **STORM)
    stops = [m for m in watch.messages() if m.title == STOP]
    assert len(stops) == 3
    assert [m.state for m in stops] == ["expired", "expired", "waiting"]
    assert [m.last_error for m in stops] == [outbox.SUPERSEDED, outbox.SUPERSEDED, None]


RECIPIENTS = ("grower", "operator")
BOUND = 3
"""Minutes: a cycle to see it, one to say it anew, one to deliver it."""


class SaidIsDelivered(RuleBasedStateMachine):
    """A storm comes and goes over a job; channels fail, messages expire, the watch restarts."""

    farm = build(tables() | {"recipients": {"grower": {}, "operator": {"hears": ["job"]}}})
    plan = FarmArrays.of(farm)
    skies = QuickSkies(plan)
    post = Enqueue(Speaker(farm))

    def __init__(self) -> None:
        super().__init__()
        self.folder = Path(tempfile.mkdtemp())
        self.store = self._open()
        self.minute = 0
        self.sky, self.storm_since = "calm", 0
        self.up = dict.fromkeys(RECIPIENTS, True)
        self.up_since = dict.fromkeys(RECIPIENTS, 0)
        self.messages: dict[str, list[int]] = defaultdict(list)
        with self.store.writing() as session:
            job_steps.start(session, self.plan, "creek_side", "coarse", self.now)

    @property
    def now(self) -> int:
        return MORNING + self.minute * MINUTE

    def _open(self) -> Database:
        log = Database(f"sqlite:///{self.folder / 'watch.db'}", lasting=False)
        log.upgrade()
        return log

    def teardown(self) -> None:
        self.store.close()
        shutil.rmtree(self.folder)

    def _pass(self) -> None:
        self.minute += 1
        with self.store.writing() as session:
            cycle.run(session, self.post, *self.skies.at(self.now, self.sky))
        for name in RECIPIENTS:
            with self.store.writing() as session:
                outbox.expire(session, self.now)
                for message in outbox.claim(session, self.now, LEASE_S, 100, recipient=name):
                    if not self.up[name]:
                        again = self.now + 60
                        outbox.mark_failed(session, message.id, message.attempts, "x", again)
                        continue
                    outbox.mark_sent(session, message.id, self.now)
                    if message.kind == "stop":  # an all clear names it, too
                        self.messages[name].append(self.minute)

    @rule(minutes=st.integers(1, 6))
    def time_passes(self, minutes: int) -> None:
        for _ in range(minutes):
            self._pass()

    @rule()
    def the_time_to_repeat_passes(self) -> None:
        for _ in range(31):
            self._pass()

    @rule(sky=st.sampled_from(["calm", "storm", "storm"]))
    def weather(self, sky: str) -> None:
        if (sky, self.sky) == ("storm", "calm"):
            self.storm_since = self.minute
        self.sky = sky

    @rule(name=st.sampled_from(RECIPIENTS), up=st.booleans())
    def channel(self, name: str, up: bool) -> None:
        if up and not self.up[name]:
            self.up_since[name] = self.minute
        self.up[name] = up

    @rule(name=st.sampled_from(RECIPIENTS), by_s=st.sampled_from([3600, 86_400]))
    def a_storm_begins_while_a_channel_is_down_and_its_messages_expire(
        self, name: str, by_s: int
    ) -> None:
        self.sky = "calm"
        for _ in range(21):  # whatever was told before is over
            self._pass()
        self.channel(name, up=False)
        self.sky, self.storm_since = "storm", self.minute
        self._pass()
        expire(self.store, self.now + by_s)
        self.channel(name, up=True)
        for _ in range(BOUND):
            self._pass()

    @initialize(name=st.sampled_from(RECIPIENTS), by_s=st.sampled_from([3600, 86_400]))
    def it_begins_with_one(self, name: str, by_s: int) -> None:
        self.a_storm_begins_while_a_channel_is_down_and_its_messages_expire(name, by_s)

    @rule()
    def restart(self) -> None:
        self.store.close()
        self.store = self._open()

    @invariant()
    def who_can_be_reached_knows_of_what_lasts(self) -> None:
        if self.sky != "storm" or self.minute - self.storm_since < BOUND:
            return
        for name in RECIPIENTS:
            if self.up[name] and self.minute - self.up_since[name] >= BOUND:
                # A storm that comes back within its time to clear is the same one; one that
                # comes and goes has twenty minutes.
                found = [at for at in self.messages[name] if at > self.storm_since - 20]
                assert found, (name, self.minute, self.storm_since, self.messages[name])

    @invariant()
    def nobody_is_told_twice_without_reason(self) -> None:
        for minutes in self.messages.values():
            for earlier, later in pairwise(minutes):
                # Ten minutes of calm end a storm; the half hour is the repeat's.
                assert later - earlier >= 10, minutes

    @invariant()
    def at_most_one_message_of_it_waits_for_anybody(self) -> None:
        with self.store.reading() as session:
            waiting = session.scalars(
                select(Outgoing.recipient).where(
                    Outgoing.state == "waiting", Outgoing.kind == "stop"
                )
            ).all()
        assert len(waiting) == len(set(waiting))


SaidIsDelivered.TestCase.settings = settings(
    max_examples=3,
    stateful_step_count=10,
    deadline=None,
    suppress_health_check=list(HealthCheck),
    phases=[Phase.explicit, Phase.reuse, Phase.generate],
    print_blob=True,
)
TestSaidIsDelivered = SaidIsDelivered.TestCase
