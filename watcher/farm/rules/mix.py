"""What goes in one tank: every label binds, so the rules of all its products together.

For each kind the intersection. Adding a product never widens anything; where nothing is left, both
who ask for it are named. What a text does not say is taken in the stricter reading, and noted.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from functools import partial
from typing import Literal, NamedTuple, TypeVar

from watcher.farm.droplets import DropletClass
from watcher.farm.origin import Force
from watcher.farm.rules.buffers import Buffer
from watcher.farm.rules.calendar import DateRule
from watcher.farm.rules.equipment import (
    AdditiveRule,
    BoomHeightRule,
    CarrierRule,
    DirectionBan,
    DropletRange,
    ListedNozzle,
    NozzleRule,
    SpeedRule,
)
from watcher.farm.rules.kinds import Rule
from watcher.farm.rules.weather import (
    DeltaTRule,
    HumidityRule,
    InversionBan,
    RainAheadRule,
    TemperatureRule,
    WindRule,
)
from watcher.i18n.message import Message, Name, Number, Param, ShownQuantity, say
from watcher.units import Kind, System

R = TypeVar("R")
STRICT_HEIGHT_M = 10.0
"""Height a high bound on the wind is judged at where its text names none, the tallest usual. [m]"""


class RuleOf(NamedTuple):
    """A rule and who brings it: ``product contact_a``, ``window contact``."""

    of: str
    rule: Rule


class BufferOf(NamedTuple):
    """A buffer and who brings it."""

    of: str
    buffer: Buffer


def brought_by(of: str) -> Message:
    """Return who brings a rule, in words: the kind of its entry and the entry's own name."""
    kind, _, name = of.partition(" ")
    words = {
        "product": say("product {name}", name=Name(name)),
        "window": say("window {name}", name=Name(name)),
        "preset": say("preset {name}", name=Name(name)),
        "neighbour": say("neighbour {name}", name=Name(name)),
    }
    return words.get(kind, Name(of))


class Reading(StrEnum):
    """What a text leaves open: until somebody writes it down the stricter reading is taken."""

    GUSTS = "gusts"
    HEIGHT = "height"
    ADJACENT = "adjacent"
    AMOUNT = "amount"
    INVERSION = "inversion"
    INSIDE = "inside"


class Noted(NamedTuple):
    """A stricter reading, and whose rule it is of."""

    of: str
    reading: Reading


@dataclass(frozen=True)
class Contradiction:
    """Two rules that leave nothing between them; the same one twice where it shuts itself."""

    one: str
    other: str
    what: Message
    """What they contradict each other in: ``"droplets: medium or finer, coarse or coarser"``."""


@dataclass(frozen=True)
class Span:
    """What bounds leave of a quantity, and who sets them. Infinite where nobody does."""

    low: float = -float("inf")
    high: float = float("inf")
    low_of: str = ""
    high_of: str = ""

    @property
    def empty(self) -> bool:
        """Whether nothing is left between them."""
        return self.low > self.high


@dataclass(frozen=True)
class Mix:
    """The rules of one tank on one day. Advice stands apart and narrows nothing."""

    rules: tuple[RuleOf, ...]
    """Those that bind: bans and conditions."""
    advice: tuple[RuleOf, ...]
    buffers: tuple[BufferOf, ...]
    contradictions: tuple[Contradiction, ...]
    notes: tuple[Noted, ...]
    droplets: Span
    """Finest and coarsest ``DropletClass``."""
    carrier_l_ha: Span
    boom_height_m: Span
    speed_m_s: Span
    winds: dict[str, Span]
    """Wind that is left by the height it is judged at, "boom" or "10 m". [m/s]"""
    nozzles: tuple[ListedNozzle, ...] | None
    """Nozzles that are on every list; None where there is none."""
    additives: frozenset[str]
    """What must go in every load."""

    def of_kind(self, kind: type[R]) -> Iterator[tuple[str, R]]:
        """Yield the binding rules of a kind with who brings them."""
        for of, rule in self.rules:
            if isinstance(rule, kind):
                yield of, rule


def mix(
    rules: Iterable[RuleOf],
    buffers: Iterable[BufferOf] = (),
    *,
    on: date | None = None,
    system: System = "metric",
) -> Mix:
    """Return what all the rules leave together; those not valid on a day are left out.

    Contradictions are worded in the units of ``system``.
    """
    standing = [r for r in rules if on is None or r.rule.valid_on(on)]
    kept = tuple(b for b in buffers if on is None or b.buffer.valid_on(on))
    binding = [r for r in standing if r.rule.force is not Force.ADVICE]
    droplets = _span(binding, DropletRange, _finest, _coarsest)
    carrier = _span(binding, CarrierRule, lambda r: r.least, lambda r: r.most)
    winds = _winds(binding)
    listed, apart = _nozzles(binding)
    shown = partial(_in_units, system)
    additives, barred = _additives(binding)
    return Mix(
        rules=tuple(binding),
        advice=tuple(r for r in standing if r.rule.force is Force.ADVICE),
        buffers=kept,
        contradictions=tuple(
            dict.fromkeys(
                [
                    *_empty(say("droplets"), droplets, _droplet_words),
                    *_empty(say("carrier"), carrier, shown(Kind.CARRIER)),
                    *_empty_winds(winds, shown(Kind.SPEED)),
                    *_empty(
                        say("temperature"),
                        _bounds(binding, TemperatureRule),
                        shown(Kind.TEMPERATURE),
                    ),
                    *_empty(say("humidity"), _bounds(binding, HumidityRule), shown(Kind.PERCENT)),
                    *_empty(
                        say("Delta T"), _bounds(binding, DeltaTRule), shown(Kind.TEMPERATURE_STEP)
                    ),
                    *_dates(binding),
                    *apart,
                    *barred,
                ]
            )
        ),
        notes=tuple(dict.fromkeys([*_notes(binding), *_buffer_notes(kept)])),
        droplets=droplets,
        carrier_l_ha=carrier,
        boom_height_m=_span(binding, BoomHeightRule, lambda r: None, lambda r: r.most),
        speed_m_s=_span(binding, SpeedRule, lambda r: None, lambda r: r.most),
        winds=winds,
        nozzles=listed,
        additives=additives,
    )


def gusts_count(rule: WindRule) -> bool:
    """Return whether gusts count: they do where nobody says otherwise."""
    return rule.gusts != "not counted"


def heights(rule: WindRule) -> dict[Literal["low", "high"], float | None]:
    """Return the height each bound is judged at; None at the boom. [m]"""
    if rule.height == "unstated":
        return {"low": None, "high": STRICT_HEIGHT_M}
    height = None if rule.height == "boom" else rule.height
    return {"low": height, "high": height}


def _span(
    rules: Sequence[RuleOf],
    kind: type[R],
    low: Callable[[R], float | None],
    high: Callable[[R], float | None],
) -> Span:
    own = [(of, rule) for of, rule in rules if isinstance(rule, kind)]
    lows = [(v, of) for of, rule in own if (v := low(rule)) is not None]
    highs = [(v, of) for of, rule in own if (v := high(rule)) is not None]
    # By the number alone: of equal ones the first that says it.
    least = max(lows, key=lambda b: b[0], default=(-float("inf"), ""))
    most = min(highs, key=lambda b: b[0], default=(float("inf"), ""))
    return Span(float(least[0]), float(most[0]), least[1], most[1])


def _bounds(
    rules: Sequence[RuleOf], kind: type[TemperatureRule | HumidityRule | DeltaTRule]
) -> Span:
    return _span(rules, kind, lambda r: r.low, lambda r: r.high)


def _finest(rule: DropletRange) -> float | None:
    return rule.finest


def _coarsest(rule: DropletRange) -> float | None:
    return rule.coarsest


def _winds(rules: Sequence[RuleOf]) -> dict[str, Span]:
    spans: dict[str, Span] = {}
    for of, rule in rules:
        if not isinstance(rule, WindRule):
            continue
        at = heights(rule)
        sides = {"low": rule.low, "high": rule.high}
        for side, value in sides.items():
            if value is None:
                continue
            height = at["low" if side == "low" else "high"]
            where = "boom" if height is None else f"{height:g} m"
            old = spans.get(where, Span())
            if side == "low" and value > old.low:
                old = Span(value, old.high, of, old.high_of)
            if side == "high" and value < old.high:
                old = Span(old.low, value, old.low_of, of)
            spans[where] = old
    return spans


def _empty(what: Message, span: Span, words: Callable[[float], Param]) -> Iterator[Contradiction]:
    if span.empty:
        left = say(
            "{what}: at least {least}, at most {most}",
            what=what,
            least=words(span.low),
            most=words(span.high),
        )
        yield Contradiction(span.low_of, span.high_of, left)


def _empty_winds(
    winds: dict[str, Span], words: Callable[[float], Param]
) -> Iterator[Contradiction]:
    for where, span in winds.items():
        if where == "boom":
            what = say("wind at the boom")
        else:
            what = say("wind at {height}", height=Number(where))
        yield from _empty(what, span, words)
    # Wind grows with height, so a low bound at the boom is at least as much high above it.
    boom, tall = winds.get("boom", Span()), f"{STRICT_HEIGHT_M:g} m"
    for where, span in winds.items():
        if where == tall and boom.low > span.high:
            apart = say(
                "wind: at least {least} at the boom, at most {most} at {height}",
                least=words(boom.low),
                most=words(span.high),
                height=Number(where),
            )
            yield Contradiction(boom.low_of, span.high_of, apart)


def _dates(rules: Sequence[RuleOf]) -> Iterator[Contradiction]:
    allowed = [(of, r) for of, r in rules if isinstance(r, DateRule) and r.means == "allowed"]
    firsts = [(r.first, of) for of, r in allowed if r.first is not None]
    lasts = [(r.last, of) for of, r in allowed if r.last is not None]
    if not firsts or not lasts:
        return
    first, last = max(firsts, key=lambda d: d[0]), min(lasts, key=lambda d: d[0])
    if first[0] > last[0]:
        days = say(
            "dates: not before {first}, not after {last}", first=str(first[0]), last=str(last[0])
        )
        yield Contradiction(first[1], last[1], days)


def _nozzles(
    rules: Sequence[RuleOf],
) -> tuple[tuple[ListedNozzle, ...] | None, list[Contradiction]]:
    """Nozzles on every list, at the pressures all of them name; and lists with none in common."""
    kept: tuple[ListedNozzle, ...] | None = None
    apart: list[Contradiction] = []
    before = ""
    for of, rule in rules:
        if not isinstance(rule, NozzleRule):
            continue
        left = rule.nozzles if kept is None else tuple(_on_both(kept, rule.nozzles))
        if kept is not None and kept and not left:
            apart.append(Contradiction(before, of, say("nozzles: none is on both lists")))
        kept, before = left, before or of
    return kept, apart


def _on_both(one: Iterable[ListedNozzle], other: Sequence[ListedNozzle]) -> Iterator[ListedNozzle]:
    for ours in one:
        for theirs in (n for n in other if n.name == ours.name):
            least = max((p for p in (ours.least, theirs.least) if p is not None), default=None)
            most = min((p for p in (ours.most, theirs.most) if p is not None), default=None)
            if least is None or most is None or least <= most:
                yield ours.model_copy(update={"least": least, "most": most})


def _additives(rules: Sequence[RuleOf]) -> tuple[frozenset[str], list[Contradiction]]:
    additives = [(of, r) for of, r in rules if isinstance(r, AdditiveRule)]
    required = {r.additive: of for of, r in reversed(additives) if r.needed == "required"}
    return frozenset(required), [
        Contradiction(
            required[r.additive],
            of,
            say("additive {additive}: required, and barred", additive=r.additive),
        )
        for of, r in additives
        if r.needed == "barred" and r.additive in required
    ]


def _notes(rules: Iterable[RuleOf]) -> Iterator[Noted]:
    for of, rule in rules:
        match rule:
            case WindRule():
                if rule.gusts == "unstated" and rule.high is not None:
                    yield Noted(of, Reading.GUSTS)
                if rule.height == "unstated":
                    yield Noted(of, Reading.HEIGHT)
            case DirectionBan() if rule.nearness == "adjacent":
                yield Noted(of, Reading.ADJACENT)
            case RainAheadRule() if rule.amount is None and rule.chance is None:
                yield Noted(of, Reading.AMOUNT)
            case InversionBan() if rule.effect != "ban":
                yield Noted(of, Reading.INVERSION)


def _buffer_notes(buffers: Iterable[BufferOf]) -> Iterator[Noted]:
    for of, buffer in buffers:
        if buffer.inside == "unstated":
            yield Noted(of, Reading.INSIDE)


def _droplet_words(value: float) -> str:
    return DropletClass(int(value)).words


def _in_units(system: System, kind: Kind) -> Callable[[float], Param]:
    return lambda value: ShownQuantity(value, kind, system, 0 if kind is Kind.PERCENT else 1)
