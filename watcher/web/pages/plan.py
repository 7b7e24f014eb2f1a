"""The page of the plan of the day: a strip a sprayer, its steps, wishes, and one tap to accept."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from functools import partial
from typing import Any

from fastapi import APIRouter, Depends, Request, Response
from fastapi.responses import RedirectResponse
from markupsafe import Markup

from watcher.delivery.acknowledgement import Links
from watcher.i18n.message import NOTHING, Message, Name, Sentence, Weekday, joined, say
from watcher.judge.ranking import FieldNow
from watcher.limits.status import Status
from watcher.messages.chances import tenths
from watcher.messages.day_plan import (
    before,
    begins,
    expected,
    how_planned,
    load_lines,
    loses,
    only_part,
    plan_status,
    refusal,
    what_ends,
    why_out,
)
from watcher.messages.words import SHAPES
from watcher.planning.day_plan import PlanStep, Wish, Wishes
from watcher.planning.kept_plan import PlanChanged, PlanNow
from watcher.planning.optimum import available
from watcher.service.day_plan import wishes_of
from watcher.service.plan_steps import (
    BadWishError,
    PlanMovedError,
    Who,
    WishAsked,
    accept,
    keep_order,
    wish,
)
from watcher.web.auth.authenticator import NotAllowedError, Visitor
from watcher.web.auth.users import Role
from watcher.web.calendar_feed import feeds
from watcher.web.context import AppContext
from watcher.web.pages.taps import tapped_at
from watcher.web.svg.plan_strip import Block, strip

_MOST_NAME = 200


@dataclass(frozen=True)
class StepRow:
    """One step in words."""

    place: int
    field: str
    hours: Message
    setup: Message
    odds: Message
    facts: list[Message]
    loads: list[Message]
    start: bool
    """Whether it is its turn now, and nobody has begun."""

    @property
    def title(self) -> Message:
        return Name(self.field)


@dataclass(frozen=True)
class DayOfSprayer:
    """The jobs of one sprayer on one day: drawn, and in words."""

    sprayer: Message
    day: Message
    drawn: Markup
    in_hand: Message | None
    rows: list[StepRow]


@dataclass(frozen=True)
class WishRow:
    """A wish that holds, and what a form sends to take it back."""

    text: Message
    wish: Wish
    field: str = ""
    sprayer: str = ""


def router(context: AppContext, links: Links | None) -> APIRouter:
    """Routes of the page. ``links`` make the addresses calendars are read at."""
    routes = APIRouter(include_in_schema=False)
    looker, runner = Depends(context.auth.looker), Depends(context.auth.runner)

    @routes.get("/plan")
    def show(request: Request, visitor: Visitor = looker) -> Response:
        return context.show(request, visitor, "plan.html", **_page(context, visitor, links))

    @routes.post("/plan/{what}")
    async def take(request: Request, what: str, visitor: Visitor = runner) -> Response:
        form = await context.auth.form(request, visitor)
        work = _work(context, what, form, visitor)
        try:
            await context.watch.run_and_rejudge(work)
        except PlanMovedError as error:
            return context.show(
                request, visitor, "problem.html", status=409, wrong=error.text, back=True
            )
        except BadWishError as error:
            return context.show(
                request, visitor, "problem.html", status=422, wrong=error.text, back=True
            )
        context.watch.plan_soon()
        return RedirectResponse("/plan", 303)

    return routes


def _work(context: AppContext, what: str, form: Mapping[str, str], visitor: Visitor) -> Any:
    """What a form asks for, to be done on the log's thread."""

    def text(key: str) -> str:
        return form.get(key, "").strip()[:_MOST_NAME]

    transactions, now = context.watch.transactions, context.watch.clock.now()
    by = visitor.user.name if visitor.user else ""
    who = Who(by, now, text("key") or None, tapped_at(form, now))
    if what == "accept" and text("plan").isdecimal():
        return partial(accept, transactions.store, context.farm, int(text("plan")[:9]), who)
    if what == "keep":
        return partial(keep_order, transactions.store, context.farm, who)
    chosen, _, sprayer = text("wish").partition("/")
    if what != "wish" or chosen not in set(Wish) - {Wish.NOT_THIS}:
        raise NotAllowedError("there is no such wish")
    asked = WishAsked(
        Wish(chosen),
        text("field"),
        sprayer or text("sprayer"),
        text("clock"),
        text("back") == "yes",
    )
    return partial(wish, transactions.store, context.farm, asked, who)


def _page(context: AppContext, visitor: Visitor, links: Links | None) -> dict[str, Any]:
    """Everything the page tells."""
    now = context.watch.clock.now()
    plan = context.plan()
    with context.watch.transactions.store.reading() as session:
        _, wishes = wishes_of(session, context.farm, now)
    config = context.farm.config
    values: dict[str, Any] = {
        "plan": plan,
        "days": [],
        "left_out": [],
        "others": [],
        "accepted": None,
        "turned": False,
        "wishes": list(_wishes(context, wishes, frozenset() if plan is None else plan.done)),
        "fields": list(config.fields),
        "sprayers": list(config.sprayers),
        "feeds": feeds(context, visitor, links),
        "worked_out": context.watch.plans is not None,
    }
    if plan is None:
        return values
    every = context.snapshot.ranking.every
    out = {f: why for f, why in plan.kept.plan.left_out.items() if f not in plan.done}
    return values | {
        "plan_status": plan_status(plan, context.speaker),
        "expected": expected(plan.steps),
        "how": None if available() else how_planned(),
        "quick": plan.changed is PlanChanged.QUICK,
        "refused": None if plan.kept.refused is None else refusal(plan.kept.refused),
        "days": list(_days(context, plan, visitor.may(Role.RUN))),
        "left_out": []
        if plan.old
        else [
            (
                f,
                Name(f),
                _shape(every.get(f)),
                why_out(why, f, context.speaker, context.snapshot.ranking),
            )
            for f, why in out.items()
        ],
        "others": []
        if plan.old
        else [(f, Name(f), loses(lost)) for f, lost in plan.kept.loses.items()],
        "accepted": None if plan.accepted is None else context.clock(plan.accepted.at),
        "accepted_by": None if plan.accepted is None else Name(plan.accepted.by),
        "turned": bool(plan.turned),
        "keeps": wishes.keeps_order,
    }


def _shape(seen: FieldNow | None) -> str:
    return SHAPES[Status.UNKNOWN if seen is None else seen.status]


def _days(context: AppContext, plan: PlanNow, may_run: bool) -> Iterator[DayOfSprayer]:
    """Yield what each sprayer has on each day, today first."""
    now, zone = plan.now, context.farm.zone
    places = {step.field: n for n, step in enumerate(plan.steps, start=1)}

    def day_of(at: int) -> date:
        return datetime.fromtimestamp(at, zone).date()

    today = day_of(now)
    in_hand = {job.sprayer: job for job in plan.kept.in_hand} if not plan.old else {}
    days = sorted({max(day_of(step.starts_at), today) for step in plan.steps} | {today})
    for day in days:
        for sprayer in context.farm.config.sprayers:
            steps = [
                s
                for s in plan.steps
                if s.sprayer == sprayer and max(day_of(s.starts_at), today) == day
            ]
            job = in_hand.get(sprayer) if day == today else None
            if not steps and job is None:
                continue
            blocks = [
                Block(max(s.starts_at, now), max(s.ends_at, now), s.chance, str(places[s.field]))
                for s in steps
            ]
            if job is not None:
                blocks.insert(0, Block(max(job.since, now - 3600), max(job.until, now), None, "•"))
            yield DayOfSprayer(
                sprayer=Name(sprayer),
                day=say("today") if day == today else Weekday(steps[0].starts_at, zone),
                drawn=strip(blocks, now, zone),
                in_hand=None
                if job is None
                else say(
                    "In hand: {field}, until about {clock}",
                    field=Name(job.field),
                    clock=context.clock(job.until),
                ),
                rows=[_row(context, plan, s, places[s.field], may_run) for s in steps],
            )


def _row(context: AppContext, plan: PlanNow, step: PlanStep, place: int, may_run: bool) -> StepRow:
    now, speaker = plan.now, context.speaker
    driver = say("driven by {driver}", driver=Name(step.driver)) if step.driver else NOTHING
    facts = (driver, only_part(step), what_ends(step), before(step), _waits(context, plan, step))
    return StepRow(
        place=place,
        field=step.field,
        hours=say(
            "{start} to {end}", start=begins(step, now, speaker), end=context.clock(step.ends_at)
        ),
        setup=Name(step.setup),
        odds=tenths(step.chance),
        facts=[Sentence(fact, stop="") for fact in facts if fact != NOTHING],
        loads=load_lines(speaker, step),
        start=may_run and step in plan.due,
    )


def _waits(context: AppContext, plan: PlanNow, step: PlanStep) -> Message:
    """What a later step waits for: better air than there is now, or its sprayer."""
    seen = context.snapshot.ranking.every.get(step.field)
    if step in plan.due or seen is None:
        return NOTHING
    if seen.status >= Status.MARGINAL:
        return say("open now, and can wait: others need this air or the sprayer first")
    return say("waits: now {reason}", reason=context.speaker.reason(step.field, seen.binding))


def _wishes(context: AppContext, wishes: Wishes, done: frozenset[str]) -> Iterator[WishRow]:
    """Yield the wishes that hold, each with what takes it back."""
    if wishes.first is not None and wishes.first not in done:
        yield WishRow(say("{field} first", field=Name(wishes.first)), Wish.FIRST, wishes.first)
    for field in wishes.not_before:
        yield WishRow(say("{field}: not today", field=Name(field)), Wish.NOT_TODAY, field)
    for field, sprayer in wishes.only_with.items():
        text = say("{field}: only with {sprayer}", field=Name(field), sprayer=Name(sprayer))
        yield WishRow(text, Wish.ONLY_WITH, field, sprayer)
    if wishes.home_by is not None:
        yield WishRow(say("home by {clock}", clock=context.clock(wishes.home_by)), Wish.HOME_BY)
    for sprayer in wishes.out:
        text = say("{sprayer} out of use today", sprayer=Name(sprayer))
        yield WishRow(text, Wish.OUT, sprayer=sprayer)


def plan_line(context: AppContext) -> Message | None:
    """Return the plan's next steps in a line for the first page; None where there is no plan."""
    plan = context.snapshot.plan
    if plan is None:
        return None
    if plan.old:
        return say("Plan of the day. {what}", what=plan_status(plan, context.speaker))
    if not plan.steps:
        return say("Plan of the day: nothing planned")
    now = context.watch.clock.now()
    steps = (
        joined([Name(s.field, 18), begins(s, now, context.speaker)], " ") for s in plan.steps[:3]
    )
    return say("Plan of the day: {steps}", steps=joined(steps))
