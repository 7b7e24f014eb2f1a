"""Puts together what one cycle of the alerts sees, from the log and the judgement."""

from collections.abc import Sequence

import structlog
from sqlalchemy.exc import DBAPIError
from sqlalchemy.orm import Session

from watcher.alerts.context import AlertContext, Begun, WatchedJob, job_subject
from watcher.jobs import commands
from watcher.jobs.changes import rig_at
from watcher.jobs.state import look
from watcher.jobs.wind_nowcast import learned_scale, recent_wind, wind_nowcast
from watcher.judge.chances import FarmChances
from watcher.judge.judgement import Judgement
from watcher.judge.ranking import Ranking
from watcher.judge.timeline import Timeline
from watcher.limits.application import work_rate_of
from watcher.messages.reasons import Speaker
from watcher.planning.kept_plan import PlanNow
from watcher.source_view import SourceView, look_at_sources
from watcher.store import jobs, outbox
from watcher.store.recent import RecentWeather
from watcher.store.tables import Job, JobEvent
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
    timeline: Timeline,
    ranking: Ranking,
    *,
    begun: Begun | None,
    plan: PlanNow | None = None,
    chances: FarmChances | None = None,
    sources: Sequence[SourceView] | None = None,
) -> AlertContext:
    """Look at every open job, and at every source where nobody has yet.

    What goes wrong with one job must not blind the watch on the others.
    """
    now = timeline.now
    watched: list[WatchedJob] = []
    unseen: dict[str, tuple[str, str]] = {}
    unanswered = []
    for job in jobs.open_jobs(session):
        subject = job_subject(job.id)
        unanswered += outbox.unacknowledged(session, subject, now - _ANSWERS_BACK_S)
        try:
            watched.append(_watch(session, judgement, timeline.of(job.field), job))
        except LookupError as error:
            log.error("a job cannot be watched", job=job.id, why=str(error))
            unseen[subject] = (job.field, str(error))
        except DBAPIError:
            raise  # the log's fault, not the job's: what this transaction did is gone
        except Exception as error:
            log.exception("a job cannot be watched", job=job.id)
            unseen[subject] = (job.field, f"a fault in the watch, {type(error).__name__}")
    if sources is None:
        sources = look_at_sources(RecentWeather(session, now), speaker.farm)
    return AlertContext(
        speaker=speaker,
        judgement=judgement,
        timeline=timeline,
        ranking=ranking,
        jobs=watched,
        unseen=unseen,
        sources=sources,
        acknowledged=outbox.acknowledged(session, now - _ANSWERS_BACK_S),
        unanswered=unanswered,
        begun=begun,
        plan=plan,
        chances=chances,
        out_of_reach=outbox.out_of_reach(session, now - _REACH_BACK_S, _TRIED_OFTEN),
    )


def _watch(session: Session, judgement: Judgement, timeline: Timeline, job: Job) -> WatchedJob:
    state = look(judgement, timeline.now_index, job)
    events = jobs.events(session, job.id)
    rig = rig_at(job, events, timeline.now)
    return WatchedJob(
        state=state,
        taken_in_hand_at=commands.taken_in_hand_at(events),
        tank_age_s=commands.tank_age_s(job, events, _tank_s(judgement, job), timeline.now),
        strips_agreed={} if rig is None else rig.agreed,
        nowcast=_nowcast(session, judgement, timeline, job, events),
    )


def _tank_s(judgement: Judgement, job: Job) -> float:
    """How long a full tank lasts while spraying. [s]"""
    config = judgement.plan.farm.config
    sprayer, setup = config.sprayers[job.sprayer], config.setups[job.setup]
    litres_per_m2 = setup.carrier / 10_000.0
    return float(sprayer.tank / (litres_per_m2 * work_rate_of(sprayer)))


def _nowcast(
    session: Session,
    judgement: Judgement,
    timeline: Timeline,
    job: Job,
    events: Sequence[JobEvent],
) -> Nowcast | None:
    """What the station that speaks for the wind tells of the next minutes."""
    recent = recent_wind(session, timeline)
    if recent is None:
        return None
    scale = commands.wind_strays(events, recent.source)
    if scale is None:
        scale = learned_scale(session, recent)
        commands.note_wind_strays(session, job, recent.source, scale, timeline.now)
    return wind_nowcast(judgement, timeline.now_index, job, recent, spread_scale=scale)
