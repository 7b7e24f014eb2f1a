"""SenML packs (RFC 8428) resolved into records that stand by themselves.

Units are those of RFC 8428 section 12.1 and RFC 8798 that measure weather (unit names from
memory).
"""

import math
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from watcher.sources.json_text import finite
from watcher.sources.stations.bad_reading import BadReadingError

VERSION = 10
RELATIVE_BELOW = 2.0**28
"""Times below this are seconds from now; at or above it, seconds since 1970 (RFC 8428, 4.5.3)."""

UNITS = {
    "m/s": "m/s",
    "km/h": "km/h",
    "Cel": "degC",
    "K": "kelvin",
    "%RH": "percent",
    "/": "dimensionless",
    "%": "dimensionless",  # a ratio despite its looks: 0.5 is one half
    "/100": "percent",
    "Pa": "Pa",
    "hPa": "hectopascal",
    "deg": "deg",
    "rad": "rad",
    "mm/h": "mm/h",
    "W/m2": "W/m**2",
    "m": "m",
    "mm": "mm",
    "kPa": "kilopascal",
}
"""SenML unit names and how ``watcher.units`` writes them."""

_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9\-:./_]*")
_TEXTS = frozenset({"bn", "bu", "n", "u", "vs", "vd"})
_NUMBERS = frozenset({"bt", "bv", "bs", "bver", "t", "ut", "v", "s"})
_BASE = frozenset({"bn", "bt", "bu", "bv", "bs", "bver"})
_VALUES = ("v", "vs", "vb", "vd")


@dataclass(frozen=True)
class SenmlRecord:
    """A resolved record. ``time`` is epoch seconds; ``value`` None when it is not a number, and
    ``text`` then what it says, if it is a text."""

    name: str
    unit: str
    time: float
    value: float | None
    text: str | None = None


def resolve(pack: object, *, now: int) -> Iterator[SenmlRecord]:
    """Yield the records of a pack with base fields and relative times worked in."""
    if not isinstance(pack, list):
        raise BadReadingError("the pack", "is not a list of records", "post a JSON array")
    base: dict[str, object] = {"bn": "", "bu": "", "bt": 0.0, "bv": 0.0}
    for index, fields in enumerate(pack):
        where = f"record {index}"
        if not isinstance(fields, Mapping):
            raise BadReadingError(where, "is not an object", 'write {"n": …, "v": …}')
        for key, value in fields.items():
            _check(f"{where}, {key!a}", key, value)
        base |= {key: value for key, value in fields.items() if key in base}
        if not _BASE.issuperset(fields):  # one of base fields only has nothing to say itself
            yield _record(where, base, fields, now)


def _check(where: str, key: str, value: object) -> None:
    if key.endswith("_"):
        raise BadReadingError(where, "must be understood and is not", "leave this field out")
    if key in _TEXTS and not isinstance(value, str):
        raise BadReadingError(where, "is not a text", "write it in quotation marks")
    if key in _NUMBERS and finite(value) is None:
        raise BadReadingError(where, "is not a number", "write a JSON number, or leave it out")
    if key == "bver" and (finite(value) or 0.0) > VERSION:
        raise BadReadingError(where, f"is newer than {VERSION}", f"send version {VERSION}")


def _record(
    where: str, base: Mapping[str, object], fields: Mapping[str, object], now: int
) -> SenmlRecord:
    name = f"{base['bn']}{fields.get('n', '')}"
    if not _NAME.fullmatch(name):
        raise BadReadingError(
            f"{where}, 'n'",
            f"the name {name!a} is not one",
            "use letters, digits and - : . / _, a letter or digit first",
        )
    given = [key for key in _VALUES if key in fields]
    if len(given) > 1 or not (given or "s" in fields):
        raise BadReadingError(where, f"has {len(given)} values", 'give one value, such as "v"')
    value = _sum(where, base["bv"], fields["v"]) if "v" in fields else None
    time = _sum(where, base["bt"], fields.get("t", 0.0))
    return SenmlRecord(
        name=name,
        unit=str(fields.get("u", base["bu"])),
        time=now + time if time < RELATIVE_BELOW else time,
        value=value,
        text=str(fields["vs"]) if "vs" in fields else None,
    )


def _sum(where: str, base: object, own: object) -> float:
    total = (finite(base) or 0.0) + (finite(own) or 0.0)
    if not math.isfinite(total):
        raise BadReadingError(where, "the sum with its base is too large", "send smaller numbers")
    return total
