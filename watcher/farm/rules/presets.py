"""Public law that may be chosen by name. Each carries the day it was read; none holds unasked.

Only what was read in the text or an official summary stands here, never what is remembered. A
label may be stricter, the law may have changed: compare before relying on one.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any, Literal

from pydantic import TypeAdapter

from watcher.farm.origin import Origin
from watcher.farm.rules.buffers import Buffer
from watcher.farm.rules.kinds import Rule

PresetName = Literal[
    "FR wind and rain",
    "FR water 20 m",
    "FR residents low crops",
    "DE water",
    "NL water",
    "UK water category A",
    "TX regulated herbicides",
]
READ_ON = date(2026, 11, 28)
"""The day the texts were last read."""
_RULE: TypeAdapter[Rule] = TypeAdapter(Rule)


@dataclass(frozen=True)
class Preset:
    """Some law as rules and buffers."""

    read_on: date
    rules: tuple[Rule, ...] = ()
    buffers: tuple[Buffer, ...] = ()


def _preset(
    law: dict[str, Any], rules: tuple[dict[str, Any], ...], *buffers: dict[str, Any]
) -> Preset:
    shared: dict[str, Any] = {"origin": Origin.NATIONAL_LAW} | law
    return Preset(
        READ_ON,
        tuple(_RULE.validate_python(shared | rule) for rule in rules),
        tuple(Buffer.model_validate(shared | buffer) for buffer in buffers),
    )


_FRANCE = {"jurisdiction": "France"}
_WATER = ("water",)

PRESETS: Mapping[PresetName, Preset] = {
    # Beaufort 3 at most, which the ministry puts at 19 km/h; Beaufort is defined at 10 m and is a
    # force, a mean.
    "FR wind and rain": _preset(
        _FRANCE | {"citation": "arrêté of 4 May 2017, article 2"},
        (
            {"kind": "wind", "high": "19 km/h", "height": "10 m", "gusts": "not counted"},
            {"kind": "rain now", "most": "8 mm/h"},
        ),
    ),
    "FR water 20 m": _preset(
        _FRANCE | {"citation": "untreated zones beside water (ZNT), official summary"},
        (),
        {
            "protects": _WATER,
            "base": "20 m",
            "sides": "all round",
            "sensitive_line": "water line",
            "inside": "anything",
            "reductions": [{"needs": ["5 m permanent cover", "approved nozzles"], "to": "5 m"}],
            "combine": "all together",
        },
    ),
    "FR residents low crops": _preset(
        _FRANCE | {"citation": "distances to residents, official summary"},
        (),
        {
            "protects": ("residents",),
            "base": "5 m",
            "sides": "all round",
            "sensitive_line": "plot limit",
            "inside": "anything",
            "reductions": [
                {
                    "needs": ["charter", "approved nozzles"],
                    "to": "3 m",
                    "not_beside": ["vulnerable people"],
                }
            ],
            "combine": "replace",
        },
    ),
    "DE water": _preset(
        {"jurisdiction": "Germany", "citation": "PflSchAnwV, § 4a"},
        (),
        {
            "protects": _WATER,
            "base": "10 m",
            "sides": "along water",
            "sensitive_line": "top of bank",
            "inside": "anything",
            "reductions": [{"needs": ["5 m permanent cover"], "to": "5 m"}],
            "combine": "replace",
        },
    ),
    "NL water": _preset(
        {"jurisdiction": "Netherlands", "citation": "Bal, article 4.723c (intensive crops)"},
        (),
        {
            "protects": _WATER,
            "table": [
                {"base": "150 cm", "drift_class": "75 %"},
                {"base": "100 cm", "drift_class": "90 %"},
            ],
            "sides": "along water",
            "sensitive_line": "top of bank",
            "inside": "anything",
        },
    ),
    "UK water category A": _preset(
        {"jurisdiction": "United Kingdom", "citation": "LERAP, category A"},
        (),
        {
            "protects": _WATER,
            "base": "5 m",
            "sides": "along water",
            "sensitive_line": "top of bank",
            "inside": "anything",
        },
    ),
    "TX regulated herbicides": _preset(
        {
            "jurisdiction": "Texas",
            "origin": Origin.STATE_LAW,
            "citation": "4 TAC § 7.53, regulated counties",
        },
        ({"kind": "wind", "high": "10 mph"},),
    ),
}
