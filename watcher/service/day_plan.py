"""The plan of the day as the watch keeps it: made beside the judging, in the log, read by all.

Whatever is shown of it, by pages, messages, programs and commands, is read from the log, so that
there is one. It is made anew on a new forecast, a step of a job, new wishes, a farm file, when a
field whose turn it is is not open, and from time to time.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, time, timedelta
from functools import cached_property
from typing import TYPE_CHECKING, Any

import structlog
from sqlalchemy.orm import Session

from watcher.farm import Farm
from watcher.jobs import queries
from watcher.jobs.queries import JobView
from watcher.jobs.recently_sprayed import recently_sprayed
from watcher.judge.chances import FarmChances
from watcher.judge.ranking import FieldNow, Ranking
from watcher.limits.status import Status
from watcher.messages.wall_clock import wall_instant
from watcher.planning.day_plan import PASSES, DayPlan, NotPlanned, Planner, WishError, Wishes, loss
from watcher.planning.kept_plan import (
    Accepted,
    Basis,
    KeptPlan,
    PlanChanged,
    PlanNow,
    RefusedWish,
    SprayerInJob,
    stands,
)
from watcher.service.chances import ChanceKeeper
from watcher.service.planning import Busy, planner, with_details
from watcher.store import plans

if TYPE_CHECKING:
    from watcher.service.snapshot import Snapshot

log = structlog.get_logger("watcher.service")

SOLVER_S = 5.0
"""The wall time the solver has at most; it runs on a thread behind all others."""
_LOSSES_S = 3.0
"""The time for what other orders would lose; what is not done in it is left out."""
_EVERY_S = 3600
_LATE_S = 900
"""A job that was to begin so long ago and has not is planned anew."""
_OTHERS_S = 600
"""A plan so old is made anew where other fields are open than when it was made."""
WISHES, ACCEPTED = "wishes", "accepted"


def basis(
    session: Session,
    farm: Farm,
    now: int,
    *,
    opened: Sequence[JobView],
    issues_at: int,
    wishes: int,
) -> Basis:
    """Return what a plan is made of at a moment, with the forecasts as they were at another.

    ``opened`` are the jobs that are open then.
    """
    lately = recently_sprayed(session, farm, now)
    left = {**lately.left, **dict.fromkeys(lately.done, 0.0)}
    return Basis(
        issues=tuple(plans.issues(session, issues_at).items()),
        jobs=tuple((v.job.id, v.job.state, v.job.setup) for v in opened),
        left=tuple(sorted(left.items())),
        wishes=wishes,
        farm=farm.digest,
    )


def plan_now(session: Session, farm: Farm, now: int) -> PlanNow | None:
    """Return the newest plan in the log as it stands now; None where there is none."""
    row = plans.newest(session, now + 60)
    kept = None if row is None else _kept(row.id, row.content)
    if kept is None:
        return None
    wishes, _ = wishes_of(session, farm, now)
    opened = queries.opened(session, now)
    found = basis(session, farm, now, opened=opened, issues_at=now, wishes=wishes)
    done = {name for name, share in found.left if share == 0.0}
    done |= {view.job.field for view in opened}
    return PlanNow(kept, now, stands(kept, found, now), _accepted(session, now), frozenset(done))


def _kept(number: int, content: Mapping[str, Any]) -> KeptPlan | None:
    try:
        return KeptPlan.of_json(number, content)
    except (ValueError, KeyError, TypeError) as error:
        log.warning(
            "a kept plan cannot be read; another one is made", number=number, why=str(error)
        )
        return None


def _accepted(session: Session, now: int) -> Accepted | None:
    said = plans.last_said(session, ACCEPTED, now + 60)
    row = None if said is None or said.plan is None else plans.of_number(session, said.plan)
    kept = None if row is None else _kept(row.id, row.content)
    if said is None or kept is None:
        return None
    accepted = Accepted(kept, said.at, said.by)
    return accepted if now < accepted.until else None


def wished(session: Session, now: int) -> tuple[int, dict[str, Any], int]:
    """Return what is wished as it was said, under which number, and until when its day lasts.

    What is wished for a day is over with it: of one that is over only what holds for good is left,
    under the number's negative. 0 where nothing was ever said.
    """
    last = plans.last_said(session, WISHES, now + 60)
    if last is None:
        return 0, {}, 0
    until = int(last.content.get("until", 0))
    said = {name: value for name, value in last.content.items() if name not in {"asked", "until"}}
    if now >= until:
        return -last.id, {n: v for n, v in said.items() if n == "only_with"}, until
    return last.id, said, until


def wishes_of(session: Session, farm: Farm, now: int) -> tuple[int, Wishes]:
    """Return the wishes that hold now, and the number they were last said under (0: never).

    What the farm file no longer has is no wish.
    """
    number, said, day_ends = wished(session, now)
    config = farm.config
    only = {
        field: sprayer
        for field, sprayer in said.get("only_with", {}).items()
        if field in config.fields and sprayer in config.sprayers
    }
    first = said.get("first")
    not_today = [f for f in said.get("not_today", ()) if f in config.fields]
    home_by = said.get("home_by")
    return number, Wishes(
        first=first if first in config.fields else None,
        not_before=dict.fromkeys(not_today, day_ends),
        only_with=only,
        home_by=home_by,
        home_until=day_ends if home_by is not None else None,
        out={s: day_ends for s in said.get("out", ()) if s in config.sprayers},
        keeps_order=bool(said.get("keeps_order")),
    )


def day_ends(farm: Farm, now: int) -> int:
    """Return when the day of a moment is over on the farm's clock."""
    today = datetime.fromtimestamp(now, farm.zone).date()
    return wall_instant(today + timedelta(days=1), time(0), farm.zone)


def with_plan(ranking: Ranking, plan: PlanNow | None) -> Ranking:
    """Return the ranking as the plan's first step read aloud.

    Of the fields that are open those come first whose turn it is by the plan, then those it has
    later, each of which can wait until then, then those it leaves out.
    """
    if plan is None or plan.old:
        return ranking
    steps = {step.field: (place, step) for place, step in enumerate(plan.steps)}
    due = {step.field for step in plan.due}

    def waits(field: FieldNow) -> FieldNow:
        later = field.field in steps and field.field not in due
        return replace(field, can_wait_until=steps[field.field][1].starts_at if later else None)

    def order(field: FieldNow) -> tuple[bool, int]:
        known = steps.get(field.field)
        return field.field not in due, len(steps) if known is None else known[0]

    return replace(ranking, spray=tuple(sorted(map(waits, ranking.spray), key=order)))


def closed(plan: PlanNow | None, ranking: Ranking) -> PlanNow | None:
    """Return the plan, said to be overtaken where a field whose turn it is is not open."""
    if plan is None or plan.changed is not None:
        return plan
    every = ranking.every
    if any(every[step.field].status < Status.MARGINAL for step in plan.due if step.field in every):
        return replace(plan, changed=PlanChanged.CLOSED)
    return plan


class PlanKeeper:
    """Makes the plan when it is due, from chances worked out before, and keeps it in the log."""

    def __init__(self, chances: ChanceKeeper) -> None:
        self.chances, self.store, self.farm = chances, chances.store, chances.plan.farm

    def look(self, snapshot: "Snapshot") -> Iterator[KeptPlan]:
        """Make the plan where it is due: a quick one where none stands until then, then the best.

        Yields nothing where it is not due, or what it needs is not there yet. The quick one takes a
        moment, the best one seconds of processor: not on the log's thread.
        """
        making = self._due(snapshot)
        if making is None:
            return
        if making.before is None or making.before.changed is not None:
            yield making.quick()
        yield making.best()

    def _due(self, snapshot: "Snapshot") -> "Making | None":
        chances, now = self.chances.latest, snapshot.timeline.now
        if chances is None or chances.old(now):
            return None
        with self.store.reading() as session:
            before = closed(plan_now(session, self.farm, now), snapshot.ranking)
            if before is not None and not _due(before, snapshot.ranking):
                return None
            number, wishes = wishes_of(session, self.farm, now)
            opened = queries.opened(session, now)
            found = basis(
                session, self.farm, now, opened=opened, issues_at=chances.at, wishes=number
            )
            busy = in_hand(opened, now)
        waits_for_chances = (
            before is not None
            and before.changed is PlanChanged.ISSUE
            and found.issues == before.kept.basis.issues
        )
        if waits_for_chances or _left_of(snapshot) != dict(found.left):
            return None  # what it is made of comes first
        chances = chances.with_rigs(snapshot.rigs)  # a job may have ended since
        return Making(snapshot, chances, found, wishes, tuple(busy), before)

    def keep(self, made: KeptPlan) -> None:
        """Write a plan, quickly."""
        with self.store.writing() as session:
            number = plans.put(session, made.made_at, made.to_json())
        log.info("planned", number=number, steps=len(made.plan.steps), quick=made.quick)


@dataclass(frozen=True)
class Making:
    """A plan in the making: of a judgement, its chances, what is wished and what is in hand."""

    snapshot: "Snapshot"
    chances: FarmChances
    of: Basis
    wishes: Wishes
    busy: tuple[SprayerInJob, ...]
    before: PlanNow | None = None
    """The plan that holds: its order stays unless another gains enough."""

    def quick(self) -> KeptPlan:
        """Return the greedy plan, to go by until the best one is there."""
        if self._planner is None:
            return self._nothing
        before = _order_before(self.before, self.wishes)
        found, refused = best(self._planner, self.wishes, before, 0.0, passes=0)
        return replace(self._kept(found), refused=refused, quick=True)

    def best(self) -> KeptPlan:
        """Return the best plan, with what other orders would lose."""
        if self._planner is None:
            return self._nothing
        before = _order_before(self.before, self.wishes)
        found, refused = best(self._planner, self.wishes, before, SOLVER_S)
        loses = {}
        if refused is None and self.wishes.first is None:
            others = self._planner.losing(found, self.wishes, within_s=_LOSSES_S)
            loses = {name: loss(found, other) for name, other in others.items()}
        return replace(self._kept(found), refused=refused, loses=loses)

    @cached_property
    def _planner(self) -> Planner | None:
        judgement, index = self.snapshot.judgement, self.snapshot.timeline.now_index
        return planner(judgement, index, self.chances, done=self._done, busy=self._taken)

    @property
    def _done(self) -> set[str]:
        return {name for name, share in self.of.left if share == 0.0}

    @property
    def _taken(self) -> list[Busy]:
        return [Busy(b.sprayer, b.field, b.until, b.setup) for b in self.busy]

    def _kept(self, found: DayPlan) -> KeptPlan:
        detailed = with_details(self.snapshot.judgement.plan, self.chances, found, self._taken)
        return KeptPlan(
            plan=detailed,
            basis=self.of,
            wishes=self.wishes,
            in_hand=self.busy,
            past_forecasts=self._behind(detailed),
            open_now=tuple(f.field for f in self.snapshot.ranking.spray),
        )

    def _behind(self, plan: DayPlan) -> int:
        """How many past forecasts stand behind the step of a plan that the fewest stand behind."""
        nearest = (
            self.chances.nearest(step.field, step.setup, step.starts_at) for step in plan.steps
        )
        now = min((int(part.past_forecasts[0]) for part in self.chances.parts), default=0)
        return min((one.past_forecasts for one in nearest), default=now)

    @property
    def _nothing(self) -> KeptPlan:
        """The plan where nothing is foretold, or nothing is left to spray."""
        fields = set(self.snapshot.judgement.plan.fields)
        rest = sorted(fields - self._done - {b.field for b in self.busy})
        left_out = dict.fromkeys(rest, NotPlanned.NOT_KNOWN)
        return self._kept(DayPlan(self.snapshot.timeline.now, (), 0.0, left_out))


def worked_out(
    session: Session, snapshot: "Snapshot", chances: FarmChances, wishes: Wishes
) -> PlanNow:
    """Make a plan here and now, beside the one the watch keeps. Nothing is written."""
    farm, now = snapshot.judgement.plan.farm, snapshot.timeline.now
    opened = queries.opened(session, now)
    of = basis(session, farm, now, opened=opened, issues_at=now, wishes=0)
    making = Making(snapshot, chances, of, wishes, tuple(in_hand(opened, now)))
    return PlanNow(making.best(), now)


def best(
    of: Planner,
    wishes: Wishes,
    before: DayPlan | None,
    at_most_s: float,
    *,
    passes: int = PASSES,
) -> tuple[DayPlan, RefusedWish | None]:
    """Return the best plan that fulfils the wishes, and the one that none can fulfil."""
    try:
        return of.plan(wishes, before=before, at_most_s=at_most_s, passes=passes), None
    except WishError as error:
        rest = replace(wishes, first=None)
        refused = RefusedWish(error.wish, error.field, error.by)
        return of.plan(rest, before=before, at_most_s=at_most_s, passes=passes), refused


def _due(plan: PlanNow, ranking: Ranking) -> bool:
    if plan.changed is not None:
        return True
    age = plan.now - plan.kept.made_at
    late = any(plan.now - step.starts_at >= _LATE_S for step in plan.due)
    others = {f.field for f in ranking.spray} - plan.done != set(plan.kept.open_now) - plan.done
    return age >= _EVERY_S or late or (others and age >= _OTHERS_S)


def _order_before(before: PlanNow | None, wishes: Wishes) -> DayPlan | None:
    """The plan whose order stays: the accepted one where that is wished, else the newest."""
    if before is None or before.old:
        return None
    if wishes.keeps_order and before.accepted is not None:
        return before.accepted.plan.plan
    return None if before.kept.quick else before.kept.plan


def in_hand(opened: Sequence[JobView], now: int) -> list[SprayerInJob]:
    """Return the sprayers that are in these jobs, and until when they are likely to be."""
    return [
        SprayerInJob(v.job.sprayer, v.job.field, v.job.started_at, _until(v, now), v.job.setup)
        for v in opened
    ]


def _until(view: JobView, now: int) -> int:
    return int(now + max(view.job.planned_s - view.sprayed_s, 0.0))


def _left_of(snapshot: "Snapshot") -> dict[str, float]:
    """What a judgement takes to be left of fields that were sprayed lately."""
    done = {field.field: 0.0 for field in snapshot.ranking.done}
    return {**snapshot.judgement.plan.left, **done}
