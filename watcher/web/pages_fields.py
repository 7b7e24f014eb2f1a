"""The hours ahead, and one field whole: map, limits, setups, sides, the hours."""

from collections.abc import Iterator
from dataclasses import dataclass
from math import isnan
from typing import Any

import numpy as np
from fastapi import APIRouter, Depends, HTTPException, Request, Response
from markupsafe import Markup

from watcher.alerts.wording.drift import percent
from watcher.alerts.wording.explain import Part, explanation
from watcher.alerts.wording.weather import wind_line
from watcher.alerts.wording.words import SHAPES, clock, name, span
from watcher.judge.judgement import Judgement
from watcher.judge.ranking import FieldNow
from watcher.judge.reasons import reasons
from watcher.judge.status import Limit, Status
from watcher.store import jobs
from watcher.units import Kind, show
from watcher.web.door import Visitor
from watcher.web.draw.ground import ground_map
from watcher.web.draw.hours import Ahead, ahead, chart
from watcher.web.draw.reach import SprayReach, spray_reach
from watcher.web.house import House
from watcher.web.sight import FieldSight, Standing, field_sight, line

FIELDS_A_PAGE = 12
_OWN_PARTS = {"Limits"}
"""Parts of the explanation that the page draws itself."""


@dataclass(frozen=True)
class HourRow:
    """One hour of a field, as a row of a table."""

    clock: str
    standing: Standing
    wind: str
    gust: str


@dataclass(frozen=True)
class HoursSight:
    """One field's hours ahead."""

    sight: FieldSight
    setup: str
    bounds: str
    drawn: Markup
    rows: list[HourRow]


def router(house: House) -> APIRouter:
    """Routes of the hours and of the fields."""
    routes = APIRouter(include_in_schema=False)
    looker = Depends(house.door.looker)

    @routes.get("/hours")
    def hours(request: Request, page: int = 1, visitor: Visitor = looker) -> Response:
        every = list(house.picture.ranking.every.values())
        pages = max(1, -(-len(every) // FIELDS_A_PAGE))
        page = min(max(page, 1), pages)
        shown = every[(page - 1) * FIELDS_A_PAGE : page * FIELDS_A_PAGE]
        fields = list(_hours(house, shown))
        return house.show(request, visitor, "hours.html", fields=fields, page=page, pages=pages)

    @routes.get("/fields/{field}")
    def one(
        request: Request,
        field: str,
        setup: str | None = None,
        at: int | None = None,
        visitor: Visitor = looker,
    ) -> Response:
        return house.show(request, visitor, "field.html", **_field(house, field, setup, at))

    return routes


def _hours(house: House, shown: list[FieldNow]) -> Iterator[HoursSight]:
    picture = house.picture
    shared: dict[int, Ahead] = {}
    for seen in shown:
        judgement = picture.judgement.of_field(picture.judgement.plan.fields.index(seen.field))
        if id(judgement) not in shared:
            shared[id(judgement)] = ahead(judgement, picture.outlook.now_index)
        yield _hours_of(house, judgement, shared[id(judgement)], seen)


def _hours_of(house: House, judgement: Judgement, shared: Ahead, seen: FieldNow) -> HoursSight:
    plan = judgement.plan
    case = plan.fields.index(seen.field), plan.setups.index(str(seen.setup))
    return HoursSight(
        sight=field_sight(house, seen),
        setup=name(str(seen.setup)),
        bounds=_bounds(house, judgement, case[0]),
        drawn=chart(judgement, shared, case, house.farm.zone, house.speaker.system),
        rows=list(_rows(house, judgement, shared, case)),
    )


def _bounds(house: House, judgement: Judgement, field: int) -> str:
    """The field's own bounds of wind and gust, as the chart shows them."""
    bounds, system = judgement.plan.bounds, house.speaker.system
    low, high = (getattr(bounds[Limit.WIND], side)[field] for side in ("low", "high"))
    gust = bounds[Limit.GUST].high[field]
    said = [show(float(v), Kind.SPEED, system) for v in (low, high) if np.isfinite(v)]
    most = f"; gusts to {show(float(gust), Kind.SPEED, system)}" if np.isfinite(gust) else ""
    return f"Wind {' to '.join(said)}{most}"


def _rows(
    house: House, judgement: Judgement, shared: Ahead, case: tuple[int, int]
) -> Iterator[HourRow]:
    system, now = house.speaker.system, int(shared.times[0])
    for index, at in enumerate(shared.times.tolist(), start=shared.hours.start):

        def told(value: float) -> str:
            return "unknown" if isnan(value) else show(value, Kind.SPEED, system)

        yield HourRow(
            clock=clock(at, now, house.farm.zone),
            standing=Standing(Status(int(judgement.best[case[0], index]))),
            wind=told(float(judgement.boom.wind_m_s[(*case, index)])),
            gust=told(float(judgement.boom.gust_m_s[(*case, index)])),
        )


def _field(house: House, field: str, setup: str | None, at: int | None) -> dict[str, Any]:
    """Everything the page of a field tells, for one setup and time."""
    picture = house.picture
    plan = picture.judgement.plan
    if field not in plan.fields:
        raise HTTPException(404, "no field of the farm has this name")
    index, seen = plan.fields.index(field), picture.ranking.every[field]
    judgement = picture.judgement.of_field(index)
    usable = [name for s, name in enumerate(plan.setups) if plan.allowed[index, s]]
    chosen = setup if setup in usable else str(seen.setup)
    time = _index(judgement, picture.outlook.now_index, at)
    case = index, plan.setups.index(chosen), time
    reach = spray_reach(judgement, case)
    found = reasons(judgement, *case)
    now = picture.outlook.now
    return {
        "field": field,
        "sight": field_sight(house, seen),
        "standing": Standing(Status(int(judgement.status[case]))),
        "binding": line(house, field, found[0]),
        "weather": wind_line(picture.outlook.of(field)),
        "limits": [line(house, field, reason) for reason in found],
        "chosen": chosen,
        "setups": [
            (s, Standing(Status(int(judgement.status[index, plan.setups.index(s), time]))))
            for s in usable
        ],
        "recommended": seen.setup,
        "at": int(judgement.series.times[time]),
        "at_clock": house.clock(int(judgement.series.times[time])),
        "is_now": time == picture.outlook.now_index,
        "times": list(_times(house, judgement, case, picture.outlook.now_index, now)),
        "map": ground_map(judgement, case, reach, house.speaker.system),
        "map_says": _map_says(house, reach),
        "parts": _parts(house, judgement, case),
        "hours": next(_hours(house, [seen])),
        "running": _running(house, field),
        "takes": span(float(plan.duration_s[case[:2]])),
    }


def _parts(house: House, judgement: Judgement, case: tuple[int, int, int]) -> dict[str, list[str]]:
    parts: Iterator[Part] = explanation(house.speaker, judgement, case)
    return {heading: lines for heading, lines in parts if heading not in _OWN_PARTS}


def _index(judgement: Judgement, now_index: int, at: int | None) -> int:
    """The index of the time asked for; of now for one that is not ahead."""
    times = judgement.series.times
    if at is None or not times[now_index] < at <= times[-1]:
        return now_index
    return int(np.searchsorted(times, at, side="right")) - 1


def _times(
    house: House, judgement: Judgement, case: tuple[int, int, int], now_index: int, now: int
) -> Iterator[tuple[int, str]]:
    """The hours ahead to choose from, each with what the field is then."""
    horizon = now + house.farm.told.judging.horizon
    for index in range(now_index, len(judgement.series)):
        at = int(judgement.series.times[index])
        if at > horizon:
            return
        status = Status(int(judgement.status[case[0], case[1], index]))
        yield at, f"{clock(at, now, house.farm.zone)} {SHAPES[status]} {status.word}"


def _map_says(house: House, reach: SprayReach) -> str:
    what = percent(reach.deposit_pct)
    if isnan(reach.distance_m):
        return "The reach of the spray is unknown: the wind or its direction is missing"
    if reach.shape is None:
        return f"Nowhere outside the field more than {what} of the rate may land"
    far = show(reach.distance_m, Kind.LENGTH, house.speaker.system)
    return f"More than {what} of the rate may land as far as {far} downwind, within the hatching"


def _running(house: House, field: str) -> int | None:
    """The number of the field's open job."""
    with house.watch.book.store.reading() as session:
        return next((j.id for j in jobs.open_jobs(session) if j.field == field), None)
