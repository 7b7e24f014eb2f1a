"""Windows that can never open, and own limits that would loosen what they may only tighten."""

from collections.abc import Iterator, Mapping
from typing import NamedTuple

import numpy as np

from watcher.farm.field_limits import limits_for
from watcher.farm.field_rules import rules_of
from watcher.farm.geometry.ground import Polygonal
from watcher.farm.models import Bounds, FieldPlan, Origin, OwnLimits, Window
from watcher.farm.origin import Force
from watcher.farm.problems import Problem
from watcher.farm.read_file import Draft
from watcher.farm.rules.weather import WindRule
from watcher.farm.validation_messages import Steps, assigned, dotted
from watcher.i18n.message import Message, Number, Param, ShownQuantity, say
from watcher.limits.catalogue import BOTH, IN_WINDOWS, WRITTEN
from watcher.weather.sun import day_length

_HALF_DAY_S = 43_200.0
_SOLSTICES_S = np.array([1_782_043_200.0, 1_797_854_400.0])
"""Noon of 21 June and of 21 December 2026: of these one is the longest day of any place."""


_ROOM = say("leave room between the bounds")


class ShutLimit(NamedTuple):
    """A limit that can never hold, and why."""

    limit: str
    why: Message
    mend: Message = _ROOM


def window_problems(draft: Draft) -> Iterator[Problem]:
    """Bounds that are none, and windows whose limits leave no hour open anywhere."""
    for name, window in draft.config.windows.items():
        yield from _bound_problems(draft, ("windows", name), window)
        if not _wind_is_ruled(draft, name) and (
            window.wind.low is None or window.wind.high is None
        ):
            key, wrong = dotted(("windows", name, "wind")), say("needs a low and a high bound")
            mend = say("still air is as bad as strong wind: many labels say 3 mph and 10 mph")
            yield draft.problem(key, wrong, mend)
        for shut in _shut(draft, window):
            yield draft.problem(dotted(("windows", name, shut.limit)), shut.why, shut.mend)


def _wind_is_ruled(draft: Draft, window: str) -> bool:
    """Whether rules bound the wind of every field that has a window."""
    fields = [name for name, f in draft.config.fields.items() if f.window == window]
    return bool(fields) and all(
        any(
            isinstance(r.rule, WindRule) and r.rule.high is not None
            for r in rules_of(draft.config, name)
            if r.rule.force is not Force.ADVICE
        )
        for name in fields
    )


def field_problems(draft: Draft) -> Iterator[Problem]:
    """Own limits that loosen, that leave no hour open, or that no setup can keep."""
    for name, plan in draft.config.fields.items():
        yield from _bound_problems(draft, ("fields", name, "limits"), plan.limits)
        if (window := draft.config.windows.get(plan.window)) is None:
            continue
        yield from _looser(draft, name, plan.limits, window)
        merged = limits_for(window, plan.limits)
        already = {shut.limit for shut in _shut(draft, window)}
        for shut in _shut(draft, merged):
            if shut.limit not in already:
                key = dotted(("fields", name, "limits", shut.limit))
                mend = shut.mend if _swapped(getattr(plan.limits, shut.limit, None)) else _ROOM
                wrong = say('with window "{window}": {why}', window=plan.window, why=shut.why)
                yield draft.problem(key, wrong, mend)
        yield from _too_fine(draft, name, plan, merged)


def _bounds(limits: OwnLimits) -> Iterator[tuple[str, Bounds[float]]]:
    for limit in IN_WINDOWS:
        if (bounds := getattr(limits, limit)) is not None:
            yield limit, bounds


def _bound_problems(draft: Draft, steps: Steps, limits: OwnLimits) -> Iterator[Problem]:
    for limit, bounds in _bounds(limits):
        sides = IN_WINDOWS[limit].sides
        if bounds.low is None and bounds.high is None and limit != "wind":
            if len(sides) == 1:
                mend = say("write {side}, or take the limit out", side=sides[0])
            else:
                mend = say("write low or high, or take the limit out")
            yield draft.problem(dotted((*steps, limit)), say("names no bound"), mend)
        for side in BOTH:
            if getattr(bounds, side) is not None and side not in sides:
                key = dotted((*steps, limit, side))
                mend = say("only {only} counts: take {side} out", only=sides[0], side=side)
                yield draft.problem(key, say("means nothing for this limit"), mend)
        if bounds.low_origin is not None and bounds.low is None:
            key = dotted((*steps, limit, "low_origin"))
            yield draft.problem(key, say("there is no low bound"), say("take it out"))


def _shut(draft: Draft, window: Window) -> Iterator[ShutLimit]:
    for limit, bounds in _bounds(window):
        if bounds.low is not None and bounds.high is not None and bounds.low >= bounds.high:
            low, high = _show(draft, limit, bounds.low), _show(draft, limit, bounds.high)
            why = say("can never open: low {low} is not under high {high}", low=low, high=high)
            yield ShutLimit(limit, why, say("swap low and high") if _swapped(bounds) else _ROOM)
    gust = window.gust.high if window.gust else None
    if gust is not None and window.wind.low is not None and gust <= window.wind.low:
        low = _show(draft, "wind", window.wind.low)
        why = say("can never open: gusts may not even reach the wind's low bound, {low}", low=low)
        yield ShutLimit("gust", why)
    dry = window.rain_free_after.low if window.rain_free_after else None
    if dry is not None and dry > draft.config.judging.horizon:
        why = say("can never open: it reaches beyond judging.horizon")
        yield ShutLimit("rain_free_after", why)


def _swapped(bounds: Bounds[float] | None) -> bool:
    if bounds is None or bounds.low is None or bounds.high is None:
        return False
    return bounds.low > bounds.high


def _show(draft: Draft, limit: str, inside: float) -> ShownQuantity:
    return ShownQuantity(inside, WRITTEN[limit].kind, draft.config.farm.units, decimals=1)


def _looser(draft: Draft, name: str, own: OwnLimits, window: Window) -> Iterator[Problem]:
    for limit, bounds in _bounds(own):
        theirs: Bounds[float] | None = getattr(window, limit)
        for side in BOTH:
            ours, bound = getattr(bounds, side), getattr(theirs, side, None)
            if theirs is None or ours is None or bound is None:
                continue
            if ours < bound if side == "low" else ours > bound:
                shown = _show(draft, limit, bound)
                yield _loosened(draft, (name, limit, side), theirs.origin_of(side), shown)
    if own.droplets and window.droplets and own.droplets.low < window.droplets.low:
        place = (name, "droplets", "low")
        yield _loosened(draft, place, window.droplets.origin, window.droplets.low.words)


def _loosened(draft: Draft, place: tuple[str, str, str], origin: Origin, bound: Param) -> Problem:
    name, limit, side = place
    steps = ("fields", name, "limits", limit, side)
    wrong = {
        Origin.OWN: say("is looser than its window's own {bound}", bound=bound),
        Origin.LABEL: say("is looser than the label's {bound}", bound=bound),
        Origin.LAW: say("is looser than the law's {bound}", bound=bound),
        Origin.STATE_LAW: say("is looser than the state law's {bound}", bound=bound),
        Origin.NATIONAL_LAW: say("is looser than the national law's {bound}", bound=bound),
        Origin.DEFAULT: say("is looser than our default, {bound}", bound=bound),
    }[origin]
    mend = say("a field may only tighten its window: tighten it or take it out")
    return draft.problem(assigned(steps, draft.at(*steps)), wrong, mend)


def _too_fine(draft: Draft, name: str, plan: FieldPlan, merged: Window) -> Iterator[Problem]:
    allowed = plan.setups or draft.names("setups")
    setups = {s: draft.config.setups[s] for s in allowed if s in draft.config.setups}
    if merged.droplets is None or len(setups) < len(allowed) or not setups:
        return  # a setup that cannot be read is a problem of its own
    if all(setup.droplets < merged.droplets.low for setup in setups.values()):
        listed = ", ".join(f"{s} ({setup.droplets.words})" for s, setup in setups.items())
        finest = merged.droplets.low.words
        wrong = say('can never be sprayed: drops must be "{finest}" or coarser', finest=finest)
        mend = say("allow a coarser setup here; these are: {setups}", setups=listed)
        yield draft.problem(dotted(("fields", name, "setups")), wrong, mend)


def night_problems(draft: Draft, shapes: Mapping[str, Polygonal]) -> Iterator[Problem]:
    """Fields whose time after sunrise and before sunset leaves nothing of even the longest day."""
    for name, plan in draft.config.fields.items():
        window = draft.config.windows.get(plan.window)
        if window is None or name not in shapes:
            continue
        merged = limits_for(window, plan.limits)
        taken = sum(b.low or 0.0 for b in (merged.after_sunrise, merged.before_sunset) if b)
        if taken < _HALF_DAY_S:
            continue  # the longest day is longer than that anywhere
        if taken >= (longest := _longest_day_s(shapes[name])):
            wrong = say(
                "can never be sprayed: the longest day there has {hours}",
                hours=Number(f"{longest / 3600:.1f} h"),
            )
            mend = say(
                "after_sunrise and before_sunset together take {hours} of it",
                hours=Number(f"{taken / 3600:.1f} h"),
            )
            yield draft.problem(dotted(("fields", name)), wrong, mend)


def _longest_day_s(shape: Polygonal) -> float:
    centre = shape.centroid
    hours = day_length(times=_SOLSTICES_S, latitude=centre.y, longitude=centre.x)
    return float(np.max(hours)) * 3600.0
