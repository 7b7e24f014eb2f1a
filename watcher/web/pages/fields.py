"""One field whole: map, limits, setups, sides, the hours."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from math import isfinite, isnan
from typing import Any

import numpy as np
from fastapi import APIRouter, Depends, HTTPException, Request, Response
from markupsafe import Markup

from watcher.i18n.message import Message, Name, Param, ShownQuantity, WallTime, joined, say
from watcher.jobs.usual_gusts import usual_gusts
from watcher.judge.best_starts import best_starts
from watcher.judge.chances import FieldChance
from watcher.judge.judgement import Judgement
from watcher.judge.reasons import Reason, left_strips, reasons
from watcher.limits.catalogue import CATALOGUE, IN_WINDOWS, Limit
from watcher.limits.status import Status
from watcher.messages.chances import basis_line, best_start_items, holds_line, start_line
from watcher.messages.drawing import to_leave_lines
from watcher.messages.drift import OPEN_BOOM, percent
from watcher.messages.explain import ExplanationPart, explanation
from watcher.messages.rules import origin_words
from watcher.messages.vocabulary import STATUS_WORDS, WEED_WORDS
from watcher.messages.weather import ahead_line, wind_line
from watcher.messages.wind_warning import usual_gusts_line
from watcher.messages.words import SHAPES, takes
from watcher.units import Kind
from watcher.web.auth.authenticator import Visitor
from watcher.web.context import AppContext
from watcher.web.open_jobs import OpenJobViewModel, by_field, open_jobs
from watcher.web.pages.air_now import air_now
from watcher.web.pages.view_models import FieldViewModel, StatusMark, field_view_model, line
from watcher.web.svg.below_map import MAP_WIDTH, ruler
from watcher.web.svg.ground import ground_map
from watcher.web.svg.hours import Ahead, ahead, chart
from watcher.web.svg.reach import SprayReach, spray_reach

Jobs = Mapping[str, OpenJobViewModel]
_OWN_PARTS = {"limits"}
"""Parts of the explanation that the page draws itself."""


@dataclass(frozen=True)
class ShownHour:
    """One hour of a field, as a row of a table."""

    clock: Message
    mark: StatusMark
    wind: Message
    gust: Message


@dataclass(frozen=True)
class HoursViewModel:
    """One field's hours ahead."""

    view: FieldViewModel
    setup: Message
    bounds: Message
    drawn: Markup
    rows: list[ShownHour]


_OF_WINDOWS = frozenset({Limit.INVERSION, Limit.NEIGHBOUR, Limit.DROPLETS, Limit.DROPLETS_IN_WIND})
"""What a window says in other words than bounds."""


def router(context: AppContext) -> APIRouter:
    """Routes of the fields."""
    routes = APIRouter(include_in_schema=False)
    looker = Depends(context.auth.looker)

    @routes.get("/fields/{field}")
    def one(
        request: Request,
        field: str,
        setup: str | None = None,
        at: int | None = None,
        visitor: Visitor = looker,
    ) -> Response:
        return context.show(request, visitor, "field.html", **_field(context, field, setup, at))

    return routes


def _hours(context: AppContext, view: FieldViewModel, setup: str) -> HoursViewModel:
    plan = context.snapshot.judgement.plan
    case = plan.fields.index(view.field), plan.setups.index(setup)
    judgement = context.snapshot.judgement.of_field(case[0])
    shared = ahead(judgement, context.snapshot.timeline.now_index)
    return HoursViewModel(
        view=view,
        setup=Name(setup),
        bounds=_bounds(context, judgement, case[0]),
        drawn=chart(judgement, shared, case, context.farm.zone, context.speaker.system),
        rows=list(_rows(context, judgement, shared, case)),
    )


def _bounds(context: AppContext, judgement: Judgement, field: int) -> Message:
    """The field's own bounds of wind and gust, as the chart shows them, and whose they are."""
    system = context.speaker.system
    wind, gust = (judgement.plan.bounds[limit] for limit in (Limit.WIND, Limit.GUST))
    low, high, gusts = (float(v[field]) for v in (wind.low, wind.high, gust.high))
    least, most = ShownQuantity(low, Kind.SPEED, system), ShownQuantity(high, Kind.SPEED, system)
    found: list[Message] = []
    if isfinite(low):
        whose = origin_words(wind.low_origin[field], derived=False)
        found.append(say("Wind from {least} ({whose})", least=least, whose=whose))
    if isfinite(high):
        whose = origin_words(wind.origin[field], derived=False)
        found.append(say("Wind to {most} ({whose})", most=most, whose=whose))
    if isfinite(gusts):
        whose = origin_words(gust.origin[field], derived=gust.derived[field])
        highest = ShownQuantity(gusts, Kind.SPEED, system)
        found.append(say("gusts to {most} ({whose})", most=highest, whose=whose))
    return joined(found, "; ") if found else say("Wind without a bound")


def _rows(
    context: AppContext, judgement: Judgement, shared: Ahead, case: tuple[int, int]
) -> Iterator[ShownHour]:
    system, now = context.speaker.system, int(shared.times[0])
    for index, at in enumerate(shared.times.tolist(), start=shared.hours.start):

        def speed(value: float) -> Message:
            return say("unknown") if isnan(value) else ShownQuantity(value, Kind.SPEED, system)

        yield ShownHour(
            clock=WallTime(at, now, context.farm.zone),
            mark=StatusMark(Status(int(judgement.best[case[0], index]))),
            wind=speed(float(judgement.boom.wind_m_s[(*case, index)])),
            gust=speed(float(judgement.boom.gust_m_s[(*case, index)])),
        )


def _field(context: AppContext, field: str, setup: str | None, at: int | None) -> dict[str, Any]:
    """Everything the page of a field tells, for one setup and time."""
    snapshot = context.snapshot
    plan = snapshot.judgement.plan
    if field not in plan.fields:
        raise HTTPException(404, "no field of the farm has this name")
    index, seen = plan.fields.index(field), snapshot.ranking.every[field]
    judgement = snapshot.judgement.of_field(index)
    usable = [name for s, name in enumerate(plan.setups) if plan.allowed[index, s]]
    chosen = setup if setup in usable else str(seen.setup)
    time = _index(judgement, snapshot.timeline.now_index, at)
    case = index, plan.setups.index(chosen), time
    reach = spray_reach(judgement, case)
    found = reasons(judgement, *case)
    now = snapshot.timeline.now
    view = field_view_model(context, seen, _jobs(context))
    status = Status(int(judgement.status[case]))
    chance = _chance(context, (field, chosen), judgement, time, status)
    can_spray = status >= Status.MARGINAL
    days = best_starts(snapshot.judgement, snapshot.timeline.now_index, context.chances, field)
    strips = left_strips(judgement, *case)
    drawn, metres = ground_map(judgement, case, reach, strips, context.tiles_from)
    return {
        "field": field,
        "holds": holds_line(chance, now, context.farm.zone) if can_spray else None,
        "start_odds": start_line(chance) if can_spray else None,
        "best_starts": best_start_items(days, now, context.farm.zone),
        "best_starts_basis": basis_line(day.best for day in days),
        "view": view,
        "mark": StatusMark(status),
        "binding": line(context, field, found[0]),
        "weather": wind_line(snapshot.timeline.of(field))
        if time == snapshot.timeline.now_index
        else ahead_line(snapshot.timeline.of(field)),
        "air": air_now(context, field, chosen) if time == snapshot.timeline.now_index else None,
        "facts": _facts(context, field),
        "limits": [(line(context, field, one), _decided_at(context, field, one)) for one in found],
        "binding_at": _decided_at(context, field, found[0]),
        "chosen": chosen,
        "setups": [
            (s, StatusMark(Status(int(judgement.status[index, plan.setups.index(s), time]))))
            for s in usable
        ],
        "recommended": seen.setup,
        "at": int(judgement.series.times[time]),
        "at_clock": context.clock(int(judgement.series.times[time])),
        "is_now": time == snapshot.timeline.now_index,
        "times": list(_times(context, judgement, case, snapshot.timeline.now_index, now)),
        "map": drawn,
        "ruler": ruler(metres, MAP_WIDTH, context.speaker.system, _wind_from(judgement, time)),
        "map_says": _map_says(context, reach),
        "to_leave": to_leave_lines(strips, context.speaker.system),
        "attribution": context.pictures.attribution if context.pictures else "",
        "parts": _parts(context, judgement, case),
        "hours": _hours(context, view, str(seen.setup)),
        "gusts": _gusts(context, judgement, case),
        "takes": takes(float(plan.duration_s[case[:2]]), seen.left),
    }


def _wind_from(judgement: Judgement, time: int) -> float:
    return float(judgement.series.wind_from_deg[time])


def _decided_at(context: AppContext, field: str, reason: Reason) -> str | None:
    """The page on which what decides is changed; None where none does, as of a public law."""
    key, window = CATALOGUE[reason.limit].key, context.farm.config.fields[field].window
    if reason.rule is not None:
        kind, _, name = reason.rule.of.partition(" ")
        return {"product": f"/farm/products/{name}", "window": f"/farm/windows/{name}"}.get(kind)
    if key in IN_WINDOWS:
        return f"/fields/{field}/bound/{key}"
    if reason.limit in _OF_WINDOWS:
        return f"/farm/windows/{window}"
    return f"/fields/{field}/change" if reason.limit is Limit.CONTROL else None


def _chance(
    context: AppContext, of: tuple[str, str], judgement: Judgement, time: int, status: Status
) -> FieldChance | None:
    """How likely a job with a field and setup holds that begins now or at an hour ahead."""
    timeline = context.snapshot.timeline
    if time == timeline.now_index:
        return context.chances.now(*of, timeline.now, status)
    return context.chances.at_hour(*of, int(judgement.series.times[time]), status)


def _facts(context: AppContext, field: str) -> list[tuple[Message, Param]]:
    """What is in the farm file of a field that a grower looks for: crop, weeds, area, last day."""
    plan = context.farm.config.fields[field]
    area = ShownQuantity(context.farm.ground.area_m2(field), Kind.AREA, context.speaker.system)
    facts: list[tuple[Message, Param]] = [
        (say("Crop"), Name(plan.crop)),
        (say("Weeds"), WEED_WORDS[plan.weeds]),
        (say("Area"), area),
    ]
    if plan.latest is not None:
        facts.append((say("Last day"), f"{plan.latest:%Y-%m-%d}"))
    if plan.left_out:
        facts.append((say("Left out"), say("until you take that back")))
    return facts


def _parts(
    context: AppContext, judgement: Judgement, case: tuple[int, int, int]
) -> dict[str, ExplanationPart]:
    parts = explanation(context.speaker, judgement, case, context.snapshot.remedies(case))
    return {part.key: part for part in parts if part.key not in _OWN_PARTS}


def _gusts(context: AppContext, judgement: Judgement, case: tuple[int, int, int]) -> Message | None:
    """What gusts to expect in the wind of now: once a job runs nobody can promise any."""
    timeline = context.snapshot.timeline.of(judgement.plan.fields[case[0]])
    if case[2] != context.snapshot.timeline.now_index:
        return None
    with context.watch.transactions.store.reading() as session:
        usual = usual_gusts(session, judgement, timeline, case[0], case[1])
    if usual is None:
        return None
    return usual_gusts_line(
        context.speaker, factor=usual.factor, gust_m_s=usual.gust_m_s, bound_m_s=usual.bound_m_s
    )


def _index(judgement: Judgement, now_index: int, at: int | None) -> int:
    """The index of the time asked for; of now for one that is not ahead."""
    times = judgement.series.times
    if at is None or not times[now_index] < at <= times[-1]:
        return now_index
    return int(np.searchsorted(times, at, side="right")) - 1


def _times(
    context: AppContext, judgement: Judgement, case: tuple[int, int, int], now_index: int, now: int
) -> Iterator[tuple[int, Message]]:
    """The hours ahead to choose from, each with what the field is then."""
    horizon = now + context.farm.config.judging.horizon
    for index in range(now_index, len(judgement.series)):
        at = int(judgement.series.times[index])
        if at > horizon:
            return
        status = Status(int(judgement.status[case[0], case[1], index]))
        hour = WallTime(at, now, context.farm.zone)
        yield at, joined([hour, SHAPES[status], STATUS_WORDS[status]], " ")


def _map_says(context: AppContext, reach: SprayReach) -> Message:
    share = percent(reach.deposit_pct)
    if not reach.estimated:
        return say(
            "The reach of the spray is not estimated: the published curves are of ground booms"
        )
    if isnan(reach.distance_m):
        return say("The reach of the spray is unknown: the wind or its direction is missing")
    if reach.shape is None:
        return say("Nowhere outside the field more than {share} of the rate may land", share=share)
    says = say(
        "More than {share} of the rate may land as far as {distance} downwind, within the hatching",
        share=share,
        distance=ShownQuantity(reach.distance_m, Kind.LENGTH, context.speaker.system),
    )
    return joined([says, OPEN_BOOM], "; ") if reach.as_open_boom else says


def _jobs(context: AppContext) -> Jobs:
    """The open jobs by field."""
    with context.watch.transactions.store.reading() as session:
        return by_field(open_jobs(context, session))
