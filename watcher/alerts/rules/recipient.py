"""Recipients who cannot be reached: the others hear of it, and they themselves once they can be."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace

from watcher.alerts.alert import Alert
from watcher.alerts.conditions import (
    ConditionKey,
    Evaluation,
    News,
    Rule,
    State,
    Transition,
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


def standings(view: AlertContext, _states: Mapping[ConditionKey, State]) -> Iterator[Evaluation]:
    """State for every recipient whether messages to them do not arrive.

    What was said before a job began is said anew: it matters more now.
    """
    running = [job.sight.job for job in view.jobs if not job.paused]
    began_at = max((job.started_at for job in running), default=0)
    for name, recipient in view.speaker.farm.config.recipients.items():
        in_job = bool(running) and Topic.JOB in recipient.hears
        yield Evaluation(
            UNREACHABLE_IN_JOB if in_job else UNREACHABLE,
            f"recipient:{name}",
            name in view.out_of_reach,
            untold_before=began_at if in_job else 0,
        )


def tell(
    view: AlertContext, news: Sequence[Transition], _lasting: Mapping[ConditionKey, State]
) -> Iterable[Alert]:
    """One notice for each that cannot be reached."""
    for item in news:
        if item.change is not News.CLEARED:
            name = item.standing.subject.removeprefix("recipient:")
            text = unreachable(name, view.out_of_reach[name])
            key = f"{item.standing.subject}/{item.kind}/{view.now}"
            says, rule = (item.standing.key,), item.standing.rule
            yield Alert(rule, item.standing.subject, key, text, view.now, says=says)
