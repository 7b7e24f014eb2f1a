"""The steps of a spraying job, and what a job is after them.

A job is what its steps make of it in the order in which they were taken: a step that comes in
late, from a phone that had no network, counts from when it was tapped. What no longer applies
then changes nothing, and what stands instead is said.
"""

import dataclasses
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

from watcher.store.tables import Job, JobState, JobStep


class StepName(StrEnum):
    """Everything that can be done to a job, the same on a page, by the API and as a command."""

    START = "start"
    PAUSE = "pause"
    RESUME = "resume"
    SETUP = "setup"
    FINISH = "finish"
    ABANDON = "abandon"
    SEEN = "seen"
    READING = "reading"
    """Something was measured by hand at boom height."""
    CHANGE = "change"
    """Something was changed on the sprayer or its tank, or a strip is left."""


EVENT_OF = {
    StepName.START: "started",
    StepName.PAUSE: "paused",
    StepName.RESUME: "resumed",
    StepName.SETUP: "setup changed",
    StepName.FINISH: "finished",
    StepName.ABANDON: "abandoned",
    StepName.READING: "measured by hand",
    StepName.CHANGE: "rig changed",
}
"""What the job log says of a step that was taken."""
_LEADS_TO: dict[StepName, JobState] = {
    StepName.START: "running",
    StepName.PAUSE: "paused",
    StepName.RESUME: "running",
    StepName.FINISH: "finished",
    StepName.ABANDON: "abandoned",
}
_OF_NO_STATE = {StepName.SETUP, StepName.READING, StepName.CHANGE}
"""What leaves a job running or paused as it was."""
_ENDED = {"finished", "abandoned"}


@dataclass(frozen=True)
class StepRequest:
    """A step as somebody asks for it."""

    name: StepName
    by: str
    """Who asks."""
    job: int | None = None
    """Its number; None to start one."""
    field: str = ""
    setup: str = ""
    note: str = ""
    confirm: tuple[str, ...] = ()
    """What stands against a start, as it was asked about, and is answered with a plain yes."""
    done: str = ""
    """How much of the field was sprayed, as written: a share or an area; empty for all of it."""
    measured: Mapping[str, str] = dataclasses.field(default_factory=dict)
    """What was measured by hand, as written, by the names of ``by_hand.MEASURED``."""
    changed: Mapping[str, str] = dataclasses.field(default_factory=dict)
    """What was changed, as written, by the names of ``changes.CHANGED``."""
    ref: str = ""
    """The id of the message that was seen."""
    key: str | None = None
    """The same key from the same one is the same step, however often it comes."""
    at: int | None = None
    """When it was tapped, where that is not now. [epoch s]"""

    @property
    def asked(self) -> dict[str, str]:
        """What it asks for, without what is empty and without its time."""
        asked = {"field": self.field, "setup": self.setup, "note": self.note, "done": self.done}
        asked |= {**self.measured, **self.changed}
        asked["confirm"] = ", ".join(sorted(self.confirm))
        return {name: text for name, text in asked.items() if text}


class StepOutcome(StrEnum):
    """What became of a step."""

    DONE = "done"
    ALREADY = "already"
    """The job was so before: what the step asks for is so."""
    REFUSED = "refused"
    ASKS = "asks"
    """Something stands against it: it is taken once that is answered with a plain yes."""


@dataclass(frozen=True)
class Progress:
    """A job after its steps. Durations in seconds, times in epoch seconds."""

    setup: str
    started_at: int
    planned_s: float
    state: JobState = "running"
    paused_s: int = 0
    paused_at: int | None = None
    ended_at: int | None = None
    notes: tuple[str, ...] = ()
    done_share: float | None = None
    """How much of the field was sprayed; None where nobody said."""


def sprayed_s(job: Job | Progress, now: int) -> float:
    """How long a job has been spraying, its pauses taken out. [s]"""
    until = now if job.paused_at is None else job.paused_at
    return float(max(0, until - job.started_at - job.paused_s))


@dataclass(frozen=True)
class Judged:
    """A step and what became of it. ``stands`` is the step that made the job what it was then."""

    step: JobStep
    outcome: StepOutcome
    stands: JobStep
    setup_before: str


def in_order(steps: Iterable[JobStep]) -> list[JobStep]:
    """Return steps in the order in which they were taken; a job's start comes first."""
    return sorted(steps, key=lambda s: (s.at, s.name != StepName.START, s.id))


def share_begun(steps: Iterable[JobStep]) -> float | None:
    """Return the share of its field a job was begun for; None: all of it, as far as is known."""
    first = next(iter(in_order(steps)), None)
    return None if first is None else first.detail.get("left")


def fold(steps: Iterable[JobStep]) -> tuple[Progress, Sequence[Judged]]:
    """Return what a job is after its steps, and what became of each.

    ``steps`` are all those of one job, in any order; the earliest start is the one that counts.
    """
    first, *later = in_order(steps)
    detail = first.detail
    now = Progress(detail["setup"], first.at, detail["planned_s"])
    stands = first
    judged = [Judged(first, StepOutcome.DONE, first, now.setup)]
    for step in later:
        outcome = _outcome(now, step)
        judged.append(Judged(step, outcome, stands, now.setup))
        if outcome is StepOutcome.DONE:
            now = _after(now, step)
            stands = step if step.name not in _OF_NO_STATE else stands
    return now, judged


def _outcome(now: Progress, step: JobStep) -> StepOutcome:
    if step.name == StepName.START:
        return StepOutcome.ALREADY  # it is of the same job only where it asks for the same
    if step.name in {StepName.READING, StepName.CHANGE}:
        return StepOutcome.REFUSED if now.state in _ENDED else StepOutcome.DONE
    if step.name == StepName.SETUP:
        if now.state in _ENDED:
            return StepOutcome.REFUSED
        return StepOutcome.ALREADY if now.setup == step.detail["setup"] else StepOutcome.DONE
    if now.state == _LEADS_TO[StepName(step.name)]:
        return StepOutcome.ALREADY
    return StepOutcome.REFUSED if now.state in _ENDED else StepOutcome.DONE


def _after(now: Progress, step: JobStep) -> Progress:
    match step.name:
        case StepName.READING:
            return now
        case StepName.PAUSE:
            return replace(now, state="paused", paused_at=step.at)
        case StepName.RESUME:
            return replace(_going_on(now, step.at), state="running")
        case StepName.SETUP | StepName.CHANGE:
            now = replace(now, setup=step.detail.get("setup", now.setup))
            whole_s = step.detail.get("planned_s")
            if whole_s is None:  # it takes as long as before, or it was not kept
                return now
            done_s = sprayed_s(now, step.at)
            left = max(0.0, 1.0 - done_s / now.planned_s) if now.planned_s else 0.0
            return replace(now, planned_s=done_s + left * whole_s)
    return replace(
        _going_on(now, step.at),
        state=_LEADS_TO[StepName(step.name)],
        ended_at=step.at,
        notes=(step.detail["note"],) if step.detail.get("note") else (),
        done_share=step.detail.get("done_share"),
    )


def _going_on(now: Progress, at: int) -> Progress:
    if now.paused_at is None:
        return now
    return replace(now, paused_s=now.paused_s + max(0, at - now.paused_at), paused_at=None)
