"""A season added up, for programs: how long each field was open, and what took the other hours."""

from typing import Annotated

from fastapi import APIRouter, Depends, HTTPException, Query

from watcher.judge.season import Tally
from watcher.limits.catalogue import Limit
from watcher.limits.farm_arrays import FarmArrays
from watcher.limits.status import Status
from watcher.service.season import add_up
from watcher.web.api.endpoints import API, Moment, answers
from watcher.web.api.models import ApiModel
from watcher.web.auth.users import User
from watcher.web.context import AppContext

_DAY_S = 86_400
_MOST_DAYS = 400


class TakenHours(ApiModel):
    """Hours that one limit took from a field."""

    limit: str
    hours: float
    """Hours in which it was the one that bound."""
    alone: float
    """Of these the hours in which nothing else stood in the way."""


class FieldSeason(ApiModel):
    """The hours of one field, by what a whole job begun in them would have been."""

    field: str
    suitable: float
    marginal: float
    unsuitable: float
    unknown: float
    """Hours of which the log does not know enough."""
    cut_short: float
    """Hours in which all held at first, but not known to the job's end."""
    taken: list[TakenHours]
    """What bound in the others, most hours first."""


class SeasonSchema(ApiModel):
    """Past hours through today's judgement."""

    start: int
    end: int
    open_somewhere: float
    """Hours in which at least one field was open."""
    fields: list[FieldSeason]


def router(context: AppContext) -> APIRouter:
    """Route of the season."""
    routes = APIRouter(prefix="/api/v1", tags=["farm"], **API)

    @routes.get("/season", responses=answers(401, 422))
    def season(
        start: Moment,
        end: Moment,
        month: Annotated[
            list[Annotated[int, Query(ge=1, le=12)]] | None,
            Query(max_length=12, description="Only these months of the farm's calendar"),
        ] = None,
        _user: User = Depends(context.auth.api_looker),  # noqa: B008
    ) -> SeasonSchema:
        """Judge every past hour of ``start <= time < end`` by the farm as it is now."""
        if not start < end <= start + _MOST_DAYS * _DAY_S:
            raise HTTPException(422, f"end must be after start, by at most {_MOST_DAYS} days")
        if end > context.watch.clock.now():
            raise HTTPException(422, "end must not be after now")
        with context.watch.transactions.store.reading() as session:
            tally = add_up(session, FarmArrays.of(context.farm), start, end, months=month or ())
        return SeasonSchema(
            start=start,
            end=end,
            open_somewhere=tally.open_somewhere,
            fields=[_field(tally, row) for row in range(len(tally.fields))],
        )

    return routes


def _field(tally: Tally, row: int) -> FieldSeason:
    taken = [
        TakenHours(limit=limit.value, hours=hours[row], alone=_alone(tally, limit, row))
        for limit, hours in tally.bound.items()
        if hours[row]
    ]
    hours = tally.hours[row]
    return FieldSeason(
        field=tally.fields[row],
        suitable=hours[Status.SUITABLE],
        marginal=hours[Status.MARGINAL],
        unsuitable=hours[Status.UNSUITABLE],
        unknown=hours[Status.UNKNOWN],
        cut_short=tally.cut_short[row],
        taken=sorted(taken, key=lambda one: -one.hours),
    )


def _alone(tally: Tally, limit: Limit, row: int) -> float:
    return float(tally.alone[limit][row]) if limit in tally.alone else 0.0
