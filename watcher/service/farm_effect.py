"""What a change of the farm would come to now and in the next two days: judged with both farms."""

from sqlalchemy.orm import Session

from watcher.judge.farm_effect import Effect, JudgedFarm, effect
from watcher.limits.farm_arrays import FarmArrays
from watcher.service.snapshot import take


def effect_of_change(
    session: Session, before: FarmArrays, after: FarmArrays, now: int, *, time_known: bool
) -> Effect:
    """Judge both farms by what the log knows at this moment. ``now`` is epoch seconds."""
    old, new = (_judged(session, plan, now, time_known=time_known) for plan in (before, after))
    return effect(old, new)


def _judged(session: Session, plan: FarmArrays, now: int, *, time_known: bool) -> JudgedFarm:
    snapshot = take(session, plan, now, time_known=time_known)
    indices = {field: snapshot.timeline.of(field).now_index for field in plan.fields}
    return JudgedFarm(snapshot.judgement, snapshot.ranking, now, indices)
