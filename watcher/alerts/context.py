"""Everything one cycle of the alerts sees, put together from the log and the judgement."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from watcher.jobs.state import JobState
from watcher.judge.chances import FarmChances
from watcher.judge.judgement import Judgement
from watcher.judge.ranking import Ranking
from watcher.judge.timeline import Timeline
from watcher.messages.reasons import Speaker
from watcher.planning.kept_plan import PlanNow
from watcher.source_view import SourceView
from watcher.store.tables import Outgoing
from watcher.weather.nowcast import Nowcast

_FIRST_ANSWERS_S = 60
"""How long the sources' first answers are waited for at most. [s]"""


@dataclass(frozen=True)
class WatchedJob:
    """An open job, and when the grower last took it in hand."""

    state: JobState
    taken_in_hand_at: int
    tank_age_s: float
    """How long what is in the tank has been going round."""
    strips_agreed: Mapping[str, float] = field(default_factory=dict)
    """How deep the strips are that were agreed to at the start, by neighbour. [m]"""
    nowcast: Nowcast | None = None
    """What the last minutes of the wind tell; None where nobody measures often enough."""

    @property
    def subject(self) -> str:
        """What the job is called in the conditions and the outbox."""
        return job_subject(self.state.job.id)

    @property
    def paused(self) -> bool:
        """Whether nobody is spraying just now."""
        return self.state.job.state == "paused"


def job_subject(job_id: int) -> str:
    """Return what a job is called in the conditions and the outbox."""
    return f"job:{job_id}"


@dataclass(frozen=True)
class Begun:
    """When the watch began. What is sent once a day waits for the sources' first answers."""

    at: int
    first: bool
    """Whether it never ran before."""

    def just(self, now: int) -> bool:
        """Whether that was so short ago that first answers are still waited for."""
        return 0 <= now - self.at < _FIRST_ANSWERS_S


@dataclass(frozen=True)
class AlertContext:
    """Everything one cycle sees."""

    speaker: Speaker
    judgement: Judgement
    timeline: Timeline
    ranking: Ranking
    jobs: Sequence[WatchedJob] = ()
    unseen: Mapping[str, tuple[str, str]] = field(default_factory=dict)
    """Jobs that could not be looked at: field and why. What is remembered of them stays."""
    sources: Sequence[SourceView] = ()
    acknowledged: Mapping[str, int] = field(default_factory=dict)
    """When something was last acknowledged about each subject. [epoch seconds]"""
    unanswered: Sequence[Outgoing] = ()
    """Mid-job alerts of the last hours that nobody has acknowledged."""
    out_of_reach: Mapping[str, str] = field(default_factory=dict)
    """Recipients to whom messages do not arrive, and why."""

    begun: Begun | None = None
    plan: PlanNow | None = None
    """The plan of the day; None where there is none."""
    chances: FarmChances | None = None
    """How likely jobs hold, as last worked out; None where that is not known."""

    @property
    def silent(self) -> tuple[str, ...]:
        """The sources that have said nothing that could be relied on now."""
        return tuple(source.name for source in self.sources if source.silent)

    @property
    def now(self) -> int:
        return self.timeline.now
