"""What to do with each open job, for whoever asks between two judgements."""

import math

from sqlalchemy.orm import Session

from watcher.alerts import condition_states
from watcher.alerts.context import AlertContext, WatchedJob
from watcher.alerts.rules import job as job_rules
from watcher.jobs import commands
from watcher.jobs.state import look
from watcher.judge.job_action import JobAction
from watcher.messages.reasons import Speaker
from watcher.service.snapshot import Snapshot
from watcher.store import jobs


def job_actions(session: Session, speaker: Speaker, snapshot: Snapshot) -> dict[int, JobAction]:
    """Return what to do with each job that can be watched, by its number.

    By what the log remembers of their conditions: the same that the alerts tell. Writes nothing.
    """
    watched = []
    for job in jobs.open_jobs(session):
        timeline = snapshot.timeline.of(job.field)
        try:
            state = look(snapshot.judgement, timeline.now_index, job)
        except LookupError:
            continue  # its field or setup is no longer in the farm file
        begun = commands.taken_in_hand_at(jobs.events(session, job.id))
        watched.append(WatchedJob(state, begun, tank_age_s=math.nan))  # no state depends on it
    context = AlertContext(
        speaker, snapshot.judgement, snapshot.timeline, snapshot.ranking, watched
    )
    return job_rules.actions(context, condition_states.load(session))
