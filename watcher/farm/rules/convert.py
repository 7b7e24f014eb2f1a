"""A window's limits written as the rules they are, to be moved under the product whose label it is.

From the text as it stands in the farm file, so that every number keeps its unit.
"""

from collections.abc import Iterator, Mapping
from typing import Any

_BOUNDED = {
    "wind": {"kind": "wind", "height": "boom", "gusts": "not counted"},
    # A gust is a wind of three seconds.
    "gust": {"kind": "wind", "height": "boom", "averaging": "3 s", "gusts": "not counted"},
    "temperature": {"kind": "temperature"},
    "humidity": {"kind": "humidity"},
    "delta_t": {"kind": "Delta T"},
}
_BY_SUN = {"after_sunrise": ("opens", "sunrise"), "before_sunset": ("closes", "sunset")}
_BEFORE_OR_AFTER = {"opens": "after", "closes": "before"}

Written = dict[str, str]


def window_as_rules(window: Mapping[str, Any]) -> tuple[list[Written], list[str]]:
    """Return a window's limits as rules, and the keys that have no rule and stay in the window."""
    rules = [rule for key, value in window.items() for rule in _rules(key, value)]
    stays = [key for key, value in window.items() if not list(_rules(key, value))]
    return rules, stays


def as_toml(rules: list[Written], table: str) -> str:
    """Return rules as they are written in a farm file."""
    return "\n\n".join(
        "\n".join([f"[[{table}.rules]]", *(f'{key} = "{value}"' for key, value in rule.items())])
        for rule in rules
    )


def _rules(key: str, limit: Any) -> Iterator[Written]:
    if not isinstance(limit, Mapping):
        return
    origin = {"origin": str(limit.get("origin", "own"))}
    if key in _BOUNDED:
        own = {"origin": str(limit["low_origin"])} if "low_origin" in limit else origin
        sides = {side: str(limit[side]) for side in ("low", "high") if side in limit}
        if own == origin or len(sides) < len(("low", "high")):
            yield _BOUNDED[key] | sides | (own if "high" not in sides else origin)
        else:
            yield _BOUNDED[key] | {"low": sides["low"]} | own
            yield _BOUNDED[key] | {"high": sides["high"]} | origin
    elif key in _BY_SUN:
        side, event = _BY_SUN[key]
        at = f"{limit['low']} {_BEFORE_OR_AFTER[side]} {event}"
        yield {"kind": "clock", side: at} | origin
    elif key == "droplets":
        yield {"kind": "droplets", "finest": str(limit["low"])} | origin
    elif key == "inversion" and limit.get("tolerate") == "none":
        yield {"kind": "inversion", "effect": "ban"} | origin
