"""What of a label's or a law's words an edit loosens: the owner must say that they changed."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Literal

from watcher.farm.models import (
    Bounds,
    Downwind,
    DropletRule,
    FarmFile,
    InversionRule,
    NeighbourRule,
    Window,
)
from watcher.farm.origin import STRICTNESS, Origin
from watcher.farm.products import Product
from watcher.farm.validation_messages import Steps

_DOWNWIND = {Downwind.ANY: 0, Downwind.CALM: 1, Downwind.NEVER: 2}
_SIDES: tuple[tuple[Literal["low", "high"], float], ...] = (("low", 1.0), ("high", -1.0))
_WINDS: tuple[Literal["susceptible", "very_susceptible"], ...] = ("susceptible", "very_susceptible")


@dataclass(frozen=True)
class Loosened:
    """A place of the farm file where a label or law allows more than before."""

    at: Steps
    origin: Origin
    """Whose word it is."""


def loosened(before: FarmFile, after: FarmFile) -> tuple[Loosened, ...]:
    """Return every bound, rule and buffer of a label or law that asks for less than before.

    One that is the grower's own from now on, or gone, asks for less. To choose another product or
    window for a field is the grower's, and loosens no label.
    """
    return tuple(_loosened(before, after))


def _loosened(before: FarmFile, after: FarmFile) -> Iterator[Loosened]:
    for preset in before.farm.presets:
        if preset not in after.farm.presets:
            yield Loosened(("farm", "presets"), Origin.LAW)
    for name, window in before.windows.items():
        if (other := after.windows.get(name)) is not None:
            yield from _of_window(("windows", name), window, other)
    for name, product in before.products.items():
        if (changed := after.products.get(name)) is not None:
            yield from _of_product(("products", name), product, changed)
    for name, neighbour in before.neighbours.items():
        same = after.neighbours.get(name)
        if same is not None and same.no_spray_distance < neighbour.no_spray_distance:
            yield Loosened(("neighbours", name, "no_spray_distance"), Origin.LABEL)
    for name, field in before.fields.items():
        if (planned := after.fields.get(name)) is not None:
            for key in type(field.limits).model_fields:
                ours, theirs = getattr(field.limits, key), getattr(planned.limits, key)
                yield from _of_bound(("fields", name, "limits", key), ours, theirs)


def _of_window(at: tuple[str, ...], before: Window, after: Window) -> Iterator[Loosened]:
    for key in Window.model_fields:
        ours, theirs = getattr(before, key), getattr(after, key)
        if key in {"rules", "buffers"}:
            yield from _of_rules((*at, key), ours, theirs)
        else:
            yield from _of_bound((*at, key), ours, theirs)


def _of_product(at: tuple[str, ...], before: Product, after: Product) -> Iterator[Loosened]:
    yield from _of_rules((*at, "rules"), before.rules, after.rules)
    yield from _of_rules((*at, "buffers"), before.buffers, after.buffers)
    first, last = before.valid_from, before.valid_until
    if first is not None and (after.valid_from is None or after.valid_from < first):
        yield Loosened((*at, "valid_from"), Origin.LABEL)
    if last is not None and (after.valid_until is None or after.valid_until > last):
        yield Loosened((*at, "valid_until"), Origin.LABEL)
    if before.retardant is not None and after.retardant != before.retardant:
        yield Loosened((*at, "retardant"), Origin.LABEL)


def _of_rules(at: tuple[str, ...], before: tuple[Any, ...], after: tuple[Any, ...]) -> Any:
    """Which of two wordings asks for more nobody can say of every rule: a changed one counts."""
    left = list(after)
    for index, rule in enumerate(before):
        if rule in left:
            left.remove(rule)
        elif _legal(rule.origin):
            yield Loosened((*at, index), rule.origin)


def _of_bound(at: tuple[str, ...], before: Any, after: Any) -> Iterator[Loosened]:
    match before:
        case Bounds():
            for side, sign in _SIDES:
                value, origin = getattr(before, side), before.origin_of(side)
                now = None if after is None else getattr(after, side)
                if value is None or not _legal(origin):
                    continue
                if now is None or sign * now < sign * value or not _legal(after.origin_of(side)):
                    yield Loosened((*at, side), origin)
        case DropletRule() if _legal(before.origin):
            if after is None or int(after.low) < int(before.low) or not _legal(after.origin):
                yield Loosened((*at, "low"), before.origin)
        case InversionRule() if _legal(before.origin):
            looser = before.tolerate == "none" and after.tolerate != "none"
            if looser or not _legal(after.origin):
                yield Loosened((*at, "tolerate"), before.origin)
        case NeighbourRule():
            for key in _WINDS:
                origin = before.origin_of(key)
                ours, theirs = (_DOWNWIND[getattr(rule, key)] for rule in (before, after))
                if _legal(origin) and (theirs < ours or not _legal(after.origin_of(key))):
                    yield Loosened((*at, key), origin)


def _legal(origin: Origin) -> bool:
    return STRICTNESS[origin] > STRICTNESS[Origin.OWN]
