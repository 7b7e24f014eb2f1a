"""The plan of the day in words: its steps, what is left out, what another order would lose."""

from collections.abc import Mapping

from watcher.i18n.message import NOTHING, Message, say, say_n
from watcher.planning.day_plan import DayPlan, LeftOut
from watcher.planning.optimum import available

LEFT_OUT: Mapping[LeftOut, Message] = {
    LeftOut.NOT_KNOWN: say("chance not known: no forecast that covers it"),
    LeftOut.NO_HOUR: say("no hour in which it is likely enough to hold"),
    LeftOut.NO_TIME: say("the sprayers are needed elsewhere in its hours"),
    LeftOut.WISHED: say("left out by what you asked for"),
}
NO_PLAN = say("No plan: nothing is foretold for a field that is still to be sprayed.")
_SAME = 0.05
"""Expected fields that differ by less are the same."""


def expected(plan: DayPlan) -> Message:
    """Return how many fields are likely to be finished by a plan."""
    count = sum(step.chance for step in plan.steps)
    return say_n(
        "{n} field planned; expect about {count} to be finished.",
        "{n} fields planned; expect about {count} to be finished.",
        len(plan.steps),
        count=f"{count:.1f}",
    )


def how_planned() -> Message:
    """Return what the plan was made with, where it is not the best that could be had."""
    if available():
        return NOTHING
    return say("Planned without the solver (the extra 'plan'): another order may be better.")


def loses(plan: DayPlan, other: DayPlan) -> Message:
    """Return what another plan loses against one: fields first, else chances."""
    gone = sorted(set(_fields(plan)) - set(_fields(other)))
    fewer = sum(s.chance for s in plan.steps) - sum(s.chance for s in other.steps)
    if gone:
        return say("loses {fields}", fields=", ".join(gone))
    if fewer < _SAME:
        return say("nothing lost")
    return say("lower chances: {count} fewer fields finished", count=f"{fewer:.1f}")


def _fields(plan: DayPlan) -> list[str]:
    return [step.field for step in plan.steps]
