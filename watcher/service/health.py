"""How the watch itself is: what is stale, what waits to be sent, when it last judged."""

from dataclasses import asdict, dataclass

from sqlalchemy.orm import Session

from watcher.farm import Farm
from watcher.farm.feeds import foretells, observes
from watcher.farm.source_entry import SourceEntry
from watcher.sources import trust
from watcher.store import aggregates, health, outbox, weather
from watcher.store.tables import SourceHealth
from watcher.weather.bins import HOUR_S

JUDGED_WITHIN_S = 120


@dataclass(frozen=True)
class SourceNow:
    """One source's state. Ages in seconds, None when it never said anything."""

    name: str
    age_s: int | None
    stale: bool
    failures_in_a_row: int
    why: str | None
    attribution: str
    distrusted: tuple[str, ...] = ()
    """Quantities it is not believed in, as they failed quality control too often."""


@dataclass(frozen=True)
class Health:
    """The whole watch. ``well`` is false as soon as anything below it is not as it should be."""

    at: int
    judged_at: int | None
    sources: tuple[SourceNow, ...]
    waiting_messages: int
    oldest_waiting_s: int | None

    @property
    def well(self) -> bool:
        judged = self.judged_at is not None and self.at - self.judged_at <= JUDGED_WITHIN_S
        return judged and not any(s.stale or s.distrusted for s in self.sources)

    def as_json(self) -> dict[str, object]:
        """Return plain values for JSON."""
        return {"well": self.well} | asdict(self)


def look(session: Session, farm: Farm, *, now: int, judged_at: int | None) -> Health:
    """Look at how every source and the outbox are. ``judged_at`` is when the watch last judged."""
    known = {h.source: h for h in health.all_sources(session)}
    oldest = outbox.oldest_unsent(session)
    return Health(
        at=now,
        judged_at=judged_at,
        sources=tuple(
            _source_now(session, name, entry, known.get(name), now)
            for name, entry in farm.told.sources.items()
        ),
        waiting_messages=sum(outbox.counts(session).get(s, 0) for s in ("waiting", "sending")),
        oldest_waiting_s=None if oldest is None else now - oldest,
    )


def _source_now(
    session: Session, name: str, entry: SourceEntry, known: SourceHealth | None, now: int
) -> SourceNow:
    """A measuring source is as old as its newest reading, a forecasting one as its last answer."""
    newest = known.newest_reading_at if known and observes(entry) else None
    if known and not observes(entry):
        newest = known.answered_at
    age = None if newest is None else now - newest
    forecast = weather.latest_forecast(session, name, now) if foretells(entry) else None
    doubted = distrusted(session, name, now) if observes(entry) else ()
    return SourceNow(
        name=name,
        age_s=age,
        stale=age is None or age > entry.silent_after,
        failures_in_a_row=known.failures_in_a_row if known else 0,
        why=known.why if known else None,
        attribution=forecast.attribution if forecast else "",
        distrusted=doubted,
    )


def distrusted(session: Session, source: str, now: int) -> tuple[str, ...]:
    """Return the quantities a source is not believed in, as the outlook has it."""
    return tuple(trust.demoted(aggregates.bins(session, source, HOUR_S, now - trust.DAY_S, now)))
