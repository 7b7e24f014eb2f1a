"""The states of conditions in the log, so that a restart neither forgets nor repeats one."""

from collections.abc import Mapping

from sqlalchemy.orm import Session

from watcher.alerts.conditions import ConditionKey, ConditionState
from watcher.store import conditions

_NOT_SO = "not_so_since"
_EVIDENCE = "evidence"
_MESSAGES = "messages"


def load(session: Session) -> dict[ConditionKey, ConditionState]:
    """Return every condition that is remembered."""
    return {
        ConditionKey(row.subject, row.kind): ConditionState(
            since=row.since,
            said_at=row.said_at,
            not_so_since=row.detail.get(_NOT_SO),
            evidence=row.detail.get(_EVIDENCE, {}),
            messages=row.detail.get(_MESSAGES, {}),
        )
        for row in conditions.raised(session)
    }


def save(
    session: Session,
    before: Mapping[ConditionKey, ConditionState],
    after: Mapping[ConditionKey, ConditionState],
    now: int,
) -> None:
    """Write what has changed from ``before`` to ``after``."""
    gone = [(key.subject, key.kind) for key in before.keys() - after.keys()]
    conditions.clear(session, gone, now)
    changed = [(key, state) for key, state in after.items() if before.get(key) != state]
    conditions.keep(session, [_raised(key, state) for key, state in changed])


def _raised(key: ConditionKey, state: ConditionState) -> conditions.Raised:
    detail = {
        _NOT_SO: state.not_so_since,
        _EVIDENCE: dict(state.evidence),
        _MESSAGES: dict(state.messages),
    }
    return conditions.Raised(key.subject, key.kind, state.since, detail, state.said_at)
