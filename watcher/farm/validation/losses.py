"""Estimates of lost control whose low one is over the high one."""

from collections.abc import Iterator

from watcher.farm.problems import Problem
from watcher.farm.read_file import Draft
from watcher.farm.validation_messages import dotted
from watcher.i18n.message import say


def loss_problems(draft: Draft) -> Iterator[Problem]:
    """Yield the estimates whose two ends are swapped."""
    for of, loss in draft.config.judging.loss_by_mode.items():
        for key in ("much_water", "little_water"):
            low, high = getattr(loss, key)
            if low > high:
                steps = ("judging", "loss_by_mode", of.value, key)
                wrong = say("the low estimate is over the high one")
                yield draft.problem(dotted(steps), wrong, say("swap the two"))
