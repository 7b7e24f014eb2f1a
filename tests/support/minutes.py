"""Drives the alert cycle minute by minute over one log, in place of the service."""

from dataclasses import replace
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from tests.support.skies import MORNING, judged, outlook
from watcher.alerts import cycle
from watcher.alerts.acknowledgement import Links
from watcher.alerts.posting import Post
from watcher.alerts.wording.reasons import Speaker
from watcher.farm import Farm
from watcher.jobs import book
from watcher.judge.plan import Plan
from watcher.service.health import distrusted
from watcher.store.database import Log
from watcher.store.tables import Condition, Message

MINUTE = 60


class Minutes:
    """A farm's alerts, a minute a cycle; knows what one recipient is told of one topic."""

    def __init__(
        self,
        store: Log,
        farm: Farm,
        *,
        topic: str = "job",
        recipient: str = "grower",
        links: Links | None = None,
    ) -> None:
        self.store, self.plan, self.post = store, Plan.of(farm), Post(Speaker(farm), links)
        self.topic, self.recipient = topic, recipient
        self.now = MORNING

    def start(self, field: str = "creek_side", setup: str = "coarse") -> int:
        """Start a job now; returns its number."""
        with self.store.writing() as session:
            return book.start(session, self.plan, field, setup, self.now).id

    def see(self, minutes: int = 1, **weather: Any) -> list[str]:
        """Let so many minutes of this weather pass; returns the titles newly told."""
        before = len(self.told())
        for _ in range(minutes):
            self.now += MINUTE
            look = outlook(self.now, **weather)
            judgement, ranking = judged(self.plan, look)
            with self.store.writing() as session:
                look = replace(look, distrusted=self._distrusted(session))
                cycle.run(session, self.post, judgement, look, ranking)
        return [m.title for m in self.told()[before:]]

    def _distrusted(self, session: Session) -> dict[str, tuple[str, ...]]:
        sources = self.plan.farm.told.sources
        return {name: distrusted(session, name, self.now) for name in sources}

    def told(self, recipient: str | None = None) -> list[Message]:
        """All that was told of the topic, oldest first."""
        with self.store.reading() as session:
            of = (Message.recipient == (recipient or self.recipient), Message.tag == self.topic)
            return list(session.scalars(select(Message).where(*of).order_by(Message.id)))

    def newest(self) -> str:
        """The body of the newest message."""
        return self.told()[-1].body

    def raised(self, subject: str = "job:") -> set[str]:
        """Kinds of the conditions that are raised about a subject."""
        with self.store.reading() as session:
            raised = (Condition.state == "raised", Condition.subject.startswith(subject))
            return set(session.scalars(select(Condition.kind).where(*raised)))
