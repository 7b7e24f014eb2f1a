"""What a change of the farm comes to: how each field stands by either judgement."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from watcher.judge.judgement import Judgement
from watcher.judge.ranking import Ranking
from watcher.limits.status import Status

LOOKS_AHEAD_S = 48 * 3600
_HOUR_S = 3600


@dataclass(frozen=True)
class FieldEffect:
    """One field with the farm as it is and as it would be.

    A status is None where a farm has no such field, or leaves it out.
    """

    field: str
    before: Status | None
    after: Status | None
    hours_before: float | None
    """Hours of the next two days in which it may be sprayed; None where nothing is foretold."""
    hours_after: float | None


@dataclass(frozen=True)
class Effect:
    """What a change comes to."""

    fields: tuple[FieldEffect, ...]
    first_before: str | None
    """The field that comes first; None where none is open."""
    first_after: str | None


@dataclass(frozen=True)
class JudgedFarm:
    """A farm judged at a moment. ``now`` is epoch seconds, ``now_index`` of each field's series."""

    judgement: Judgement
    ranking: Ranking
    now: int
    now_index: dict[str, int]


def effect(old: JudgedFarm, new: JudgedFarm) -> Effect:
    """Compare how two farms are judged at one moment."""
    return Effect(tuple(_fields(old, new)), _first(old), _first(new))


def _fields(old: JudgedFarm, new: JudgedFarm) -> Iterator[FieldEffect]:
    for field in dict.fromkeys([*old.judgement.plan.fields, *new.judgement.plan.fields]):
        (before, hours_before), (after, hours_after) = _stands(old, field), _stands(new, field)
        yield FieldEffect(field, before, after, hours_before, hours_after)


def _stands(judged: JudgedFarm, field: str) -> tuple[Status | None, float | None]:
    seen = judged.ranking.every.get(field)
    if seen is None or seen in judged.ranking.done:
        return None, None
    index = judged.judgement.plan.fields.index(field)
    judgement = judged.judgement.of_field(index)
    times = judgement.series.times
    first, last = judged.now_index[field], int(np.searchsorted(times, judged.now + LOOKS_AHEAD_S))
    best, starts = judgement.best[index, first:last], times[first:last]
    if not (best != Status.UNKNOWN).any():
        return seen.status, None
    lasts_s = np.diff(np.append(starts, starts[-1] + _HOUR_S))
    return seen.status, float(lasts_s[best >= Status.MARGINAL].sum() / _HOUR_S)


def _first(judged: JudgedFarm) -> str | None:
    return judged.ranking.spray[0].field if judged.ranking.spray else None
