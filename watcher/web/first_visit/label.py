"""The screen of the label: the product's bounds as they are copied, each with whose word it is."""

from collections.abc import Mapping, Sequence

from watcher.farm.editing.edits import Edit, Remove, SetValue
from watcher.farm.origin import Origin
from watcher.i18n.message import Message, joined, say
from watcher.limits.catalogue import IN_WINDOWS, Side
from watcher.messages.vocabulary import LIMIT_WORDS, ORIGIN_WORDS
from watcher.service.first_farm import FirstFarm
from watcher.units import Kind, System
from watcher.web.pages.farm_form import Field

WINDOW = "label"
"""The window that the screen fills in."""
_PRODUCT = "product"
_BOUNDS: Sequence[tuple[str, Side]] = (
    ("wind", "low"),
    ("wind", "high"),
    ("gust", "high"),
    ("temperature", "low"),
    ("temperature", "high"),
    ("rain_free_after", "low"),
    ("after_sunrise", "low"),
    ("before_sunset", "low"),
)
_WHOSE = (Origin.LABEL, Origin.LAW, Origin.OWN)
KEYS = tuple(dict.fromkeys(key for key, _ in _BOUNDS))
"""The limits that are asked about, as keys of a window."""


def with_unit(kind: Kind, system: System) -> Message:
    """Return the hint that a number is written with its unit, in the grower's units."""
    unit = say("min or h") if kind is Kind.DURATION else kind.unit(system)
    return say("with its unit: {unit}", unit=unit)


def left_out(farm: FirstFarm) -> list[Message]:
    """Say which bounds were left out, and so are not judged."""
    window = farm.raw.get("windows", {}).get(WINDOW, {})
    missing = (key for key in KEYS if key not in window)
    return [say("Not judged: {limit}", limit=LIMIT_WORDS[IN_WINDOWS[key].limit]) for key in missing]


def fields(system: System) -> list[Field]:
    """Return what the screen asks: the product, and each bound with whose word it is."""
    found = [
        Field("product", ("products", _PRODUCT, "name"), say("Name of the product")),
        Field(
            "registration",
            ("products", _PRODUCT, "registration"),
            say("Registration number on the label"),
        ),
    ]
    sides = {"low": say("at least"), "high": say("at most")}
    whose = [(origin.value, ORIGIN_WORDS[origin]) for origin in _WHOSE]
    for key in KEYS:
        entry = IN_WINDOWS[key]
        kind = entry.kind if entry.written is None else entry.written.kind
        words = LIMIT_WORDS[entry.limit]
        for side in (side for of, side in _BOUNDS if of == key):
            label = joined([words, sides[side]])
            at = ("windows", WINDOW, key, side)
            hint = with_unit(kind, system) if kind else ""
            found.append(Field(f"{key}:{side}", at, label, hint=hint))
        label = joined([words, say("whose word it is")])
        found.append(
            Field(f"{key}:origin", ("windows", WINDOW, key, "origin"), label, "choice", whose)
        )
    return found


def labelled(farm: FirstFarm, found: list[Edit], form: Mapping[str, str]) -> list[Edit]:
    """Return the edits of what was entered.

    Bounds without a number are none; those of nobody are the label's, which nothing loosens.
    """
    for key in KEYS:
        if not any(form.get(f"{of}:{side}", "").strip() for of, side in _BOUNDS if of == key):
            at = ("windows", WINDOW, key)
            found = [e for e in found if not isinstance(e, SetValue | Remove) or e.at[:3] != at]
            found.append(Remove(at))
        elif not form.get(f"{key}:origin", ""):
            found.append(SetValue(("windows", WINDOW, key, "origin"), Origin.LABEL.value))
    named = bool(form.get("product", "").strip())
    for name in farm.raw.get("fields", {}):
        at_products = ("fields", name, "products")
        found.append(SetValue(at_products, [_PRODUCT]) if named else Remove(at_products))
    if not named:
        found = [e for e in found if not isinstance(e, SetValue) or e.at[0] != "products"]
        found.append(Remove(("products",)))
    return found
