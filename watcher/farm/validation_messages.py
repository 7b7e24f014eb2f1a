"""What the models refuse, in plain words: key as the grower sees it, value, and mend."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, time
from pathlib import Path
from typing import Any, Union, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo
from pydantic_core import ErrorDetails

from watcher.farm.dose import UnreadableDoseError
from watcher.farm.feeds import Source
from watcher.farm.models import FarmFile
from watcher.farm.problems import Problem, did_you_mean
from watcher.farm.rules import day_time
from watcher.farm.rules.kinds import Rule
from watcher.i18n.language import Language
from watcher.i18n.message import NAME_ROOM, Message, Param, joined, say, say_n
from watcher.units import UnbelievableQuantityError, UnreadableQuantityError
from watcher.written_secrets import masked

Steps = Sequence[int | str]
Said = tuple[Message, Message]
"""What is wrong, and the mend."""


def _kind_of(model: type[BaseModel]) -> tuple[str, ...]:
    return get_args(model.model_fields["kind"].annotation)


_NAME_MEND = say(
    "names start with a letter or digit and hold letters, digits, _ and - (60 at most)"
)
_KINDS = [kind for source in get_args(get_args(Source)[0]) for kind in _kind_of(source)]
_RULE_KINDS = [kind for model in get_args(get_args(Rule)[0]) for kind in _kind_of(model)]
_RULE_KIND = 4
"""Where the kind stands in the place of a rule: products, its name, rules, its number, the kind."""
_A_TABLE = say("write a table: { key = value }, or lines under a [header]")
_TRUE_OR_FALSE = (say("must be true or false"), say("write true or false, without quotes"))
_A_NUMBER = (say("must be a number"), say("write a number without quotes, such as 0.15"))
_A_WHOLE_NUMBER = (say("must be a whole number"), say("write a number without quotes, such as 4"))
_CHECK = say("check the number")
_CHOSEN = frozenset({"constrained-str", "constrained-int", "str", "int"})
"""What pydantic calls the two things a name or a number may be, in place of a key."""
_BRANCH = re.compile(r"(literal|function-plain|tuple)\[.*")
"""What pydantic calls a word, a quantity and a list, where a key may be one or another."""
_NUMBERED = re.compile(r"\s*[-+]?[0-9.]")
_NEITHER: Said = (
    say("is no name and no number that can be used"),
    say("write a name in quotes, or a whole number without quotes"),
)
_SAID: Mapping[str, Said] = {
    "model_type": (say("is not a table"), _A_TABLE),
    "model_attributes_type": (say("is not a table"), _A_TABLE),
    "dict_type": (say("is not a table"), _A_TABLE),
    "tuple_type": (say("is not a list"), say('write a list: ["one", "other"]')),
    "string_type": (say("is not text"), say('write text in quotes: "…"')),
    "string_too_short": (say("is empty"), say("write something in it")),
    "date_type": (
        say("must be a date"),
        say("write a date without quotes, such as 2026-06-18"),
    ),
    "time_type": (
        say("must be a time of day"),
        say("write a time without quotes, with seconds, such as 05:30:00"),
    ),
    "float_type": _A_NUMBER,
    "float_parsing": _A_NUMBER,
    "finite_number": _A_NUMBER,
    "int_type": _A_WHOLE_NUMBER,
    "int_parsing": _A_WHOLE_NUMBER,
    "int_from_float": _A_WHOLE_NUMBER,
    "bool_type": _TRUE_OR_FALSE,
    "bool_parsing": _TRUE_OR_FALSE,
    "dose": (say("must be an amount an area"), UnreadableDoseError.mend),
    "aerial": (
        say("spraying from the air is not judged here"),
        say(
            "wind at a boom near the ground, drift curves of ground booms and droplet classes of "
            "ground nozzles say nothing of a spray let go in the air: take it out, and go by its "
            "label and by whoever flies"
        ),
    ),
    "eppo": (
        say("must be a code of the EPPO database"),
        say('look it up in the EPPO database; maize is "ZEAMX"'),
    ),
}
"""What the models refuse with nothing to add, by pydantic's type of error."""


def problems_of(errors: Sequence[ErrorDetails], file: Path) -> tuple[Problem, ...]:
    """Say the errors of the models' validation in plain words.

    Where a key may be a word or something else, only what is wrong with the one that is meant.
    """
    values: dict[Steps, object] = {}
    quantities: set[Steps] = set()
    for error in errors:
        place, branch = _branch(error)
        values.setdefault(place, error["input"])  # of the word, which comes first: the whole value
        if branch == "function-plain":
            quantities.add(place)

    def meant(error: ErrorDetails) -> bool:
        place, branch = _branch(error)
        value = values[place]
        numbered = place in quantities and _NUMBERED.match(str(value))
        word = isinstance(value, str) and not numbered
        return not branch or word is (branch == "literal")

    return tuple(problem_of(error, file) for error in errors if meant(error))


def _branch(error: ErrorDetails) -> tuple[Steps, str]:
    """The place of a key and which of the things that it may be is not right; none where one."""
    for depth, step in enumerate(error["loc"]):
        if isinstance(step, str) and (found := _BRANCH.fullmatch(step)):
            return error["loc"][:depth], found[1]
    return error["loc"], ""


def problem_of(error: ErrorDetails, file: Path) -> Problem:
    """Say one error of the models' validation in plain words."""
    loc = error["loc"]
    if loc[-1] in _CHOSEN and len(loc) > 3 and error["type"] != "extra_forbidden":
        loc, said = loc[:-1], _NEITHER
    else:
        said = said_of(error, loc)
    steps = [step for step in loc if step != "[key]" and not _BRANCH.fullmatch(str(step))]
    # The kind of source or of rule, by which the models found the entry, is no key.
    if steps[0] == "sources" and len(steps) > 2:
        del steps[2]
    if len(steps) > _RULE_KIND and steps[2] == "rules":
        del steps[_RULE_KIND]
    if error["type"].startswith("union_tag"):
        steps.append("kind")
    return Problem(file, assigned(steps, _value(error)), *said)


def dotted(steps: Steps) -> Param:
    """Return the key as the grower writes it: ``fields.north.limits.wind``."""
    key: Param = ""
    for step in steps:
        if isinstance(step, int):
            key = say("{key} (item {item})", key=key, item=step + 1)
        else:
            bare = re.fullmatch(r"[A-Za-z0-9_-]+", step)
            key = _together(key, "." if key else "", step if bare else f'"{step}"')
    return key


def assigned(steps: Steps, value: object) -> Param:
    """Return key and value as the grower wrote them: ``setups.fan.carrier = "15 gal/acre"``."""
    shown = written(value)
    return _together(dotted(steps), " = ", shown) if shown else dotted(steps)


def _together(first: Param, between: str, last: str) -> Param:
    if isinstance(first, Message):
        return joined([first, last], between)
    return f"{first}{between}{last}"


def said_of(error: ErrorDetails, steps: Steps) -> Said:
    """Return what is wrong with a value at a place, and the mend."""
    kind = error["type"]
    context = error.get("ctx", {})
    cause = context.get("error")
    if isinstance(cause, UnreadableQuantityError | UnbelievableQuantityError):
        return cause.reason, cause.mend
    match kind:
        case "missing":
            said = _missing(steps)
        case "extra_forbidden":
            said = _unknown_key(steps)
        case "enum" | "literal_error" | "union_tag_invalid" | "union_tag_not_found":
            said = _not_one_of(error)
        case "string_pattern_mismatch":
            said = _wrong_pattern(steps)
        case "string_too_long":
            longest = say_n(
                "has more than {n} character", "has more than {n} characters", context["max_length"]
            )
            said = longest, say("shorten it")
        case "day_time":
            said = context["why"], day_time.MEND
        case "too_long":
            said = say("has more items than it may"), say("take some out of the list")
        case "less_than_equal":
            most = written(context["le"])
            said = say("must be less than or equal to {most}", most=most), _CHECK
        case "greater_than_equal":
            least = written(context["ge"])
            said = say("must be greater than or equal to {least}", least=least), _CHECK
        case "greater_than":
            least = written(context["gt"])
            said = say("must be greater than {least}", least=least), _CHECK
        case _:
            unknown = say("cannot be used ({why})", why=error["msg"]), say("correct it")
            said = _SAID.get(kind, unknown)
    return said


def _missing(steps: Steps) -> Said:
    *above, last = steps
    if isinstance(last, int):
        return say("is missing"), say("the list is too short")
    field = _fields_at(tuple(above)).get(last)
    if field and field.description:
        return say("is missing"), say("add it: {about}", about=About(plain(field.description)))
    return say("is missing"), say("add {key}", key=last)


@dataclass(frozen=True)
class About(Message):
    """What a key of the farm file is for, as its model describes it."""

    description: str

    def render(self, language: Language, *, names: int = NAME_ROOM) -> str:
        about = language.translate(self.description)
        return about[:1].lower() + about[1:]


def plain(description: str) -> str:
    """Return a description on one line, without the SI unit of what is held inside."""
    return re.sub(r"\s*\[[^\]]*\]$", "", " ".join(description.split()))


def _unknown_key(steps: Steps) -> Said:
    *above, last = steps
    known = _fields_at(tuple(above))
    return say("this key is not known"), did_you_mean(str(last), known, say("keys here"))


def _not_one_of(error: ErrorDetails) -> Said:
    context = error.get("ctx", {})
    if error["type"] == "union_tag_not_found":
        kinds = _RULE_KINDS if "rules" in error["loc"] else _KINDS
        return say("is missing"), say("add kind: one of {kinds}", kinds=", ".join(kinds))
    listed = str(context.get("expected") or context.get("expected_tags"))
    word = str(context.get("tag", error["input"]))
    choices = re.findall(r"'([^']+)'", listed) or re.findall(
        r"[^\s,]+", listed.replace(" or ", " ")
    )
    return say("is not one of the choices"), did_you_mean(word, choices, say("choices"))


_PATTERNS: Mapping[int | str, Said] = {
    "[key]": (say("this name cannot be used"), _NAME_MEND),
    "backup": (say("this name cannot be used"), _NAME_MEND),
    "session": (say("this name cannot be used"), _NAME_MEND),
    "station": (say("is not a call sign"), say('write it in capitals, such as "KXYZ"')),
    "host": (
        say("is not a host"),
        say("write a name or an address of the network, without http://"),
    ),
    "address": (
        say("is no place where an instrument is heard"),
        say('write "tcp://host:port", or a serial device such as "/dev/ttyUSB0"'),
    ),
}
"""What a text must look like, by its key; the others are web addresses."""
_WEB_ADDRESS = (
    say("is not a web address"),
    say("start it with https:// (or http:// within the farm's network)"),
)


def _wrong_pattern(steps: Steps) -> Said:
    return _PATTERNS.get(steps[-1], _WEB_ADDRESS)


def _value(error: ErrorDetails) -> object:
    """The value as written; None where the key itself is what is wrong."""
    if error["type"] in {"missing", "extra_forbidden", "union_tag_not_found"}:
        return None
    if error["loc"][-1] == "[key]":
        return None
    return error.get("ctx", {}).get("tag", error["input"])


def written(value: object) -> str:
    """Return a value as TOML writes it; nothing for tables and lists."""
    match value:
        case bool():
            return str(value).lower()
        case str():
            return f'"{masked(value)[:80]}"'
        case int() | float() | date() | time():
            return str(value)
    return ""


def _fields_at(steps: Steps) -> Mapping[str, FieldInfo]:
    """The keys the models know at a place."""
    place: Any = FarmFile
    for step in steps:
        place = _inside(place, step)
    return place.model_fields if _is_model(place) else {}


def place_of(steps: Steps, raw: Any, place: Any = FarmFile) -> Any:
    """Return the type the models have at a place of the farm file, None where they know none.

    ``raw`` is what is written there: of several kinds it says which. ``place`` is its type.
    """
    for step in steps:
        place = _bare(place)
        kind = raw.get("kind") if isinstance(raw, Mapping) else None
        if not _is_model(place) and kind is not None and _inside(place, kind) is not None:
            place = _inside(place, kind)
        place = _inside(place, step)
        whole = isinstance(raw, Mapping | list | tuple)
        held = whole and (step in raw if isinstance(raw, Mapping) else step in range(len(raw)))
        raw = raw[step] if held else None
    return _bare(place)


def _is_model(place: Any) -> bool:
    return isinstance(place, type) and issubclass(place, BaseModel)


def _inside(place: Any, step: int | str) -> Any:
    if _is_model(place):
        field = place.model_fields.get(str(step))
        return _bare(field.annotation) if field else None
    if get_origin(place) is dict:
        return _bare(get_args(place)[1])
    if get_origin(place) is tuple and isinstance(step, int):
        return _bare(get_args(place)[0])
    for option in get_args(place):  # one kind of several: the step is the kind
        if _is_model(option) and step in _kind_of(option):
            return option
    return None


def _bare(annotation: Any) -> Any:
    """The type inside optional and annotated ones."""
    if hasattr(annotation, "__metadata__"):
        return _bare(get_args(annotation)[0])
    options = [a for a in get_args(annotation) if a is not type(None)]
    if len(options) == 1 and get_origin(annotation) in {Union, type(int | str)}:
        return _bare(options[0])
    return annotation
