"""How the watch itself is: what is stale, what waits to be sent, when it last judged."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, fields

from sqlalchemy.orm import Session

from watcher.farm import Farm
from watcher.farm.models import Topic
from watcher.i18n.message import Message, say
from watcher.messages.words import span
from watcher.service.clock import Doubt
from watcher.source_view import SourceView, look_at_sources
from watcher.sources.quality.check import AHEAD_S
from watcher.store import health, jobs, outbox, refused, runs
from watcher.store.recent import RecentWeather
from watcher.store.refused import NO_STATION, Refused
from watcher.store.tables import RefusedFor, SourceHealth

JUDGED_WITHIN_S = 120
"""A watch that works has judged, and written down what it judged, no longer ago than this."""
_SENT_WITHIN_S = 120
"""Who sprays waits for an urgent message no longer than this."""
_PATIENT_S = 2 * 3600
"""What can wait is held back for an hour at most when too much is sent."""
_REACHED_S = 6 * 3600
_TRIED_OFTEN = 4
_CLOCK_S = 60

LOG_UNUSABLE = say("The log cannot be used: what is judged is not written down.")
NOT_JUDGED = say("Nothing was judged in the last two minutes.")
NOT_SENT = say("A message has been due for too long and is not sent.")
NOT_REACHED = say("Somebody who hears of the job under way cannot be reached.")
TIME_UNKNOWN = say("Nobody knows what time it is: everything is unknown until somebody tells.")
CLOCK_WRONG = say("The clock stands before what is already written in the log.")
WRONG = (LOG_UNUSABLE, NOT_JUDGED, NOT_SENT, NOT_REACHED, TIME_UNKNOWN, CLOCK_WRONG)
"""Everything that can be wrong with the watch itself. Anybody may read it: it tells no details."""


@dataclass(frozen=True)
class Health:
    """The whole watch. ``well`` is false as soon as anything below it is not as it should be."""

    at: int
    judged_at: int | None
    sources: tuple[SourceView, ...]
    waiting_messages: int
    oldest_waiting_s: int | None
    strangers: Mapping[RefusedFor, Refused] = field(default_factory=dict)
    """Posts of the last day in names that no station has."""
    clock: Message | None = None
    """What contradicts the clock of the watch; None while nothing does."""
    farm_mistakes: tuple[str, ...] = ()
    """What is wrong with the farm file, where an earlier one is used instead."""
    wrong: tuple[Message, ...] = ()
    """What is wrong with the watch itself: some of ``WRONG``."""

    @property
    def works(self) -> bool:
        """Whether the watch judges, writes and delivers within its bounds, whatever it is sent."""
        return not self.wrong

    @property
    def well(self) -> bool:
        """Whether the watch works, with the farm file as it is, and every source is sound."""
        agreed = self.clock is None and not self.farm_mistakes
        return self.works and agreed and all(s.sound for s in self.sources)

    def as_json(self) -> dict[str, object]:
        """Return plain values for JSON, without the sources: how they are takes words."""
        worded = {"sources", "strangers"}
        plain = {f.name: getattr(self, f.name) for f in fields(self) if f.name not in worded}
        in_words = {
            "clock": None if self.clock is None else str(self.clock),
            "wrong": [str(text) for text in self.wrong],
        }
        return {"well": self.well, "works": self.works} | plain | in_words


def look(
    session: Session,
    farm: Farm,
    *,
    now: int,
    judged_at: int | None,
    doubt: Doubt | None = None,
    farm_mistakes: tuple[str, ...] = (),
) -> Health:
    """Look at how every source and the outbox are.

    ``judged_at`` is when the watch last judged, ``doubt`` what contradicts its clock,
    ``farm_mistakes`` what is wrong with the farm file where an earlier one is used.
    """
    known = {h.source: h for h in health.all_sources(session)}
    oldest = outbox.oldest_unsent(session)
    return Health(
        at=now,
        judged_at=judged_at,
        sources=tuple(look_at_sources(RecentWeather(session, now), farm)),
        waiting_messages=sum(outbox.counts(session).get(s, 0) for s in ("waiting", "sending")),
        oldest_waiting_s=None if oldest is None else max(0, now - oldest),
        strangers=refused.of_last_day(session, now).get(NO_STATION, {}),
        clock=_clock(known.values(), now, doubt),
        farm_mistakes=farm_mistakes,
        wrong=tuple(_wrong(session, farm, now, judged_at, doubt)),
    )


def _clock(known: Iterable[SourceHealth], now: int, doubt: Doubt | None) -> Message | None:
    """What contradicts the clock of the watch: its machine's, or what came from the future."""
    if doubt is not None and doubt.by_s:
        return say(
            "the clock of the machine and the time otherwise known differ by {span}; "
            "set the clock of the machine",
            span=span(abs(doubt.by_s)),
        )
    if doubt is not None:
        return say("no station or feed confirms the clock of the machine yet")
    newest = {h.source: max(h.newest_reading_at or 0, h.answered_at or 0) - now for h in known}
    ahead = {name: by_s for name, by_s in newest.items() if by_s > AHEAD_S}
    if not ahead:
        return None
    return say(
        "the clock of the watch and the times of {sources} contradict each other: they are ahead "
        "by {span}; set the clock that is wrong",
        sources=", ".join(sorted(ahead)),
        span=span(max(ahead.values())),
    )


def _wrong(
    session: Session, farm: Farm, now: int, judged_at: int | None, doubt: Doubt | None
) -> Iterator[Message]:
    if doubt is not None and doubt.lost:
        yield TIME_UNKNOWN
    if not _lately(judged_at, now):
        yield NOT_JUDGED
    # Of devices that take pushes anybody who is logged in may add one that nobody reaches.
    if outbox.is_late(
        session,
        now,
        farm.config.recipients,
        urgent_s=_SENT_WITHIN_S,
        patient_s=_PATIENT_S,
        attempts=_TRIED_OFTEN,
    ):
        yield NOT_SENT
    if jobs.open_jobs(session):
        unreached = outbox.out_of_reach(session, now - _REACHED_S, _TRIED_OFTEN)
        recipients = farm.config.recipients
        if any(n in recipients and Topic.JOB in recipients[n].hears for n in unreached):
            yield NOT_REACHED
    run = runs.last(session)
    if run is not None and run.seen_at > now + _CLOCK_S:
        yield CLOCK_WRONG


def _lately(judged_at: int | None, now: int) -> bool:
    return judged_at is not None and -_CLOCK_S <= now - judged_at <= JUDGED_WITHIN_S


def is_watched(session: Session, now: int) -> bool:
    """Return whether some process watches: whether it judged lately, by what the log has of it."""
    return _lately(written_at(session), now)


def written_at(session: Session) -> int | None:
    """Return when a judgement was last written into the log, by whichever process."""
    run = runs.last(session)
    return None if run is None or run.stopped_at is not None else run.seen_at
