"""The form of any rule or buffer, made from its model: a new kind needs no page of its own.

A key is asked for by the first sentence that its model says of it; the rest, and its unit, stand
below it.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from enum import Enum
from typing import Any, Literal, get_args, get_origin

from watcher.farm.base import FarmModel
from watcher.farm.droplets import DropletClass
from watcher.farm.models import SprayerKind, Susceptibility
from watcher.farm.origin import Force, Origin
from watcher.farm.rules.base import RuleBase
from watcher.farm.rules.day_time import MEND, DayTime
from watcher.farm.rules.equipment import ListedNozzle
from watcher.farm.rules.kinds import Rule
from watcher.farm.validation_messages import Steps, plain
from watcher.i18n.language import Language
from watcher.i18n.message import NAME_ROOM, Message, Param, joined, say
from watcher.messages.vocabulary import DROPLET_WORDS, SPRAYER_WORDS, SUSCEPTIBILITY_WORDS
from watcher.units import System, Written
from watcher.web.pages.entry_forms import WHOSE, unit
from watcher.web.pages.farm_form import TRUTHS, Field, FieldKind, Group

KIND_WORDS: Mapping[str, Message] = {
    "wind": say("wind"),
    "calm duty": say("light wind: look for an inversion"),
    "temperature": say("temperature"),
    "day high": say("the day's high"),
    "humidity": say("humidity"),
    "Delta T": say("Delta T"),
    "inversion": say("inversion"),
    "rain now": say("rain during the job"),
    "rain ahead": say("rain after the job"),
    "soil": say("state of the soil"),
    "clock": say("hours of the day"),
    "dates": say("days of the year"),
    "stage": say("last day, by date or stage"),
    "droplets": say("droplet classes"),
    "boom height": say("height of the boom"),
    "speed": say("speed"),
    "carrier": say("spray volume"),
    "nozzles": say("nozzles of a list"),
    "additive": say("something in every load"),
    "points": say("runoff points"),
    "bulletin": say("bulletin to look up"),
    "direction": say("wind towards neighbours"),
}
"""What each kind of rule is about."""
MODELS: Mapping[str, type[RuleBase]] = {
    kind: model
    for model in get_args(get_args(Rule)[0])
    for kind in get_args(model.model_fields["kind"].annotation)
}
CHOICE_WORDS: Mapping[str, Message] = {
    "unstated": say("the text does not say"),
    "counted": say("gusts count"),
    "not counted": say("gusts do not count"),
    "site": say("at the place of spraying"),
    "upwind edge": say("at the upwind edge"),
    "same day": say("the same day"),
    "next day": say("the next day"),
    "ban": say("banned"),
    "duty": say("the operator must look for it"),
    "deemed hours": say("deemed to be there at certain hours"),
    "field capacity": say("field capacity"),
    "saturated": say("saturated"),
    "frozen": say("frozen"),
    "spraying": say("every minute of spraying"),
    "start": say("the start of the job"),
    "end": say("the end of the job too"),
    "allowed": say("allowed"),
    "closed": say("closed"),
    "S572": say("S572, from the ground"),
    "ISO 25358": say("ISO 25358, from the ground"),
    "S641": say("S641, from the air"),
    "required": say("must be in the tank"),
    "barred": say("must not be in the tank"),
    "downwind": say("the downwind side"),
    "all round": say("all round"),
    "along water": say("along water"),
    "treated edge": say("the treated edge"),
    "last treated row": say("the last treated row"),
    "boom end": say("the end of the boom"),
    "nearest edge": say("the nearest edge"),
    "top of bank": say("the top of the bank"),
    "water line": say("the water line"),
    "plot limit": say("the limit of the plot"),
    "condition": say("something that must be known to be so"),
    "advice": say("advice, never enforced"),
}
"""What may be chosen, as the farm file writes it."""
_WHOSE = ("origin", "force", "jurisdiction", "citation", "valid_from", "valid_until")
_VERIFIED = ("verified_by", "verified_on")
_FOR = ("sprayers",)
IN_THE_FILE = ("margin", "table", "reductions", "combine")
"""Shares, and tables within tables: what is there stays, and is written in the file."""


@dataclass(frozen=True)
class DescriptionPart(Message):
    """The first sentence of what a model says of a key, or what follows it."""

    description: str
    first: bool

    def render(self, language: Language, *, names: int = NAME_ROOM) -> str:
        whole = language.translate(self.description)
        first, _, rest = whole.partition(". ")
        return first.rstrip(".:") if self.first else rest


def rule_form(
    model: type[RuleBase], at: Steps, system: System, *, is_new: bool = False
) -> list[Group]:
    """Return the groups of the form of a rule or buffer at a place.

    Whose word a new one is must be said; one in the file without that is the label's.
    """
    apart = {*_WHOSE, *_VERIFIED, *IN_THE_FILE, *_FOR, "kind"}
    own = [key for key in model.model_fields if key not in apart]
    own += [key for key in _FOR if key in model.model_fields]
    asked = {key: field_of(model, key, at, system) for key in (*own, *_WHOSE, *_VERIFIED)}
    whose: list[tuple[str, Param]] = [("", say("not said yet")), *WHOSE] if is_new else [*WHOSE]
    default = None if is_new else Origin.LABEL.value
    asked["origin"] = replace(asked["origin"], kind="choice", choices=whose, default=default)
    return [
        (None, None, [asked[key] for key in own]),
        (say("Whose word it is, and where it is written"), None, [asked[key] for key in _WHOSE]),
        (say("Who compared it with the text"), None, [asked[key] for key in _VERIFIED]),
    ]


def field_of(model: type[FarmModel], key: str, at: Steps, system: System) -> Field:
    """Return the field of a key of any model of the farm file, at the table it stands in."""
    info = model.model_fields[key]
    said, default = plain(info.description or key), info.get_default()
    found = [*_annotations(info.annotation), *info.metadata]
    kind, choices = _asked(found)
    hints: list[Param] = [DescriptionPart(said, first=False)] if ". " in said else []
    if how := list(_how_written(found, kind, system)):
        hints.append(joined(how, "; "))
    shown = default.value if isinstance(default, Enum) else default
    if not isinstance(shown, bool | int | str):  # nothing, or a number that takes a unit
        shown = None
    if kind == "choice" and shown is None:
        choices = [("", say("not said")), *choices]
    columns = tuple(ListedNozzle.model_fields) if ListedNozzle in found else ()
    label, hint = DescriptionPart(said, first=True), joined(hints, " ") if hints else ""
    return Field(key, (*at, key), label, kind, choices, hint, shown, columns)


def _how_written(found: Sequence[Any], kind: FieldKind, system: System) -> Iterator[Param]:
    words = [one for one in found if isinstance(one, str)]
    for written in (one for one in found if isinstance(one, Written)):
        yield unit(written.kind, system)
    if DayTime in found:
        yield MEND
    if ListedNozzle in found:
        yield say("one a line: name; lowest pressure; highest pressure")
    elif kind == "lines":
        yield say("one a line")
    if kind in {"text", "lines"} and words:  # in place of a quantity or a list
        yield joined(["“", joined(words, "”, “"), "”"], "")


def _asked(found: Sequence[Any]) -> tuple[FieldKind, Sequence[tuple[str, Param]]]:
    """Which kind of field a key needs, and what may be chosen."""
    words = [one for one in found if isinstance(one, str)]
    types = {one for one in found if isinstance(one, type)} - {type(None)}
    choices: Mapping[type, Sequence[tuple[str, Param]]] = {
        DropletClass: [(one.words, DROPLET_WORDS[one]) for one in DropletClass],
        Force: [(one.value, CHOICE_WORDS[one.value]) for one in Force],
        Susceptibility: [(one.value, SUSCEPTIBILITY_WORDS[one]) for one in Susceptibility],
    }
    kinds: Mapping[type, FieldKind] = {
        tuple: "lines",
        bool: "truth" if type(None) in found else "flag",
        date: "date",
        int: "number",
    }
    if SprayerKind in types:
        return "several", [(one.value, SPRAYER_WORDS[one]) for one in SprayerKind]
    if words and not types:
        return "choice", [(one, CHOICE_WORDS[one]) for one in words]
    chosen = next((choices[one] for one in choices if one in types), None)
    if chosen is not None:
        return "choice", chosen
    kind: FieldKind = next((kinds[one] for one in kinds if one in types), "text")
    if kind == "truth":
        return kind, TRUTHS
    return kind, [(one, one) for one in words] if kind == "lines" else ()


def _annotations(annotation: Any) -> list[Any]:
    """Everything an annotation is made of: types, words that may be chosen, and marks."""
    if get_origin(annotation) is Literal:
        return list(get_args(annotation))
    found: list[Any] = []
    if get_origin(annotation) is tuple:
        found.append(tuple)
    if isinstance(annotation, type) and not get_args(annotation):
        found.append(annotation)
    found += list(getattr(annotation, "__metadata__", ()))
    for inner in get_args(annotation):
        found += _annotations(inner)
    return found


def about(rule: Mapping[str, Any], key: str) -> Message:
    """Name a rule or buffer as it is written: what it is about, and its bounds."""
    words = KIND_WORDS.get(str(rule.get("kind")))
    first: Param = words or ", ".join(map(str, rule.get("protects", ()))) or "?"
    bounds = [f"{rule[k]}" for k in _BOUNDS if k in rule and not isinstance(rule[k], list | dict)]
    word = say("Rule") if key == "rules" else say("Buffer")
    return joined([word, joined([first, *bounds], ", ")], ": ")


_BOUNDS = ("low", "high", "below", "least", "most", "base", "opens", "closes", "first", "last")
