"""The plan of the day for programs: what the page tells, and the tap that accepts it."""

from typing import Annotated

from fastapi import APIRouter, Depends, HTTPException, Path

from watcher.planning.day_plan import Wish
from watcher.service.plan_steps import (
    BadWishError,
    PlanMovedError,
    Who,
    WishAsked,
    accept,
    wish,
)
from watcher.web.api import models
from watcher.web.api.endpoints import API, Asked, Key, answers, bare
from watcher.web.auth.users import User
from watcher.web.context import AppContext

_LARGEST = 2**31 - 1


def router(context: AppContext) -> APIRouter:
    """Routes of the plan."""
    routes = APIRouter(prefix="/api/v1/plan", tags=["plan"], **API)
    looker, runner = Depends(context.auth.api_looker), Depends(context.auth.api_runner)

    def answered(language: Asked) -> models.PlanSchema:
        now = context.watch.clock.now()
        return models.PlanSchema.of(
            context.speaker, context.plan(), context.snapshot.ranking, language, now
        )

    @routes.get("", responses=answers(401, 503))
    def plan(language: Asked, _user: User = looker) -> models.PlanSchema:
        """The plan of the day: the steps of each sprayer, what is left out and why."""
        return answered(language)

    @routes.post("/wishes", responses=answers(401, 403, 413, 422, 503))
    async def ask(
        asked: models.WishOfPlan, language: Asked, key: Key = None, user: User = runner
    ) -> models.PlanSchema:
        """Ask something of the plan, or take it back; it is then worked out anew."""
        who = Who(user.name, context.watch.clock.now(), bare(key))
        given = WishAsked(Wish(asked.wish), asked.field, asked.sprayer, asked.clock, asked.back)
        store = context.watch.transactions.store
        try:
            await context.watch.run_and_rejudge(lambda: wish(store, context.farm, given, who))
        except BadWishError as error:
            raise HTTPException(422, error.text.render(language)) from error
        context.watch.plan_soon()
        return answered(language)

    @routes.post("/{number}/accept", responses=answers(401, 403, 409, 413, 422, 503))
    async def yes(
        number: Annotated[int, Path(ge=1, le=_LARGEST)],
        language: Asked,
        key: Key = None,
        user: User = runner,
    ) -> models.PlanSchema:
        """Accept the plan that was shown under a number: its steps are then announced."""
        who = Who(user.name, context.watch.clock.now(), bare(key))
        store = context.watch.transactions.store
        try:
            await context.watch.run_and_rejudge(lambda: accept(store, context.farm, number, who))
        except PlanMovedError as error:
            raise HTTPException(409, error.text.render(language)) from error
        except BadWishError as error:
            raise HTTPException(422, error.text.render(language)) from error
        return answered(language)

    return routes
