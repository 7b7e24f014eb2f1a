"""What stands against a start: it is asked about before the job begins, and the yes is kept."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from watcher.judge.judgement import Judgement
from watcher.judge.reasons import Reason, reasons
from watcher.limits.catalogue import Limit
from watcher.limits.hours import ends
from watcher.limits.status import LimitState, Status

_HOURS = {Limit.CLOCK, Limit.BEFORE_SUNSET}
"""Limits that end at a minute which is known beforehand."""


class Against(StrEnum):
    """In which way a limit stands against a start."""

    BROKEN = "broken"
    UNKNOWN = "unknown"
    """It cannot be judged, now or for the whole of the job."""
    CLOSES = "closes"
    """An hour of the day ends before the job does."""
    STRIP = "strip"
    """A buffer leaves a strip of the field that must stay unsprayed."""


@dataclass(frozen=True)
class Obstacle:
    """One limit that stands against a start. Times are epoch seconds."""

    against: Against
    reason: Reason
    at: int
    """From when: now, or later in the job."""
    share: float = 0.0
    """Of the planned job, what is done until then."""

    @property
    def token(self) -> str:
        """What a yes names: the same for as long as the limit stands in the same way."""
        return f"{self.reason.limit.value} {self.against.value}"


Look = Callable[[str, str], Sequence[Obstacle]]
"""Tells what stands against starting on a field with a setup now."""


def obstacles(judgement: Judgement, now_index: int, field: str, setup: str) -> tuple[Obstacle, ...]:
    """Return what stands against a job begun at one index of the judged series, the worst first.

    What a forecast says will break later is no obstacle: the job's page tells it, and the watch
    warns. That it is not known how long the limits hold is one. Raises ValueError where the plan
    has no such field or setup.
    """
    plan = judgement.plan
    case = plan.fields.index(field), plan.setups.index(setup)
    now = int(judgement.series.times[now_index])
    here = reasons(judgement, *case, now_index)
    found = [Obstacle(a, r, now) for r in here if (a := _against(r)) is not None]
    if all(one.against is Against.STRIP for one in found):
        found += _closing(judgement, now_index, case)
    if not any(one.against is Against.UNKNOWN for one in found):
        found += _not_known(judgement, now_index, case)
    return tuple(found)


def _against(reason: Reason) -> Against | None:
    if reason.stand is LimitState.BROKEN:
        return Against.BROKEN
    if reason.stand is LimitState.UNKNOWN:
        return Against.UNKNOWN
    return Against.STRIP if reason.strips else None


def _closing(judgement: Judgement, now_index: int, case: tuple[int, int]) -> Iterator[Obstacle]:
    times, planned_s = judgement.series.times, float(judgement.plan.duration_s[case])
    now, closes = int(times[now_index]), float(judgement.closes[case[0], now_index])
    if not now < closes < now + planned_s:
        return
    index = min(int(np.searchsorted(times, closes)), len(times) - 1)
    then = [r for r in reasons(judgement, *case, index) if r.limit in _HOURS]
    for reason in then[:1]:
        yield Obstacle(Against.CLOSES, reason, int(closes), (closes - now) / planned_s)


def _not_known(judgement: Judgement, now_index: int, case: tuple[int, int]) -> Iterator[Obstacle]:
    times, planned_s = judgement.series.times, float(judgement.plan.duration_s[case])
    now = int(times[now_index])
    ahead = np.flatnonzero(judgement.instant[(*case, slice(now_index, None))] == Status.UNKNOWN)
    index = now_index + int(ahead[0]) if ahead.size else len(times) - 1
    at = int(times[index]) if ahead.size else int(ends(judgement.series)[-1])
    if at >= now + planned_s:
        return
    for reason in reasons(judgement, *case, index):
        if reason.stand is LimitState.UNKNOWN:
            yield Obstacle(Against.UNKNOWN, reason, at, (at - now) / planned_s)
