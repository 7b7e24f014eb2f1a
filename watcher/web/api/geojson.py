"""The farm on the map for programs (RFC 7946): boundaries, strips to leave, where spray may land.

Strips and reach are those of the wind now, with the setup that the ranking recommends.
"""

import json
import math
from collections.abc import Iterator
from typing import Annotated, Any, Literal

import shapely
from fastapi import APIRouter, Depends, Query, Response
from shapely.geometry.base import BaseGeometry

from watcher.farm import Farm
from watcher.judge.judgement import Judgement
from watcher.judge.reasons import left_strips, reasons
from watcher.limits.catalogue import Limit
from watcher.limits.status import LimitState
from watcher.web.api.endpoints import API, answers
from watcher.web.api.models import finite
from watcher.web.auth.users import User
from watcher.web.context import AppContext
from watcher.web.svg.reach import spray_reach

_GEOJSON = "application/geo+json"
IS_GEOJSON: dict[int | str, dict[str, Any]] = {
    200: {"content": {_GEOJSON: {"schema": {"type": "object"}}}}
}
FeatureRole = Literal["field", "neighbour", "strip", "reach"]
Feature = dict[str, Any]
_GRID_DEG = 1e-7
"""A centimetre: shapes that are worked out have no more to say."""


def router(context: AppContext) -> APIRouter:
    """Route of the map."""
    routes = APIRouter(prefix="/api/v1", tags=["farm"], **API)

    @routes.get(
        "/map.geojson", response_class=Response, responses=answers(401, 422, 503) | IS_GEOJSON
    )
    def on_the_map(
        role: Annotated[
            list[FeatureRole] | None,
            Query(max_length=4, description="Only these; all where none is named"),
        ] = None,
        _user: User = Depends(context.auth.api_looker),  # noqa: B008
    ) -> Response:
        """Fields, neighbours, strips that stay unsprayed now, and how far spray may land.

        Where a field's ``strips_known`` or ``reach_known`` is false, wind or direction is not known
        or nothing tells of its sprayer's drift: none is drawn then, and there may well be some.
        """
        features = [*now_on_the_map(context), *neighbours_of(context.farm)]
        found = [one for one in features if not role or one["properties"]["role"] in role]
        return as_geojson(found)

    return routes


def as_geojson(features: list[Feature]) -> Response:
    """Return features as an answer."""
    collection = {"type": "FeatureCollection", "features": features}
    return Response(json.dumps(collection, ensure_ascii=False), media_type=_GEOJSON)


def fields_of(farm: Farm) -> Iterator[Feature]:
    """Yield the boundaries of fields."""
    for name in farm.ground.fields_deg:
        yield _field(farm, name)


def neighbours_of(farm: Farm) -> Iterator[Feature]:
    """Yield the boundaries of neighbours."""
    for name, shape in farm.ground.neighbours_deg.items():
        beside = farm.config.neighbours[name]
        yield _feature(
            name,
            shape,
            role="neighbour",
            grows=beside.grows,
            susceptibility=beside.susceptibility.value,
        )


def now_on_the_map(context: AppContext) -> Iterator[Feature]:
    """Yield fields with their strips and reach, as the newest judgement has them.

    Raises NothingJudgedError.
    """
    snapshot = context.snapshot
    plan, ranked = snapshot.judgement.plan, snapshot.ranking.every
    for index, field in enumerate(plan.fields):
        setup = ranked[field].setup if field in ranked else None
        if setup is None:
            yield _field(plan.farm, field, setup=None, strips_known=False, reach_known=False)
            continue
        case = index, plan.setups.index(setup), snapshot.timeline.now_index
        yield from _of_case(snapshot.judgement.of_field(index), case)


def _of_case(judgement: Judgement, case: tuple[int, int, int]) -> Iterator[Feature]:
    plan = judgement.plan
    farm, field, setup = plan.farm, plan.fields[case[0]], plan.setups[case[1]]
    reach = spray_reach(judgement, case)
    buffers = [one for one in reasons(judgement, *case) if one.limit is Limit.NO_SPRAY]
    yield _field(
        farm,
        field,
        setup=setup,
        strips_known=all(one.stand is not LimitState.UNKNOWN for one in buffers),
        reach_known=math.isfinite(reach.distance_m),
        reach_m=finite(reach.distance_m),
        deposit_pct=reach.deposit_pct,
    )
    for strip in left_strips(judgement, *case):
        whole = not math.isfinite(strip.depth_m)
        ground = (
            farm.ground.fields[field]
            if whole
            else farm.ground.beside(field, strip.neighbour, strip.gap_m + strip.depth_m)
        )
        about = {"field": field, "setup": setup, "beside": strip.neighbour, "whole_field": whole}
        yield _worked_out(farm, ground, role="strip", depth_m=finite(strip.depth_m), **about)
    if reach.shape is not None:
        about = {"field": field, "setup": setup, "deposit_pct": reach.deposit_pct}
        yield _worked_out(farm, reach.shape, role="reach", **about)


def _field(farm: Farm, name: str, **more: Any) -> Feature:
    about = {"crop": farm.config.fields[name].crop, "area_m2": round(farm.ground.area_m2(name))}
    return _feature(name, farm.ground.fields_deg[name], role="field", **about, **more)


def _worked_out(farm: Farm, metres: BaseGeometry, **about: Any) -> Feature:
    shape = shapely.set_precision(farm.ground.in_degrees(metres), _GRID_DEG)
    name = "/".join(str(about[key]) for key in ("role", "field", "beside") if key in about)
    return _feature(name, shapely.orient_polygons(shape), **about)


def _feature(name: str, shape: Any, **about: Any) -> Feature:
    geometry = json.loads(shapely.to_geojson(shape))
    return {"type": "Feature", "id": name, "properties": about, "geometry": geometry}
