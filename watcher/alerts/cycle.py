"""One cycle of the alerts: what is so now, what of it is news, and who is told.

Runs inside the caller's write transaction, so that what is remembered and what is to be sent are
kept together or not at all.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

import structlog
from sqlalchemy.orm import Session

from watcher.alerts import briefs, delivery, fields, job_care, memory, sources, spraying
from watcher.alerts.conditions import Key, News, Standing, State, advance
from watcher.alerts.gather import gather
from watcher.alerts.notices import Notice
from watcher.alerts.posting import Post
from watcher.alerts.view import View
from watcher.alerts.watch_runs import fault_notice
from watcher.jobs import book
from watcher.judge.judgement import Judgement
from watcher.judge.outlook import Outlook
from watcher.judge.ranking import Ranking

log = structlog.get_logger("watcher.alerts")


class Desk(Protocol):
    """Looks after some kinds of conditions: states how they stand, and words what is news."""

    @property
    def KINDS(self) -> frozenset[str]: ...  # noqa: N802  # a constant of a module

    def standings(self, view: View, states: Mapping[Key, State], /) -> Iterable[Standing]: ...

    def tell(
        self, view: View, news: Sequence[News], lasting: Mapping[Key, State], /
    ) -> Iterable[Notice]: ...


# Urgent things first: they are written first, so they are sent first.
DESKS: tuple[Desk, ...] = (spraying, sources, delivery, fields, briefs)


@dataclass(frozen=True)
class Decision:
    """What a cycle decided: what to remember and what to tell."""

    lasting: Mapping[Key, State]
    notices: Sequence[Notice]


def decide(view: View, states: Mapping[Key, State]) -> Decision:
    """Work out what is news in a view, given what is remembered. Changes nothing itself.

    A desk with a fault keeps what it remembers and must not silence the others.
    """
    lasting: dict[Key, State] = {}
    notices: list[Notice] = []
    for desk in DESKS:
        own = {key: state for key, state in states.items() if key.of_kind in desk.KINDS}
        try:
            after, news = advance(desk.standings(view, states), own, view.now)
            after |= {key: state for key, state in own.items() if _left_alone(key, view)}
            told = list(desk.tell(view, news, after))  # all of it or nothing, as it is remembered
        except Exception as error:
            log.exception("a part of the alerts has a fault", kinds=sorted(desk.KINDS))
            after = own
            told = [fault_notice(desk is spraying, desk.KINDS, error, view.now)]
        lasting |= after
        notices += told
    return Decision(lasting, notices)


def _left_alone(key: Key, view: View) -> bool:
    return key.subject in view.unseen and key.of_kind != job_care.UNWATCHED.kind


def run(
    session: Session,
    post: Post,
    judgement: Judgement,
    outlook: Outlook,
    ranking: Ranking,
) -> int:
    """Run one cycle; returns how many messages are new in the outbox."""
    view = gather(session, post.speaker, judgement, outlook, ranking)
    before = memory.load(session)
    decision = decide(view, before)
    memory.save(session, before, decision.lasting, view.now)
    _note_all_clear(session, view, decision.notices)
    for notice in decision.notices:
        log.info("to tell", kind=notice.rule.kind, about=notice.subject, title=notice.text.title)
    return sum(post(session, notice, view.now) for notice in decision.notices)


def _note_all_clear(session: Session, view: View, notices: Sequence[Notice]) -> None:
    """How limits stand at an all-clear is what later news of the job is measured by."""
    clear = {n.subject for n in notices if n.rule is spraying.ALL_CLEAR}
    for job in view.jobs:
        if job.subject in clear:
            book.note_stood(session, job.sight.job, job.sight.limits, view.now)
