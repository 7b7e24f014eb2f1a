"""What may land on each neighbour, and what would mend it."""

import math

from watcher.alerts.wording.words import name
from watcher.judge.exposed import Exposed, Mends
from watcher.units import Kind, System, show

STRIP_M = 5.0
_LEAST_TOLD_PCT = 0.001
_POINTS = ("N", "NE", "E", "SE", "S", "SW", "W", "NW")


def whither(side: str) -> str:
    """Return a side as where something lies: ``"to the N"``, ``"all round"``."""
    return side if side == "all round" else f"to the {side}"


def exposed_line(found: Exposed, system: System) -> str:
    """Return what may land on one neighbour, against what it stands. No full stop."""
    far = show(found.gap_m, Kind.LENGTH, system)
    said = f"{name(found.neighbour)} {whither(found.side)}, {far}: "
    if math.isnan(found.upper_pct):
        return said + "unknown, the wind or its direction is missing"
    if found.upper_pct == 0.0:
        return said + "nothing lands there in this wind"
    said += (
        f"{percent(found.edge_pct)} of the rate expected at its edge, "
        f"{percent(found.strip_pct)} over its first {show(STRIP_M, Kind.LENGTH, system)}, "
        f"{up_to(found.upper_pct)}; "
    )
    stands = f"it stands {percent(found.tolerance_pct)}"
    said += "it takes no harm" if math.isinf(found.tolerance_pct) else stands
    return said + (" (beyond what was ever measured)" if found.extrapolated else "")


def up_to(value: float) -> str:
    """Return an upper estimate: ``"up to 0.012%"``, ``"under 0.001%"``."""
    return percent(value) if 0 < value < _LEAST_TOLD_PCT else f"up to {percent(value)}"


def percent(value: float) -> str:
    """Return a deposit in two figures: ``"0.012%"``, ``"14%"``, ``"under 0.001%"``."""
    if 0 < value < _LEAST_TOLD_PCT:
        return f"under {_LEAST_TOLD_PCT:g}%"
    return f"{float(f'{value:.2g}'):g}%"


def mend_line(mends: Mends) -> str:
    """Return what would bring the drift under what every neighbour stands, as a sentence."""
    ways = []
    if mends.setups:
        ways.append(f"take setup {' or '.join(name(s) for s in mends.setups)}")
    if mends.leave_swaths:
        swaths = "swath" if mends.leave_swaths == 1 else f"{mends.leave_swaths} swaths"
        ways.append(f"leave the outer {swaths} beside them")
    if 0 < len(mends.wind_from) < len(_POINTS):
        ways.append(f"wait for wind from {' or '.join(_ranges(mends.wind_from))}")
    if not ways:
        return "Nothing brings that down in this wind: no setup, no swaths left out, no direction."
    return f"To bring that down, {'; or '.join(ways)}."


def _ranges(points: tuple[str, ...]) -> list[str]:
    """Put neighbouring points of the compass together: ``["W to NE"]``."""
    there = [point in points for point in _POINTS]
    starts = [i for i, yes in enumerate(there) if yes and not there[i - 1]]
    said = []
    for start in starts:
        end = start
        while there[(end + 1) % len(_POINTS)]:
            end += 1
        first, last = _POINTS[start], _POINTS[end % len(_POINTS)]
        said.append(first if first == last else f"{first} to {last}")
    return said
