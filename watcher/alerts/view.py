"""Everything one cycle of the alerts sees, put together from the log and the judgement."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from watcher.alerts.source_sight import SourceSight
from watcher.alerts.wording.reasons import Speaker
from watcher.jobs.book import Stood
from watcher.jobs.watch import JobSight
from watcher.judge.judgement import Judgement
from watcher.judge.outlook import Outlook
from watcher.judge.ranking import Ranking
from watcher.judge.status import Limit
from watcher.store.tables import Message
from watcher.weather.nowcast import Nowcast


@dataclass(frozen=True)
class WatchedJob:
    """An open job, and how its limits stood when the grower last took it in hand."""

    sight: JobSight
    start: Mapping[Limit, Stood]
    taken_in_hand_at: int
    tank_age_s: float
    """How long what is in the tank has been going round."""
    nowcast: Nowcast | None = None
    """What the last minutes of the wind tell; None where nobody measures often enough."""

    @property
    def subject(self) -> str:
        """What the job is called in the conditions and the outbox."""
        return job_subject(self.sight.job.id)

    @property
    def paused(self) -> bool:
        """Whether nobody is spraying just now."""
        return self.sight.job.state == "paused"


def job_subject(job_id: int) -> str:
    """Return what a job is called in the conditions and the outbox."""
    return f"job:{job_id}"


@dataclass(frozen=True)
class View:
    """Everything one cycle sees."""

    speaker: Speaker
    judgement: Judgement
    outlook: Outlook
    ranking: Ranking
    jobs: Sequence[WatchedJob] = ()
    unseen: Mapping[str, tuple[str, str]] = field(default_factory=dict)
    """Jobs that could not be looked at: field and why. What is remembered of them stays."""
    sources: Sequence[SourceSight] = ()
    acknowledged: Mapping[str, int] = field(default_factory=dict)
    """When something was last acknowledged about each subject. [epoch seconds]"""
    unanswered: Sequence[Message] = ()
    """Mid-job alerts of the last hours that nobody has acknowledged."""
    out_of_reach: Mapping[str, str] = field(default_factory=dict)
    """Recipients to whom messages do not arrive, and why."""

    @property
    def now(self) -> int:
        return self.outlook.now
