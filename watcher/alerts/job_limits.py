"""The limits of the field being sprayed as conditions: broken, near, or unknown to the watch."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

from watcher.alerts.conditions import Change, Key, News, Rule, Standing, State, Urgency
from watcher.alerts.notices import Notice
from watcher.alerts.wording.job import JobPlace, all_clear, job_alert
from watcher.alerts.wording.reasons import Speaker
from watcher.alerts.wording.words import Text
from watcher.jobs.book import Stood
from watcher.jobs.watch import JobSight
from watcher.judge.outlook import Outlook
from watcher.judge.plan import Plan
from watcher.judge.reasons import Reason
from watcher.judge.status import Limit, Stand

BACK_FOR_S = 600
"""A limit must be back this long before it counts: one averaging period of the sustained wind."""
_SEEN_FOR_S = 60
_BACK_ROOM = 0.05
"""Least share of a limit's scale it must be back by, so that it does not flap round its bound."""
_WORSE_BY = 0.05
"""Share of a limit's scale by which a limit near its bound from the start must have got worse."""

# Limits that stand by a rule: they have no distance to a bound to be back by.
_BY_RULE = {Limit.INVERSION, Limit.NEIGHBOUR, Limit.DROPLETS_IN_WIND}

BROKEN = Rule(
    "limit broken", "job", Urgency.NOW, 2 * 3600,
    clear_after_s=BACK_FOR_S, repeat_after_s=1800, escalates=True,
)  # fmt: skip
NEAR = Rule("limit near", "job", Urgency.NOW, 1800, clear_after_s=BACK_FOR_S)
BLIND = Rule(
    "limit unknown", "job", Urgency.NOW, 2 * 3600,
    clear_after_s=_SEEN_FOR_S, repeat_after_s=1800, escalates=True,
)  # fmt: skip
ALL_CLEAR = Rule("all clear", "job", Urgency.NOW, 3600)
_GRAVITY = {NEAR.kind: 0, BLIND.kind: 1, BROKEN.kind: 2}


def subject(job_id: int) -> str:
    """Return what a job is called in the conditions and the outbox."""
    return f"job:{job_id}"


def standings(
    plan: Plan,
    sight: JobSight,
    start: Mapping[Limit, Stood],
    states: Mapping[Key, State],
    *,
    taken_in_hand_at: int,
) -> Iterator[Standing]:
    """State for every limit of a job whether it is broken, near and unknown.

    ``taken_in_hand_at`` is when the grower last started it, went on with it or changed its setup:
    what was told before is told again if it still stands. While a job is paused nothing new is
    told: nobody is spraying.
    """
    for reason in sight.limits:
        for rule, holds in _of_limit(plan, sight, reason, start.get(reason.limit), states):
            standing = Standing(
                rule, subject(sight.job.id), holds, reason.limit, untold_before=taken_in_hand_at
            )
            yield standing if sight.job.state == "running" else _while_paused(standing, states)


def _while_paused(standing: Standing, states: Mapping[Key, State]) -> Standing:
    if standing.holds is not True:
        return standing
    return replace(standing, holds=None if standing.key in states else False)


def _of_limit(
    plan: Plan,
    sight: JobSight,
    reason: Reason,
    start: Stood | None,
    states: Mapping[Key, State],
) -> tuple[tuple[Rule, bool | None], ...]:
    name = subject(sight.job.id)
    told_broken = Standing(BROKEN, name, None, reason.limit).key in states
    told_near = Standing(NEAR, name, None, reason.limit).key in states
    return (
        (BROKEN, _broken(reason, told_broken)),
        (NEAR, None if told_broken else _near(plan, sight, reason, start, told_near)),
        (BLIND, reason.stand is Stand.UNKNOWN),
    )


def _broken(reason: Reason, told: bool) -> bool | None:
    if reason.stand is Stand.UNKNOWN:
        return None
    if reason.stand is Stand.BROKEN:
        return True
    just_inside = reason.limit not in _BY_RULE and reason.headroom < _BACK_ROOM
    return None if told and just_inside else False


def _near(
    plan: Plan, sight: JobSight, reason: Reason, start: Stood | None, told: bool
) -> bool | None:
    if reason.stand in {Stand.UNKNOWN, Stand.BROKEN}:
        return None if told else False
    if reason.stand is Stand.HOLDS or not _close(plan, sight, reason):
        return False
    if told or start is None or start.stand is not Stand.NEAR:
        return True
    return reason.headroom < start.headroom - _WORSE_BY


def _close(plan: Plan, sight: JobSight, reason: Reason) -> bool:
    """Whether little room is left. In the upper part of its band the wind may have plenty."""
    if reason.limit not in plan.bounds:
        return True
    margin = float(plan.bounds[reason.limit].margin[plan.fields.index(sight.job.field)])
    return reason.headroom < max(margin, sight.wind_margin if reason.limit is Limit.WIND else 0.0)


def tell(
    speaker: Speaker,
    sight: JobSight,
    news: Sequence[News],
    lasting: Mapping[Key, State],
    outlook: Outlook,
) -> Notice | None:
    """Put all that is new about a job's limits into one notice; None when it needs no words."""
    worse = [n for n in news if n.change is not Change.CLEARED]
    left = _still_told(sight, lasting)
    if worse:
        changed = _reasons(sight, worse)
        others = [r for _, r in left if r not in changed]
        text = job_alert(speaker, _place(sight), changed, others, outlook=outlook)
        return _notice(_gravest(worse).standing.rule, sight, worse, text, outlook.now)
    if not news or any(_GRAVITY[kind] >= _GRAVITY[_gravest(news).kind] for kind, _ in left):
        return None
    text = all_clear(
        speaker,
        _place(sight),
        _reasons(sight, news),
        [r for _, r in left],
        held_for_s=min(outlook.now - (n.state.not_so_since or outlook.now) for n in news),
        was_blind=_gravest(news).kind == BLIND.kind,
        outlook=outlook,
    )
    return _notice(ALL_CLEAR, sight, news, text, outlook.now)


def _gravest(news: Sequence[News]) -> News:
    return max(news, key=lambda n: _GRAVITY[n.kind])


def _still_told(sight: JobSight, lasting: Mapping[Key, State]) -> list[tuple[str, Reason]]:
    """The limits of a job that were told and are not yet over, with the kind they were told as."""
    found = []
    for reason in sight.limits:
        for rule in (BROKEN, BLIND, NEAR):
            state = lasting.get(Standing(rule, subject(sight.job.id), None, reason.limit).key)
            if state is not None and state.said_at is not None:
                found.append((rule.kind, reason))
    return found


def _reasons(sight: JobSight, news: Sequence[News]) -> list[Reason]:
    limits = {n.standing.about for n in news}
    return [r for r in sight.limits if r.limit in limits]


def _place(sight: JobSight) -> JobPlace:
    return JobPlace(
        field=sight.job.field,
        setup=sight.job.setup,
        left_s=max(sight.left_s, 0.0),
        holds_again_at=sight.holds_again_at,
        breaks_at=sight.breaks_at,
        other_setup=sight.other_setup,
    )


def _notice(rule: Rule, sight: JobSight, news: Sequence[News], text: Text, now: int) -> Notice:
    name = subject(sight.job.id)
    what = "+".join(sorted(n.standing.key.kind for n in news))
    return Notice(rule, name, f"{name}/{rule.kind}/{what}/{now}", text, now)
