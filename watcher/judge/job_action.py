"""What whoever sprays a field should do now: one state a job, which every surface says."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from watcher.judge.reasons import Reason


class Action(StrEnum):
    """What to do with a running job, in the trade's words."""

    GO_ON = "go on"
    GET_READY = "get ready"
    """Something is coming: finish the pass and be ready to stop."""
    STOP = "stop"
    CANNOT_SEE = "cannot see"
    """Nothing is broken as far as is known, but not all of it is known: measure, or stop."""
    WAIT = "wait"
    """What called for the stop is over, but not yet for long enough."""
    PAUSED = "paused"


@dataclass(frozen=True)
class JobAction:
    """One job's state. Times are epoch seconds."""

    action: Action
    since: int
    causes: Sequence[Reason] = ()
    """The limits that stand, the worst first: broken ones, then those nobody can see."""
    signs: Sequence[str] = ()
    """The kinds of warnings that stand, the most urgent first."""
    steady_at: int | None = None
    """While one waits: when it has been back for long enough, if it stays so."""
    steady_s: float = 0.0
    """How long it must be back. [s]"""
    stops_lately: int = 0
    """How many stops began within the last hour."""

    @property
    def comes_and_goes(self) -> bool:
        return self.stops_lately > 1
