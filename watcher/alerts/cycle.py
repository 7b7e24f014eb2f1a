"""One cycle of the alerts: what is so now, what of it is news, and who is told.

Runs inside the caller's write transaction, so that what is remembered and what is to be sent are
kept together or not at all.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import structlog
from sqlalchemy.orm import Session

from watcher.alerts import briefs, job_limits, memory
from watcher.alerts.conditions import Change, Key, State, advance
from watcher.alerts.notices import Notice
from watcher.alerts.recipients import post
from watcher.alerts.wording.reasons import Speaker
from watcher.jobs import book
from watcher.jobs.book import Stood
from watcher.jobs.watch import JobSight, look
from watcher.judge.judgement import Judgement
from watcher.judge.outlook import Outlook
from watcher.judge.ranking import Ranking
from watcher.judge.status import Limit
from watcher.store import jobs
from watcher.store.tables import Job

log = structlog.get_logger("watcher.alerts")


@dataclass(frozen=True)
class WatchedJob:
    """A job's sight, and how its limits stood when the grower last took it in hand."""

    sight: JobSight
    start: Mapping[Limit, Stood]
    taken_in_hand_at: int


@dataclass(frozen=True)
class View:
    """Everything one cycle sees."""

    speaker: Speaker
    judgement: Judgement
    outlook: Outlook
    ranking: Ranking
    jobs: Sequence[WatchedJob] = ()
    unseen: Sequence[str] = ()
    """Subjects nothing can be stated about now; what is remembered of them stays."""

    @property
    def now(self) -> int:
        return self.outlook.now


@dataclass(frozen=True)
class Decision:
    """What a cycle decided: what to remember and what to tell."""

    lasting: Mapping[Key, State]
    notices: Sequence[Notice]
    anew: Sequence[JobSight]
    """Jobs all clear now: how their limits stand from here on is what later news is measured by."""


def run(
    session: Session,
    speaker: Speaker,
    judgement: Judgement,
    outlook: Outlook,
    ranking: Ranking,
) -> int:
    """Run one cycle; returns how many messages are new in the outbox."""
    watched, unseen = _watch_jobs(session, judgement, outlook)
    view = View(speaker, judgement, outlook, ranking, watched, unseen)
    before = memory.load(session)
    decision = decide(view, before)
    memory.save(session, before, decision.lasting, view.now)
    for notice in decision.notices:
        log.info("to tell", kind=notice.rule.kind, about=notice.subject, title=notice.text.title)
    for sight in decision.anew:
        book.note_stood(session, sight.job, sight.limits, view.now)
    return sum(post(session, speaker.farm, notice, view.now) for notice in decision.notices)


def _watch_jobs(
    session: Session, judgement: Judgement, outlook: Outlook
) -> tuple[list[WatchedJob], list[str]]:
    """Look at every open job; returns those seen, and the subjects that could not be seen.

    What goes wrong with one job must not blind the watch on the others.
    """
    watched, unseen = [], []
    for job in jobs.open_jobs(session):
        try:
            watched.append(_watch(session, judgement, outlook, job))
        except LookupError as error:
            log.error("a job cannot be watched", job=job.id, why=str(error))
            unseen.append(job_limits.subject(job.id))
        except Exception:
            log.exception("a job cannot be watched", job=job.id, field=job.field, setup=job.setup)
            unseen.append(job_limits.subject(job.id))
    return watched, unseen


def _watch(session: Session, judgement: Judgement, outlook: Outlook, job: Job) -> WatchedJob:
    uncertainty = outlook.wind_uncertainty_m_s
    sight = look(judgement, outlook.now_index, job, wind_uncertainty_m_s=uncertainty)
    events = jobs.events(session, job.id)
    start = book.stood(events)
    if start is None:
        book.note_stood(session, job, sight.limits, outlook.now)
        start = {r.limit: Stood(r.stand, r.headroom) for r in sight.limits}
    return WatchedJob(sight, start, book.taken_in_hand_at(events))


def decide(view: View, states: Mapping[Key, State]) -> Decision:
    """Work out what is news in a view, given what is remembered. Pure."""
    standings = list(briefs.standings(view.speaker.farm, view.now))
    for job in view.jobs:
        standings += job_limits.standings(
            view.judgement.plan,
            job.sight,
            job.start,
            states,
            taken_in_hand_at=job.taken_in_hand_at,
        )
    lasting, news = advance(standings, states, view.now)
    lasting |= {key: state for key, state in states.items() if key.subject in view.unseen}
    notices = [
        briefs.tell(view.speaker, n.standing, view.ranking, view.outlook)
        for n in news
        if n.kind == briefs.MORNING.kind and n.change is Change.RAISED
    ]
    anew = []
    for job in view.jobs:
        about = [n for n in news if n.standing.subject == job_limits.subject(job.sight.job.id)]
        notice = job_limits.tell(view.speaker, job.sight, about, lasting, view.outlook)
        if notice is not None:
            notices.append(notice)
            anew += [job.sight] if notice.rule is job_limits.ALL_CLEAR else []
    return Decision(lasting, notices, anew)
