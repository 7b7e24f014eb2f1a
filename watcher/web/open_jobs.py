"""The open jobs, each in the one state that every page shows of it."""

from dataclasses import dataclass
from operator import attrgetter
from typing import TYPE_CHECKING

from sqlalchemy.orm import Session

from watcher.i18n.message import Message, Name, Sentence
from watcher.jobs import queries
from watcher.jobs.queries import JobView
from watcher.judge.job_action import Action, JobAction
from watcher.messages.job_state import ACTION_SHAPES, ACTION_WORDS, NOT_WATCHED, state_sentence
from watcher.service.job_actions import job_actions

if TYPE_CHECKING:
    from watcher.web.context import AppContext


@dataclass(frozen=True)
class OpenJobViewModel:
    """An open job in its state. ``state`` is None where the job cannot be watched."""

    number: int
    field: str
    state: JobAction | None
    sentence: Message

    @property
    def action(self) -> Action:
        """What nobody watches, nobody can see."""
        return Action.CANNOT_SEE if self.state is None else self.state.action

    @property
    def style(self) -> str:
        """Its class in the style sheet."""
        return f"a-{self.action.name.lower().replace('_', '-')}"

    @property
    def shape(self) -> str:
        return ACTION_SHAPES[self.action]

    @property
    def word(self) -> Message:
        return ACTION_WORDS[self.action]

    @property
    def title(self) -> Message:
        return Name(self.field)


def open_jobs(context: "AppContext", session: Session) -> list[OpenJobViewModel]:
    """Return every open job in its state, oldest first. Raises NothingJudgedError."""
    now = context.watch.clock.now()
    views = queries.opened(session, now)
    states = dict(context.snapshot.actions)
    if any(not _fits(states.get(view.job.id), view) for view in views):
        states = job_actions(session, context.speaker, context.snapshot)
    return [_seen(context, view, states.get(view.job.id), now) for view in views]


def open_job(context: "AppContext", session: Session, number: int) -> OpenJobViewModel:
    """Return one open job in its state."""
    return next(found for found in open_jobs(context, session) if found.number == number)


def by_field(found: list[OpenJobViewModel]) -> dict[str, OpenJobViewModel]:
    """Return open jobs by their fields."""
    return dict(zip(map(attrgetter("field"), found), found, strict=True))


def _fits(state: JobAction | None, view: JobView) -> bool:
    """Whether a state is of the job as it is: one just begun or paused was not judged so yet."""
    return state is not None and (state.action is Action.PAUSED) == (view.job.paused_at is not None)


def _seen(
    context: "AppContext", view: JobView, state: JobAction | None, now: int
) -> OpenJobViewModel:
    job = view.job
    sentence: Message = NOT_WATCHED[1]
    if state is not None:
        sentence = Sentence(state_sentence(context.speaker, job.field, state, now))
    return OpenJobViewModel(job.id, job.field, state, sentence)
