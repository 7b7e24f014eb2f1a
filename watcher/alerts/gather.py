"""Puts together what one cycle of the alerts sees, from the log and the judgement."""

import structlog
from sqlalchemy.orm import Session

from watcher.alerts.source_sight import look_at_sources
from watcher.alerts.view import View, WatchedJob, job_subject
from watcher.alerts.wording.reasons import Speaker
from watcher.jobs import book
from watcher.jobs.book import Stood
from watcher.jobs.nearing import LOOKS_BACK_S, nearing
from watcher.jobs.watch import look
from watcher.judge.application import work_rate_of
from watcher.judge.judgement import Judgement
from watcher.judge.outlook import Outlook
from watcher.judge.ranking import Ranking
from watcher.store import jobs, outbox, weather
from watcher.store.tables import Job
from watcher.weather.nowcast import Nowcast

log = structlog.get_logger("watcher.alerts")

_ANSWERS_BACK_S = 3 * 3600
_REACH_BACK_S = 24 * 3600
_TRIED_OFTEN = 4
"""Failures in a row, some twenty seconds, that are more than a hiccup of a network."""


def gather(
    session: Session,
    speaker: Speaker,
    judgement: Judgement,
    outlook: Outlook,
    ranking: Ranking,
) -> View:
    """Look at every open job and every source.

    What goes wrong with one job must not blind the watch on the others.
    """
    now = outlook.now
    watched: list[WatchedJob] = []
    unseen: dict[str, tuple[str, str]] = {}
    unanswered = []
    for job in jobs.open_jobs(session):
        subject = job_subject(job.id)
        unanswered += outbox.unacknowledged(session, subject, now - _ANSWERS_BACK_S)
        try:
            watched.append(_watch(session, judgement, outlook.of(job.field), job))
        except LookupError as error:
            log.error("a job cannot be watched", job=job.id, why=str(error))
            unseen[subject] = (job.field, str(error))
        except Exception as error:
            log.exception("a job cannot be watched", job=job.id)
            unseen[subject] = (job.field, f"a fault in the watch, {type(error).__name__}")
    return View(
        speaker=speaker,
        judgement=judgement,
        outlook=outlook,
        ranking=ranking,
        jobs=watched,
        unseen=unseen,
        sources=look_at_sources(session, speaker.farm, outlook),
        acknowledged=outbox.acknowledged(session, now - _ANSWERS_BACK_S),
        unanswered=unanswered,
        out_of_reach=outbox.out_of_reach(session, now - _REACH_BACK_S, _TRIED_OFTEN),
    )


def _watch(session: Session, judgement: Judgement, outlook: Outlook, job: Job) -> WatchedJob:
    now, uncertainty = outlook.now, outlook.wind_uncertainty_m_s
    sight = look(judgement, outlook.now_index, job, wind_uncertainty_m_s=uncertainty)
    events = jobs.events(session, job.id)
    start = book.stood(events)
    if start is None:
        book.note_stood(session, job, sight.limits, now)
        start = {r.limit: Stood(r.stand, r.headroom) for r in sight.limits}
    return WatchedJob(
        sight=sight,
        start=start,
        taken_in_hand_at=book.taken_in_hand_at(events),
        tank_age_s=book.tank_age_s(job, events, _tank_s(judgement, job), now),
        nowcast=_nowcast(session, judgement, outlook, job),
    )


def _tank_s(judgement: Judgement, job: Job) -> float:
    """How long a full tank lasts while spraying. [s]"""
    told = judgement.plan.farm.told
    sprayer, setup = told.sprayers[job.sprayer], told.setups[job.setup]
    litres_per_m2 = setup.carrier / 10_000.0
    return float(sprayer.tank / (litres_per_m2 * work_rate_of(sprayer)))


def _nowcast(session: Session, judgement: Judgement, outlook: Outlook, job: Job) -> Nowcast | None:
    """What the station that speaks for the wind tells of the next minutes."""
    wind = outlook.spoken["wind_m_s"]
    if wind.source is None or not wind.measured:
        return None
    now = outlook.now
    recent = weather.observations(session, wind.source, now - LOOKS_BACK_S, now + 1)
    return nearing(judgement.plan, job, recent.usable())
