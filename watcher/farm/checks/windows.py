"""Windows that can never open, and own limits that would loosen what they may only tighten."""

from collections.abc import Iterator, Mapping
from typing import Literal, NamedTuple

import numpy as np

from watcher.farm.ground import Polygonal
from watcher.farm.limits import limits_for
from watcher.farm.models import Bounds, FieldPlan, Origin, OwnLimits, Window
from watcher.farm.problems import Problem
from watcher.farm.reading import Draft
from watcher.farm.slips import Steps, assigned, dotted
from watcher.units import Kind, show
from watcher.weather.sun import day_length

SIDES: tuple[Literal["low", "high"], ...] = ("low", "high")

_KINDS = {
    "wind": Kind.SPEED,
    "gust": Kind.SPEED,
    "temperature": Kind.TEMPERATURE,
    "delta_t": Kind.TEMPERATURE_STEP,
    "humidity": Kind.PERCENT,
    "rain_free_before": Kind.DURATION,
    "rain_free_after": Kind.DURATION,
    "after_sunrise": Kind.DURATION,
    "before_sunset": Kind.DURATION,
}
_ONLY_SIDE = {
    "gust": "high",
    "rain_free_before": "low",
    "rain_free_after": "low",
    "after_sunrise": "low",
    "before_sunset": "low",
}
_HALF_DAY_S = 43_200.0
# A day of every week of a year: finds the longest to within two minutes up to 64 degrees.
_WEEKS_S = 1_767_225_600 + np.arange(0, 366, 7) * 86_400


class Shut(NamedTuple):
    """A limit that can never hold, and why."""

    limit: str
    why: str


def window_problems(draft: Draft) -> Iterator[Problem]:
    """Bounds that are none, and windows whose limits leave no hour open anywhere."""
    for name, window in draft.told.windows.items():
        yield from _bound_problems(draft, ("windows", name), window)
        if window.wind.low is None or window.wind.high is None:
            key, wrong = dotted(("windows", name, "wind")), "needs a low and a high bound"
            mend = "still air is as bad as strong wind: many labels say 3 mph and 10 mph"
            yield draft.problem(key, wrong, mend)
        for shut in _shut(draft, window):
            yield draft.problem(dotted(("windows", name, shut.limit)), shut.why, _ROOM)


def field_problems(draft: Draft) -> Iterator[Problem]:
    """Own limits that loosen, that leave no hour open, or that no setup can keep."""
    for name, plan in draft.told.fields.items():
        yield from _bound_problems(draft, ("fields", name, "limits"), plan.limits)
        if (window := draft.told.windows.get(plan.window)) is None:
            continue
        yield from _looser(draft, name, plan.limits, window)
        merged = limits_for(window, plan.limits)
        already = {shut.limit for shut in _shut(draft, window)}
        for shut in _shut(draft, merged):
            if shut.limit not in already:
                key = dotted(("fields", name, "limits", shut.limit))
                yield draft.problem(key, f'with window "{plan.window}" it {shut.why}', _ROOM)
        yield from _too_fine(draft, name, plan, merged)


_ROOM = "leave room between the bounds"


def _bounds(limits: OwnLimits) -> Iterator[tuple[str, Bounds[float]]]:
    for limit in _KINDS:
        if (bounds := getattr(limits, limit)) is not None:
            yield limit, bounds


def _bound_problems(draft: Draft, steps: Steps, limits: OwnLimits) -> Iterator[Problem]:
    for limit, bounds in _bounds(limits):
        key = dotted((*steps, limit))
        if bounds.low is None and bounds.high is None:
            mend = f"write {_ONLY_SIDE.get(limit, 'low or high')}, or take the limit out"
            yield draft.problem(key, "names no bound", mend)
        for side in SIDES:
            if getattr(bounds, side) is not None and _ONLY_SIDE.get(limit, side) != side:
                mend = f"only {_ONLY_SIDE[limit]} counts: take {side} out"
                yield draft.problem(f"{key}.{side}", "means nothing for this limit", mend)
        if bounds.low_origin is not None and bounds.low is None:
            yield draft.problem(f"{key}.low_origin", "there is no low bound", "take it out")


def _shut(draft: Draft, window: Window) -> Iterator[Shut]:
    for limit, bounds in _bounds(window):
        if bounds.low is not None and bounds.high is not None and bounds.low >= bounds.high:
            low, high = _show(draft, limit, bounds.low), _show(draft, limit, bounds.high)
            yield Shut(limit, f"can never open: low {low} is not under high {high}")
    gust = window.gust.high if window.gust else None
    if gust is not None and window.wind.low is not None and gust <= window.wind.low:
        low = _show(draft, "wind", window.wind.low)
        yield Shut("gust", f"can never open: gusts may not even reach the wind's low bound, {low}")
    dry = window.rain_free_after.low if window.rain_free_after else None
    if dry is not None and dry > draft.told.judging.horizon:
        yield Shut("rain_free_after", "can never open: it reaches beyond judging.horizon")


def _show(draft: Draft, limit: str, inside: float) -> str:
    return show(inside, _KINDS[limit], draft.told.farm.units, decimals=1)


def _looser(draft: Draft, name: str, own: OwnLimits, window: Window) -> Iterator[Problem]:
    for limit, bounds in _bounds(own):
        theirs: Bounds[float] | None = getattr(window, limit)
        for side in SIDES:
            ours, bound = getattr(bounds, side), getattr(theirs, side, None)
            if theirs is None or ours is None or bound is None:
                continue
            if ours < bound if side == "low" else ours > bound:
                said = _show(draft, limit, bound)
                yield _loosened(draft, (name, limit, side), theirs.origin_of(side), said)
    if own.droplets and window.droplets and own.droplets.low < window.droplets.low:
        said = window.droplets.low.words
        yield _loosened(draft, (name, "droplets", "low"), window.droplets.origin, said)


def _loosened(draft: Draft, place: tuple[str, str, str], origin: Origin, bound: str) -> Problem:
    name, limit, side = place
    steps = ("fields", name, "limits", limit, side)
    whose = "its window's own" if origin is Origin.OWN else f"the {origin.value}'s"
    return draft.problem(
        assigned(steps, draft.at(*steps)),
        f"is looser than {whose} {bound}",
        "a field may only tighten its window: tighten it or take it out",
    )


def _too_fine(draft: Draft, name: str, plan: FieldPlan, merged: Window) -> Iterator[Problem]:
    allowed = plan.setups or draft.names("setups")
    setups = {s: draft.told.setups[s] for s in allowed if s in draft.told.setups}
    if merged.droplets is None or len(setups) < len(allowed) or not setups:
        return  # a setup that cannot be read is a problem of its own
    if all(setup.droplets < merged.droplets.low for setup in setups.values()):
        told = ", ".join(f"{s} ({setup.droplets.words})" for s, setup in setups.items())
        wrong = f"can never be sprayed: drops must be {merged.droplets.low.words} or coarser"
        mend = f"allow a coarser setup here; these are: {told}"
        yield draft.problem(dotted(("fields", name, "setups")), wrong, mend)


def night_problems(draft: Draft, shapes: Mapping[str, Polygonal]) -> Iterator[Problem]:
    """Fields whose time after sunrise and before sunset leaves nothing of even the longest day."""
    for name, plan in draft.told.fields.items():
        window = draft.told.windows.get(plan.window)
        if window is None or name not in shapes:
            continue
        merged = limits_for(window, plan.limits)
        taken = sum(b.low or 0.0 for b in (merged.after_sunrise, merged.before_sunset) if b)
        if taken < _HALF_DAY_S:
            continue  # the longest day is longer than that anywhere
        if taken >= (longest := _longest_day_s(shapes[name])):
            wrong = f"can never be sprayed: the longest day there has {longest / 3600:.1f} h"
            mend = f"after_sunrise and before_sunset together take {taken / 3600:.1f} h of it"
            yield draft.problem(dotted(("fields", name)), wrong, mend)


def _longest_day_s(shape: Polygonal) -> float:
    centre = shape.centroid
    hours = day_length(times=_WEEKS_S, latitude=centre.y, longitude=centre.x)
    return float(np.max(hours)) * 3600.0
