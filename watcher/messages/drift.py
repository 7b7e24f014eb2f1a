"""What may land on each neighbour, and what would mend it."""

import math

from watcher.i18n.message import Message, Name, Number, ShownQuantity, any_of, joined, say, say_n
from watcher.judge.neighbour_deposits import Mends, NeighbourDeposit
from watcher.messages.vocabulary import ORIGIN_WORDS, POINTS
from watcher.units import Kind, System

STRIP_M = 5.0
_LEAST_TOLD_PCT = 0.001
_POINTS = tuple(POINTS)


OPEN_BOOM = say("estimated as from an open boom, the hood is not counted")


def whither(side: str) -> Message:
    """Return a side as where something lies: ``"to the N"``, ``"all round"``."""
    return say("all round") if side == "all round" else say("to the {point}", point=POINTS[side])


def exposed_line(found: NeighbourDeposit, system: System) -> Message:
    """Return what may land on one neighbour, against what it stands. No full stop."""
    who = say(
        "{who} {side}, {gap}",
        who=Name(found.neighbour),
        side=whither(found.side),
        gap=ShownQuantity(found.gap_m, Kind.LENGTH, system),
    )
    if math.isnan(found.upper_pct) and not found.estimated:
        return say(
            "{who}: not estimated, the published curves are of ground booms, not of such a sprayer",
            who=who,
        )
    if math.isnan(found.upper_pct):
        return say("{who}: unknown, the wind or its direction is missing", who=who)
    if found.upper_pct == 0.0:
        return say("{who}: nothing lands there in this wind", who=who)
    lands = say(
        "{who}: {edge} of the rate expected at its edge, {strip} over its first {width}, {most}",
        who=who,
        edge=percent(found.edge_pct),
        strip=percent(found.strip_pct),
        width=ShownQuantity(STRIP_M, Kind.LENGTH, system),
        most=up_to(found.upper_pct),
    )
    if math.isinf(found.tolerance_pct):
        harm: Message = say("it takes no harm")
    else:
        harm = say(
            "it stands {tolerance} ({origin})",
            tolerance=percent(found.tolerance_pct),
            origin=ORIGIN_WORDS[found.origin],
        )
    parts = [lands, harm, OPEN_BOOM] if found.as_open_boom else [lands, harm]
    line = joined(parts, "; ")
    return say("{line} (beyond what was ever measured)", line=line) if found.extrapolated else line


def up_to(value: float) -> Message:
    """Return an upper estimate: ``"up to 0.012%"``, ``"under 0.001%"``."""
    if 0 < value < _LEAST_TOLD_PCT:
        return percent(value)
    return say("up to {share}", share=percent(value))


def percent(value: float) -> Message:
    """Return a deposit in two figures: ``"0.012%"``, ``"14%"``, ``"under 0.001%"``."""
    if 0 < value < _LEAST_TOLD_PCT:
        return say("under {share}", share=Number(f"{_LEAST_TOLD_PCT:g}%"))
    return Number(f"{float(f'{value:.2g}'):g}%")


def mend_line(mends: Mends) -> Message:
    """Return what would bring the drift under what every neighbour stands, as a sentence."""
    ways: list[Message] = []
    if mends.setups:
        ways.append(say("take setup {setups}", setups=any_of([Name(s) for s in mends.setups])))
    if mends.leave_swaths:
        ways.append(
            say_n(
                "leave the outer swath beside them",
                "leave the outer {n} swaths beside them",
                mends.leave_swaths,
            )
        )
    if 0 < len(mends.wind_from) < len(_POINTS):
        ways.append(say("wait for wind from {points}", points=any_of(_ranges(mends.wind_from))))
    if not ways:
        return say(
            "Nothing brings that down in this wind: no setup, no swaths left out, no direction."
        )
    others = [say("or {way}", way=way) for way in ways[1:]]
    return say("To bring that down, {ways}.", ways=joined([ways[0], *others], "; "))


def _ranges(points: tuple[str, ...]) -> list[Message]:
    """Put neighbouring points of the compass together: ``["W to NE"]``."""
    there = [point in points for point in _POINTS]
    starts = [i for i, yes in enumerate(there) if yes and not there[i - 1]]
    ranges: list[Message] = []
    for start in starts:
        end = start
        while there[(end + 1) % len(_POINTS)]:
            end += 1
        first, last = POINTS[_POINTS[start]], POINTS[_POINTS[end % len(_POINTS)]]
        ranges.append(first if first is last else say("{first} to {last}", first=first, last=last))
    return ranges
