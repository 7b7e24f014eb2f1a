"""Strips that labels and laws ask for while a job runs: a wind that turns asks for others.

What was agreed to at the start, or is left already, is not said again.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from math import isfinite

from watcher.alerts.alert import Alert
from watcher.alerts.conditions import (
    ConditionKey,
    ConditionState,
    Evaluation,
    Rule,
    Transition,
    TransitionKind,
    Urgency,
)
from watcher.alerts.context import AlertContext, WatchedJob
from watcher.farm.models import Topic
from watcher.limits.buffers import LeftStrip
from watcher.limits.catalogue import Limit
from watcher.limits.status import LimitState
from watcher.messages.job import strips_turned

_STEADY_S, _GONE_S = 120, 20 * 60
_DEEPER_M = 1.0
"""By so much a strip must be deeper than what was agreed to, to be another one."""
STRIP = Rule(
    "strip to leave",
    Topic.JOB,
    Urgency.NOW,
    2 * 3600,
    raise_after_s=_STEADY_S,
    clear_after_s=_GONE_S,
)
KINDS = frozenset({STRIP.kind})


def evaluate(
    context: AlertContext, states: Mapping[ConditionKey, ConditionState]
) -> Iterator[Evaluation]:
    """State beside which neighbours a strip is to be left that nobody has agreed to yet."""
    for job in context.jobs:
        prefix = f"{STRIP.kind}: "
        said = {k.kind.removeprefix(prefix) for k in states if k.subject == job.subject}
        found = _asked(job)
        for name in sorted(said | {*(found or ())}):
            holds = None if found is None or job.paused else name in found
            yield Evaluation(STRIP, job.subject, holds, name)


def _asked(job: WatchedJob) -> dict[str, LeftStrip] | None:
    """The strips that were not agreed to, by neighbour; None where that cannot be known."""
    reason = job.state.by_limit.get(Limit.NO_SPRAY)
    if reason is None:
        return {}
    if reason.stand is LimitState.UNKNOWN:
        return None
    return {
        strip.neighbour: strip
        for strip in reason.strips
        # One that leaves nothing of the field is a stop, and is said as one.
        if isfinite(strip.depth_m)
        and strip.depth_m > job.strips_agreed.get(strip.neighbour, 0.0) + _DEEPER_M
    }


def tell(
    context: AlertContext,
    transitions: Sequence[Transition],
    _lasting: Mapping[ConditionKey, ConditionState],
) -> Iterable[Alert]:
    """Put what is new into words, all of a job in one message."""
    for job in context.jobs:
        of_job = [item for item in transitions if item.evaluation.subject == job.subject]
        found = _asked(job) or {}
        new = [found[i.evaluation.about] for i in of_job if i.evaluation.about in found]
        over = [i.evaluation.about for i in of_job if i.change is TransitionKind.CLEARED]
        if not new and not over:
            continue
        text = strips_turned(context.speaker, job.state.job.field, new, over)
        key = f"{job.subject}/{STRIP.kind}/{context.now}"
        says = tuple(i.evaluation.key for i in of_job if i.change is not TransitionKind.CLEARED)
        yield Alert(STRIP, job.subject, key, text, context.now, says=says)
