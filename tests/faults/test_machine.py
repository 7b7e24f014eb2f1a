"""Conditions, deliveries, crashes and restarts driven together, and what must hold throughout."""

import shutil
import tempfile
from collections import Counter
from pathlib import Path

import pytest
from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule
from sqlalchemy import select

from tests.support import job_steps
from tests.support.farms import build, tables
from tests.support.quick_skies import SKIES, QuickSkies
from tests.support.skies import MORNING
from watcher.alerts import cycle, watch_runs
from watcher.alerts.enqueue import Enqueue
from watcher.jobs.commands import see
from watcher.limits.farm_arrays import FarmArrays
from watcher.messages.reasons import Speaker
from watcher.store import jobs, outbox, runs
from watcher.store.database import Database
from watcher.store.tables import Condition, JobEvent, Outgoing

pytestmark = pytest.mark.long

LEASE_S = 60
RECIPIENTS = {
    "grower": {"backup": "operator", "backup_after": "5 min"},
    "operator": {"hears": ["job"], "form": "sms"},
}
FARM = build(tables() | {"recipients": RECIPIENTS})
PLAN = FarmArrays.of(FARM)
QUICK = QuickSkies(PLAN)
POST = Enqueue(Speaker(FARM))
# What a sky breaks on the field beside the orchard.
BREAKS = {"storm": {"wind", "gust"}, "dry": {"Delta T"}}
TOLD = {"stop", "cannot see"}
AGAIN_S = 1800


class PowerCutError(Exception):
    """The machine loses its power in the middle of a transaction."""


class Alerts(RuleBasedStateMachine):
    """One farm, one field being sprayed or not, two recipients."""

    def __init__(self) -> None:
        super().__init__()
        self.folder = Path(tempfile.mkdtemp())
        self.store = self._open()
        self.now, self.sky, self.job = MORNING, "calm", None
        self.arrived: Counter[int] = Counter()
        self.cut_short: Counter[int] = Counter()
        self.set_back = False
        self.news: list[tuple[str, str, int]] = []
        self.before: set[tuple[str, str]] = set()
        self.unseen: set[str] = set()
        with self.store.writing() as session:
            self.run = runs.begin(session, self.now)

    def _open(self) -> Database:
        log = Database(f"sqlite:///{self.folder / 'watch.db'}")
        log.upgrade()
        return log

    def teardown(self) -> None:
        self.everything_arrives()
        self.store.close()
        shutil.rmtree(self.folder)

    def _cycle(self) -> None:
        with self.store.writing() as session:
            cycle.run(session, POST, *QUICK.at(self.now, self.sky))
            runs.seen(session, self.run, self.now)
        conditions = self._raised()
        raised = {(c.subject, c.kind) for c in conditions}
        self.news += [(*gone, self.now) for gone in self.before - raised]
        self.before = raised
        # That nobody sees any longer what called for a stop is news of it.
        unseen = {c.subject for c in conditions if c.detail["evidence"].get("blind")}
        self.news += [(subject, "stop", self.now) for subject in unseen - self.unseen]
        self.unseen = unseen

    @rule(sky=st.sampled_from(sorted(SKIES)), minutes=st.integers(1, 15))
    def time_passes(self, sky: str, minutes: int) -> None:
        self.sky = sky
        for _ in range(minutes):
            self.now += 60
            self._cycle()

    @precondition(lambda self: self.job is None)
    @rule()
    def start(self) -> None:
        with self.store.writing() as session:
            self.job = job_steps.start(session, PLAN, "creek_side", "coarse", self.now).id
        self._cycle()

    @precondition(lambda self: self.job is not None)
    @rule(step=st.sampled_from(["pause", "resume", "finish"]))
    def act(self, step: str) -> None:
        with self.store.writing() as session:
            state = jobs.job(session, self.job).state
            if step == "finish":
                job_steps.finish(session, self.job, self.now)
                self.job = None
            elif (step, state) == ("pause", "running"):
                job_steps.pause(session, self.job, self.now)
            elif (step, state) == ("resume", "paused"):
                job_steps.resume(session, self.job, self.now)
        self._cycle()

    @rule(sky=st.sampled_from(sorted(SKIES)))
    def power_cut_in_a_cycle(self, sky: str) -> None:
        def cut_off() -> None:
            with self.store.writing() as session:
                cycle.run(session, POST, *QUICK.at(self.now + 60, sky))
                raise PowerCutError

        with pytest.raises(PowerCutError):
            cut_off()

    @rule(who=st.sampled_from(sorted(RECIPIENTS)), fate=st.sampled_from(["sent", "failed", "cut"]))
    def deliver(self, who: str, fate: str) -> None:
        """A courier takes the next message, which arrives or not; it lives to write that or not."""
        with self.store.writing() as session:
            claimed = outbox.claim(session, self.now, LEASE_S, 1, recipient=who)
        for message in claimed:
            if fate != "failed":
                self.arrived[message.id] += 1
            if fate == "cut":
                self.cut_short[message.id] += 1
                continue
            with self.store.writing() as session:
                if fate == "sent":
                    outbox.mark_sent(session, message.id, self.now)
                else:
                    outbox.mark_failed(
                        session, message.id, message.attempts, "no route", self.now + 30
                    )

    @rule()
    def somebody_acknowledges(self) -> None:
        with self.store.writing() as session:
            newest = outbox.newest(session, 1)
            if newest:
                see(session, newest[0].short_id, "grower", self.now)

    @rule(down_s=st.integers(0, 900))
    def killed_and_started_again(self, down_s: int) -> None:
        self.store.close()
        self.store = self._open()
        self.now += down_s
        with self.store.writing() as session:
            watch_runs.tell_start(session, POST, self.now)
            self.run = runs.begin(session, self.now)
        self._cycle()

    @rule(by_s=st.integers(60, 3600))
    def clock_set_back(self, by_s: int) -> None:
        self.now -= by_s
        self.set_back = True
        self._cycle()

    @rule()
    def the_outbox_is_tidied(self) -> None:
        """As the courier does every half minute."""
        with self.store.writing() as session:
            outbox.clock_went_back(session, self.now, LEASE_S)
            outbox.expire(session, self.now)

    # ----- what must hold

    def _messages(self) -> list[Outgoing]:
        with self.store.reading() as session:
            return list(session.scalars(select(Outgoing).order_by(Outgoing.id)))

    def _raised(self) -> list[Condition]:
        with self.store.reading() as session:
            return list(session.scalars(select(Condition).where(Condition.state == "raised")))

    def _job_state(self) -> str | None:
        if self.job is None:
            return None
        with self.store.reading() as session:
            return jobs.job(session, self.job).state

    @invariant()
    def a_broken_limit_is_told_while_somebody_sprays(self) -> None:
        if self._job_state() != "running":
            return
        found = {c.kind for c in self._raised() if c.said_at is not None}
        for limit in BREAKS.get(self.sky, ()):
            assert {"stop", f"limit broken: {limit}"} <= found
        if self.sky == "unknown":
            assert "limit unknown: wind" in found
            assert {"stop", "cannot see"} & found

    @invariant()
    def what_is_remembered_as_told_has_a_message_to_everyone_who_hears_it(self) -> None:
        messages = self._messages()
        for condition in self._raised():
            if condition.said_at is None or condition.kind not in TOLD:
                continue
            for who in RECIPIENTS:
                assert any(
                    m.about == condition.subject and m.recipient == who and condition.kind in m.key
                    for m in messages
                ), (condition.kind, who)

    @invariant()
    def nothing_is_raised_about_a_job_that_has_ended(self) -> None:
        subjects = {c.subject for c in self._raised() if c.subject.startswith("job:")}
        assert subjects <= ({f"job:{self.job}"} if self.job is not None else set())

    @invariant()
    def nothing_is_told_again_too_soon_without_a_cause(self) -> None:
        if self.set_back:
            return  # the times compared are no measure then
        with self.store.reading() as session:
            acts = [
                (f"job:{e.job_id}", e.at)
                for e in session.scalars(select(JobEvent))
                if e.what in {"started", "resumed"}
            ]
        last: dict[tuple[str, str], int] = {}
        for m in self._messages():
            if m.recipient != "grower" or m.kind not in TOLD:
                continue
            for what in m.key.split("/")[2].split("+"):
                found = (m.about, what)
                since = last.get(found, -AGAIN_S)
                causes = [at for subject, at in acts if subject == m.about]
                causes += [at for *gone, at in self.news if tuple(gone) == found]
                if not any(since <= at for at in causes) and what == "stop":
                    assert m.created_at - since >= AGAIN_S, m.key
                last[found] = m.created_at

    @invariant()
    def a_message_arrives_at_most_once_more_than_its_senders_died(self) -> None:
        for number, times in self.arrived.items():
            assert times <= 1 + self.cut_short[number]

    @invariant()
    def a_message_is_in_one_known_state(self) -> None:
        for m in self._messages():
            assert (m.state == "sent") == (m.sent_at is not None)
            assert (m.state == "sending") == (m.lease_until is not None)
            if m.state == "sent":
                assert self.arrived[m.id] >= 1

    def everything_arrives(self) -> None:
        """Once nothing fails any more, all ends as sent or as given up in sight."""
        for _ in range(3):
            self.the_outbox_is_tidied()
            self.now += LEASE_S + 30
            for who in RECIPIENTS:
                with self.store.writing() as session:
                    for m in outbox.claim(session, self.now, LEASE_S, 10_000, recipient=who):
                        self.arrived[m.id] += 1
                        outbox.mark_sent(session, m.id, self.now)
            with self.store.writing() as session:
                outbox.expire(session, self.now)
        states = {m.state for m in self._messages() if m.due_at <= self.now}
        assert states <= {"sent", "expired"}
        self.a_message_arrives_at_most_once_more_than_its_senders_died()


Alerts.TestCase.settings = settings(
    max_examples=15,
    stateful_step_count=25,
    deadline=None,
    suppress_health_check=list(HealthCheck),
    phases=[Phase.explicit, Phase.reuse, Phase.generate],  # shrinking takes minutes
    print_blob=True,
)
TestAlerts = Alerts.TestCase
