"""Recipients who cannot be reached: the others hear of it, and they themselves once they can be."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace

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
from watcher.alerts.context import AlertContext
from watcher.farm.models import Topic
from watcher.messages.watch import unreachable

UNREACHABLE = Rule(
    "recipient unreachable",
    Topic.SOURCES,
    Urgency.SOON,
    expires_after_s=6 * 3600,
    clear_after_s=600,
    repeat_after_s=24 * 3600,
)
UNREACHABLE_IN_JOB = replace(
    UNREACHABLE,
    topic=Topic.JOB,
    urgency=Urgency.NOW,
    expires_after_s=3600,
    repeat_after_s=1800,
)
"""Somebody is spraying, and alerts do not reach one who should hear them."""
KINDS = frozenset({UNREACHABLE.kind})


def evaluate(
    context: AlertContext, _states: Mapping[ConditionKey, ConditionState]
) -> Iterator[Evaluation]:
    """State for every recipient whether messages to them do not arrive.

    What was said before a job began is said anew: it matters more now.
    """
    running = [job.state.job for job in context.jobs if not job.paused]
    began_at = max((job.started_at for job in running), default=0)
    for name, recipient in context.speaker.farm.config.recipients.items():
        in_job = bool(running) and Topic.JOB in recipient.hears
        yield Evaluation(
            UNREACHABLE_IN_JOB if in_job else UNREACHABLE,
            f"recipient:{name}",
            name in context.out_of_reach,
            unsaid_before=began_at if in_job else 0,
        )


def tell(
    context: AlertContext,
    transitions: Sequence[Transition],
    _lasting: Mapping[ConditionKey, ConditionState],
) -> Iterable[Alert]:
    """One alert for each that cannot be reached."""
    for item in transitions:
        if item.change is not TransitionKind.CLEARED:
            name = item.evaluation.subject.removeprefix("recipient:")
            text = unreachable(name, context.out_of_reach[name])
            key = f"{item.evaluation.subject}/{item.kind}/{context.now}"
            says, rule = (item.evaluation.key,), item.evaluation.rule
            yield Alert(rule, item.evaluation.subject, key, text, context.now, says=says)
