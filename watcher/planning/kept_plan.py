"""The plan as the watch keeps it: when it was made and of what, and whether it still stands.

All times are epoch seconds. What is kept is plain JSON, so that the log needs to know no plan.
"""

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from enum import StrEnum
from typing import Any, Self

from watcher.limits.catalogue import Limit
from watcher.planning.day_plan import DayPlan, NotPlanned, PlanLoss, PlanStep, Wish, Wishes

OLD_S = 2 * 3600
"""A plan made longer ago is old: it is made anew each hour, so something is wrong by then."""
_AHEAD_S = 60
"""A plan further in the future was made by a wrong clock."""


@dataclass(frozen=True)
class Basis:
    """What a plan is made of. Of another one another plan has to be made."""

    issues: tuple[tuple[str, int], ...]
    """The newest forecast of each feed behind the chances, by its number in the log."""
    jobs: tuple[tuple[int, str, str], ...]
    """Open jobs: number, state, setup."""
    left: tuple[tuple[str, float], ...]
    """The share that is left of fields sprayed lately."""
    wishes: int
    """Number of the wishes that were last said; 0 without any."""
    farm: str
    """Digest of the farm file."""


class PlanChanged(StrEnum):
    """Why a plan has to be made anew."""

    ISSUE = "issue"
    JOB = "job"
    WISHES = "wishes"
    FARM = "farm"
    CLOSED = "closed"
    """A field whose turn it is is not open."""
    AGE = "age"
    QUICK = "quick"
    """It is the greedy one, put together at once; the best one is being worked out."""


@dataclass(frozen=True)
class SprayerInJob:
    """A sprayer in a job: on which field, and until when it is likely to be."""

    sprayer: str
    field: str
    since: int
    until: int
    setup: str = ""


@dataclass(frozen=True)
class RefusedWish:
    """A wish that no plan can fulfil, and the other wish that stands in its way."""

    wish: Wish
    field: str
    by: Wish | None


@dataclass(frozen=True)
class KeptPlan:
    """A plan with what it was made of and what goes with it."""

    plan: DayPlan
    basis: Basis
    number: int = 0
    """Its number in the log; 0 while it is not kept."""
    wishes: Wishes = field(default_factory=Wishes)
    refused: RefusedWish | None = None
    """The wish it does not fulfil, as none could."""
    loses: Mapping[str, PlanLoss] = field(default_factory=dict)
    """What is lost where another field is done first."""
    in_hand: tuple[SprayerInJob, ...] = ()
    past_forecasts: int = 0
    open_now: tuple[str, ...] = ()
    """Fields that were open when it was made."""
    quick: bool = False
    """Whether it is the greedy one, to go by until the best one is there."""

    @property
    def made_at(self) -> int:
        return self.plan.at

    def to_json(self) -> dict[str, Any]:
        """Return all of it but its number as plain values."""
        found = asdict(replace(self, wishes=replace(self.wishes, not_these=frozenset())))
        del found["number"]
        found["wishes"]["not_these"] = sorted(self.wishes.not_these)
        return found

    @classmethod
    def of_json(cls, number: int, kept: Mapping[str, Any]) -> Self:
        """Read it back. Raises ValueError, KeyError or TypeError for what is no plan."""
        plan, basis, wishes = kept["plan"], kept["basis"], kept["wishes"]
        return cls(
            plan=DayPlan(
                at=plan["at"],
                steps=tuple(_step(one) for one in plan["steps"]),
                worth=plan["worth"],
                left_out={name: NotPlanned(why) for name, why in plan["left_out"].items()},
            ),
            basis=Basis(
                issues=tuple((name, at) for name, at in basis["issues"]),
                jobs=tuple((n, state, setup) for n, state, setup in basis["jobs"]),
                left=tuple((name, share) for name, share in basis["left"]),
                wishes=basis["wishes"],
                farm=basis["farm"],
            ),
            number=number,
            wishes=Wishes(**{**wishes, "not_these": frozenset(wishes["not_these"])}),
            refused=_refused(kept["refused"]),
            loses={
                n: PlanLoss(tuple(one["fields"]), one["fewer"]) for n, one in kept["loses"].items()
            },
            in_hand=tuple(SprayerInJob(**one) for one in kept["in_hand"]),
            past_forecasts=kept["past_forecasts"],
            open_now=tuple(kept["open_now"]),
            quick=kept.get("quick", False),
        )


def _step(kept: Mapping[str, Any]) -> PlanStep:
    ended_by = kept["ended_by"]
    return PlanStep(**{**kept, "ended_by": None if ended_by is None else Limit(ended_by)})


def _refused(kept: Mapping[str, Any] | None) -> RefusedWish | None:
    if kept is None:
        return None
    by = kept["by"]
    return RefusedWish(Wish(kept["wish"]), kept["field"], None if by is None else Wish(by))


@dataclass(frozen=True)
class Accepted:
    """The plan somebody said yes to, and when."""

    plan: KeptPlan
    at: int
    by: str

    @property
    def until(self) -> int:
        """When its last job is over: from then on nothing is left of the yes."""
        return max((step.ends_at for step in self.plan.plan.steps), default=self.at)


@dataclass(frozen=True)
class PlanNow:
    """The newest plan as it stands at a moment."""

    kept: KeptPlan
    now: int
    changed: PlanChanged | None = None
    """Why it is being made anew; None while it stands."""
    accepted: Accepted | None = None
    done: frozenset[str] = frozenset()
    """Fields that are sprayed or being sprayed by now: nothing is planned for them any more."""

    @property
    def old(self) -> bool:
        """Whether nothing may be done by it any more."""
        return self.changed in {PlanChanged.AGE, PlanChanged.FARM}

    @property
    def steps(self) -> tuple[PlanStep, ...]:
        """Its jobs that are still to be begun; none of an old one."""
        if self.old:
            return ()
        return tuple(step for step in self.kept.plan.steps if step.field not in self.done)

    @property
    def due(self) -> tuple[PlanStep, ...]:
        """The jobs it has begin now: of each sprayer the next one, once its time has come."""
        return tuple(step for step in _next(self.steps) if step.starts_at <= self.now)

    @property
    def turned(self) -> tuple[tuple[PlanStep | None, PlanStep | None], ...]:
        """Of each sprayer whose next job is another than was accepted: that job, and the new one.

        Empty where nothing was accepted, or the accepted order still stands. A field that nobody
        accepted, after all that was, is no turn.
        """
        if self.accepted is None or self.old:
            return ()
        asked = [s for s in self.accepted.plan.plan.steps if s.field not in self.done]
        fields = {step.field for step in asked}
        was, now = ({s.sprayer: s for s in _next(steps)} for steps in (asked, self.steps))
        found = []
        for sprayer in dict.fromkeys((*was, *now)):
            old, new = was.get(sprayer), now.get(sprayer)
            if old is None and (new is None or new.field not in fields):
                continue
            if old is None or new is None or old.field != new.field:
                found.append((old, new))
        return tuple(found)


def _next(steps: Sequence[PlanStep]) -> list[PlanStep]:
    """Return the first job of each sprayer, in the order they begin."""
    found: dict[str, PlanStep] = {}
    for step in steps:
        found.setdefault(step.sprayer, step)
    return list(found.values())


def stands(kept: KeptPlan, basis: Basis, now: int) -> PlanChanged | None:
    """Return why a plan has to be made anew; None while it stands."""
    was = kept.basis
    if basis.farm != was.farm:
        return PlanChanged.FARM
    if not -_AHEAD_S <= now - kept.made_at <= OLD_S:
        return PlanChanged.AGE
    if basis.wishes != was.wishes:
        return PlanChanged.WISHES
    if basis.jobs != was.jobs or basis.left != was.left:
        return PlanChanged.JOB
    if basis.issues != was.issues:
        return PlanChanged.ISSUE
    return PlanChanged.QUICK if kept.quick else None
