"""Drives the alert cycle minute by minute over one log, in place of the service."""

from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike
from sqlalchemy import select, update
from sqlalchemy.orm import Session

from tests.support import job_steps
from tests.support.skies import MORNING, MPH, judged, timeline
from watcher.alerts import cycle
from watcher.alerts.enqueue import Enqueue
from watcher.delivery.acknowledgement import Links
from watcher.farm import Farm
from watcher.jobs import state
from watcher.limits.catalogue import Limit
from watcher.limits.farm_arrays import FarmArrays
from watcher.limits.status import LimitState
from watcher.messages.reasons import Speaker
from watcher.source_view import distrusted
from watcher.sources.base import Observations
from watcher.store import jobs, weather
from watcher.store.database import Database
from watcher.store.recent import RecentWeather
from watcher.store.tables import Condition, Outgoing
from watcher.weather.series import Site, WeatherSeries

MINUTE = 60
# At boom height, so that bounds at the sensor are those of the field.
MAST = Site(41.0, -96.0, wind_height_m=0.12 + 0.508)


class Minutes:
    """A farm's alerts, a minute a cycle; knows what one recipient is told of one topic."""

    def __init__(
        self,
        store: Database,
        farm: Farm,
        *,
        topic: str = "job",
        recipient: str = "grower",
        links: Links | None = None,
    ) -> None:
        self.store, self.plan, self.post = store, FarmArrays.of(farm), Enqueue(Speaker(farm), links)
        self.topic, self.recipient = topic, recipient
        self.now = MORNING

    def start(self, field: str = "creek_side", setup: str = "coarse") -> int:
        """Start a job now; returns its number."""
        with self.store.writing() as session:
            return job_steps.start(session, self.plan, field, setup, self.now).id

    def see(self, minutes: int = 1, **sky: Any) -> list[str]:
        """Let so many minutes of this weather pass; returns the titles newly told."""
        before = len(self.messages())
        for _ in range(minutes):
            self.now += MINUTE
            look = timeline(self.now, **sky)
            judgement, ranking = judged(self.plan, look)
            with self.store.writing() as session:
                look = replace(look, distrusted=self._distrusted(session))
                self.actions = cycle.run(session, self.post, judgement, look, ranking).actions
            self.judgement = judgement
        return [m.title for m in self.messages()[before:]]

    def _distrusted(self, session: Session) -> dict[str, tuple[str, ...]]:
        sources = self.plan.farm.config.sources
        recent = RecentWeather(session, self.now)
        return {name: distrusted(recent, name) for name in sources}

    def measure(self, wind_mph: ArrayLike, gust_mph: ArrayLike, **more: ArrayLike) -> None:
        """Log the mast's readings of the last minutes, a minute apart, up to the next minute."""
        wind, gust = np.asarray(wind_mph) * MPH, np.asarray(gust_mph) * MPH
        times = self.now + MINUTE - MINUTE * np.arange(wind.size)[::-1]
        fair = {"wind_from_deg": 0.0, "temp_c": 20.0, "pressure_pa": 97_000.0}
        values = {name: np.full(wind.size, value) for name, value in fair.items()}
        values |= {"wind_m_s": wind, "gust_m_s": gust, **more}
        readings = Observations(WeatherSeries.of(times, MAST, "mast", values))
        with self.store.writing() as session:
            weather.add_observations(session, readings, self.now)

    def deliver(self) -> None:
        """Let every message that waits have arrived."""
        with self.store.writing() as session:
            waiting = Outgoing.sent_at.is_(None)
            session.execute(update(Outgoing).where(waiting).values(sent_at=self.now, state="sent"))

    def broken(self) -> set[Limit]:
        """The limits that the newest judgement finds broken for any job."""
        with self.store.reading() as session:
            states = [state.look(self.judgement, 0, job) for job in jobs.open_jobs(session)]
        return {r.limit for s in states for r in s.limits if r.stand is LimitState.BROKEN}

    def messages(self, recipient: str | None = None) -> list[Outgoing]:
        """All that was told of the topic, oldest first."""
        with self.store.reading() as session:
            of = (Outgoing.recipient == (recipient or self.recipient), Outgoing.tag == self.topic)
            return list(session.scalars(select(Outgoing).where(*of).order_by(Outgoing.id)))

    def newest(self) -> str:
        """The body of the newest message."""
        return self.messages()[-1].body

    def raised(self, subject: str = "job:") -> set[str]:
        """Kinds of the conditions that are raised about a subject."""
        with self.store.reading() as session:
            raised = (Condition.state == "raised", Condition.subject.startswith(subject))
            return set(session.scalars(select(Condition.kind).where(*raised)))
