"""The weather of a job at its start, at every half hour and at its end, just as it was judged."""

import json
import math
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence

import shapely
from sqlalchemy.orm import Session

from watcher.farm.geometry.bearings import side
from watcher.farm.rules.buffers import Reduction
from watcher.judge.changed_rig import ChangedRig
from watcher.judge.farm_judgement import judge_look
from watcher.judge.judgement import Judgement
from watcher.judge.neighbour_deposits import neighbour_deposits
from watcher.judge.reasons import Reason, downwind_neighbours, reasons
from watcher.judge.timeline import MEAN_S, Timeline
from watcher.limits.air import wet_bulb_depression
from watcher.limits.buffers import LeftStrip
from watcher.limits.farm_arrays import FarmArrays
from watcher.limits.status import Status
from watcher.records.facts import (
    Air,
    BufferKept,
    Landing,
    LimitStood,
    Moment,
    NeighbourDownwind,
    Quality,
    Spoke,
    ToLeave,
)
from watcher.sources.base import Flag
from watcher.store import records as store
from watcher.weather.inversion import Finding
from watcher.weather.stability import Stability

Compose = Callable[[int], Timeline]
"""Composes the timeline of a moment from the log: the same one the watch judges by."""

HALF_HOUR_S = 1800
_ON_THE_WAY_S = 60
"""A reading that arrives this much after its moment was only on its way. [s]"""
_ALWAYS_SHOWN = ("wind_m_s", "gust_m_s", "wind_from_deg", "temp_c", "humidity_pct")


def marks(started: int, ended: int) -> Iterator[tuple[int, str]]:
    """Yield the moments of a job and what they are called: start, every half hour, end.

    By elapsed time, whatever the clocks on the wall do meanwhile. Epoch seconds.
    """
    yield started, "start"
    for at in range(started + HALF_HOUR_S, ended, HALF_HOUR_S):
        yield at, f"{(at - started) // 60} min"
    yield ended, "end"


def moment(
    session: Session,
    plan: FarmArrays,
    compose: Compose,
    *,
    at: int,
    mark: str,
    field: str,
    setup: str,
    paused: bool,
    rig: ChangedRig | None = None,
) -> Moment:
    """Judge a job's field and setup, or its rig as it was changed, at one moment of the log."""
    timeline = compose(at).of(field)
    plan = plan if rig is None else rig.on(plan, at)
    judgement = judge_look(plan, timeline)
    f, s, i = plan.fields.index(field), plan.setups.index(setup), timeline.now_index
    found = reasons(judgement, f, s, i)
    return Moment(
        **dict(air(session, timeline, judgement, mark)),
        paused=paused,
        setup=setup,
        boom_wind_m_s=known(judgement.boom.wind_m_s[f, s, i]),
        boom_gust_m_s=known(judgement.boom.gust_m_s[f, s, i]),
        boom_height_m=float(plan.canopy_m[f] + plan.boom_m[s]),
        status=Status(int(judgement.instant[f, s, i])).word,
        limits=_limits(found),
        downwind=_downwind(judgement, f, i),
        landing=_landing(judgement, f, s, i),
        to_leave=tuple(_to_leave(judgement, field, found)),
    )


def air(session: Session, timeline: Timeline, judgement: Judgement, mark: str) -> Air:
    """Return the weather of a timeline's now, as it was judged."""
    series, i = timeline.series, timeline.now_index
    inversion = judgement.inversion
    return Air(
        at=timeline.now,
        mark=mark,
        wind_m_s=known(series.wind_m_s[i]),
        wind_height_m=series.site.wind_height_m,
        gust_m_s=known(series.gust_m_s[i]),
        wind_from_deg=known(series.wind_from_deg[i]),
        wind_spread_deg=known(series.wind_spread_deg[i]),
        temp_c=known(series.temp_c[i]),
        temp_height_m=series.site.temp_height_m,
        humidity_pct=known(series.humidity_pct[i]),
        delta_t_k=known(wet_bulb_depression(series)[i]),
        inversion=_finding(inversion.finding[i]),
        stability=Stability(int(inversion.stability[i])).name,
        evidence={name: _finding(line[i]) for name, line in inversion.lines.items()},
        spoken=_spoken(timeline),
        quality=tuple(_quality(session, timeline)),
    )


def known(value: float) -> float | None:
    """Return a number as JSON can hold it: None for what is not known or has no bound."""
    return float(value) if math.isfinite(value) else None


def _finding(code: int) -> str:
    return Finding(int(code)).name.lower()


def _limits(found: Sequence[Reason]) -> dict[str, LimitStood]:
    return {
        r.limit.value: LimitStood(
            stand=r.stand.name.lower(),
            value=known(r.value),
            low=known(r.low),
            high=known(r.high),
            origin=r.origin.value,
            low_origin=r.low_origin.value if r.low_origin else None,
            high_origin=r.high_origin.value if r.high_origin else None,
        )
        for r in found
    }


def _spoken(timeline: Timeline) -> dict[str, Spoke]:
    return {
        name: Spoke(source=who.source, age_s=known(who.age_s), measured=who.measured)
        for name, who in timeline.spoken.items()
        if who.source is not None or name in _ALWAYS_SHOWN
    }


def _quality(session: Session, timeline: Timeline) -> Iterator[Quality]:
    """How good the readings were that each station's values were taken from."""
    oldest: dict[str, float] = {}
    for who in timeline.spoken.values():
        if who.measured and who.source is not None:
            oldest[who.source] = max(who.age_s, oldest.get(who.source, 0.0))
    now = timeline.now
    for source, age_s in oldest.items():
        found = store.arrivals(session, source, int(now - age_s) - MEAN_S + 1, now + 1)
        yield Quality(
            source=source,
            readings=len(found),
            flagged=_flagged(flags for _, _, flags in found),
            came_later=sum(arrived > now + _ON_THE_WAY_S for _, arrived, _ in found),
        )


def _flagged(findings: Iterator[Mapping[str, int]]) -> dict[str, int]:
    words = Counter(
        f"{quantity}: {(flag.name or str(flag.value)).lower().replace('_', ' ')}"
        for flags in findings
        for quantity, bits in flags.items()
        for flag in Flag(bits)
    )
    return dict(sorted(words.items()))


def _downwind(judgement: Judgement, field: int, time: int) -> tuple[NeighbourDownwind, ...]:
    ground = judgement.plan.farm.ground
    shape = ground.fields[judgement.plan.fields[field]]
    return tuple(
        NeighbourDownwind(
            neighbour=n.name, side=side(shape, ground.neighbours[n.name]), gap_m=n.gap_m
        )
        for n in downwind_neighbours(judgement, field, time)
    )


def _to_leave(judgement: Judgement, field: str, found: Sequence[Reason]) -> Iterator[ToLeave]:
    """The strips that were to be left, as ground; what leaves nothing of a field is said by it."""
    ground = judgement.plan.farm.ground
    for strip in (strip for reason in found for strip in reason.strips):
        if not math.isfinite(strip.depth_m):
            continue
        shape = ground.beside(field, strip.neighbour, strip.gap_m + strip.depth_m)
        if not shape.is_empty:
            yield ToLeave(
                neighbour=strip.neighbour,
                side=side(ground.fields[field], ground.neighbours[strip.neighbour]),
                depth_m=strip.depth_m,
                how=_how(strip),
                shape=json.loads(shapely.to_geojson(ground.in_degrees(shape))),
            )


def _how(strip: LeftStrip) -> BufferKept:
    """How the buffer behind a strip that leaves something of a field was worked out."""
    buffer, how = strip.of.buffer, strip.how
    return BufferKept(
        of=strip.of.of,
        origin=buffer.origin.value,
        citation=buffer.citation,
        base_m=how.base_m or 0.0,
        reduced_by=tuple(map(_reduction, how.reduced_by)),
        combine=buffer.combine,
        required_m=strip.required_m,
        gap_m=strip.gap_m,
        gap_counted_m=strip.gap_counted_m,
    )


def _reduction(one: Reduction) -> str:
    by = f"{one.percent:g} %" if one.to is None else f"to {one.to:g} m"
    return f"{by}: {', '.join(one.needs)}"


def _landing(judgement: Judgement, field: int, setup: int, time: int) -> tuple[Landing, ...]:
    return tuple(
        Landing(
            neighbour=e.neighbour,
            side=e.side,
            gap_m=e.gap_m,
            edge_pct=known(e.edge_pct),
            upper_pct=known(e.upper_pct),
            tolerance_pct=known(e.tolerance_pct),
            extrapolated=e.extrapolated,
            origin=e.origin.value,
            as_open_boom=e.as_open_boom,
        )
        for e in neighbour_deposits(judgement, field, setup, time)
    )
