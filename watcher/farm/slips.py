"""What the models refuse, in plain words: key as the grower sees it, value, and mend."""

import re
from collections.abc import Mapping, Sequence
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
from watcher.units import UnbelievableQuantityError, UnreadableQuantityError

Steps = Sequence[int | str]

_NAME_MEND = "names start with a letter or digit and hold letters, digits, _ and - (60 at most)"
_KINDS = [
    kind
    for source in get_args(get_args(Source)[0])
    for kind in get_args(source.model_fields["kind"].annotation)
]
_MENDS = {
    "model_type": "write a table: { key = value }, or lines under a [header]",
    "dict_type": "write a table: { key = value }, or lines under a [header]",
    "tuple_type": 'write a list: ["one", "other"]',
    "string_type": 'write text in quotes: "…"',
    "string_too_short": "write something in it",
    "string_too_long": "shorten it",
    "date_type": "write a date without quotes, such as 2026-06-18",
    "time_type": "write a time without quotes, with seconds, such as 05:30:00",
    "float_type": "write a number without quotes, such as 0.15",
    "less_than_equal": "check the number",
    "greater_than_equal": "check the number",
    "greater_than": "check the number",
    "bool_type": "write true or false, without quotes",
    "bool_parsing": "write true or false, without quotes",
    "dose": UnreadableDoseError.mend,
    "eppo": 'look it up in the EPPO database; maize is "ZEAMX"',
}


def problem_of(error: ErrorDetails, file: Path) -> Problem:
    """Say one error of the models' validation in plain words."""
    wrong, mend = _said(error, error["loc"])
    steps = [step for step in error["loc"] if step != "[key]"]
    if steps[0] == "sources" and len(steps) > 2:
        del steps[2]  # the kind of source, by which the models found the entry
    if error["type"].startswith("union_tag"):
        steps.append("kind")
    return Problem(file, assigned(steps, _value(error)), wrong, mend)


def dotted(steps: Steps) -> str:
    """Return the key as the grower writes it: ``fields.north.limits.wind``."""
    key = ""
    for step in steps:
        if isinstance(step, int):
            key += f" (item {step + 1})"
        else:
            bare = re.fullmatch(r"[A-Za-z0-9_-]+", step)
            key += ("." if key else "") + (step if bare else f'"{step}"')
    return key


def assigned(steps: Steps, value: object) -> str:
    """Return key and value as the grower wrote them: ``setups.fan.carrier = "15 gal/acre"``."""
    shown = written(value)
    return f"{dotted(steps)} = {shown}" if shown else dotted(steps)


def _said(error: ErrorDetails, steps: Steps) -> tuple[str, str]:
    kind = error["type"]
    cause = error.get("ctx", {}).get("error")
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
        case _:
            said = _plain_message(error), _MENDS.get(kind, "correct it")
    return said


def _plain_message(error: ErrorDetails) -> str:
    wanted = error["msg"].removeprefix("Input should be ")
    words = {
        "model_type": "is not a table",
        "dict_type": "is not a table",
        "tuple_type": "is not a list",
        "string_type": "is not text",
        "string_too_short": "is empty",
    }
    return words.get(error["type"], f"must be {wanted}")


def _missing(steps: Steps) -> tuple[str, str]:
    *above, last = steps
    if isinstance(last, int):
        return "is missing", "the list is too short"
    field = _fields_at(tuple(above)).get(last)
    about = field.description if field and field.description else ""
    return "is missing", f"add it: {_without_unit(about)}" if about else f"add {last}"


def _unknown_key(steps: Steps) -> tuple[str, str]:
    *above, last = steps
    return "this key is not known", did_you_mean(str(last), _fields_at(tuple(above)), "keys here")


def _not_one_of(error: ErrorDetails) -> tuple[str, str]:
    context = error.get("ctx", {})
    if error["type"] == "union_tag_not_found":
        return "is missing", f"add kind: one of {', '.join(_KINDS)}"
    listed = str(context.get("expected") or context.get("expected_tags"))
    word = str(context.get("tag", error["input"]))
    return "is not one of the choices", did_you_mean(
        word, re.findall(r"'([^']+)'", listed), "choices"
    )


def _wrong_pattern(steps: Steps) -> tuple[str, str]:
    if steps[-1] == "[key]":
        return "this name cannot be used", _NAME_MEND
    if steps[-1] == "station":
        return "is not a call sign", 'write it in capitals, such as "KXYZ"'
    return "is not a web address", "start it with https:// (or http:// within the farm's network)"


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
            return f'"{value[:80]}"'
        case int() | float() | date() | time():
            return str(value)
    return ""


def _without_unit(description: str) -> str:
    first = re.sub(r"\s*\[[^\]]*\]$", "", " ".join(description.split()))
    return first[:1].lower() + first[1:]


def _fields_at(steps: Steps) -> Mapping[str, FieldInfo]:
    """The keys the models know at a place."""
    place: Any = FarmFile
    for step in steps:
        place = _inside(place, step)
    return place.model_fields if _is_model(place) else {}


def _is_model(place: Any) -> bool:
    return isinstance(place, type) and issubclass(place, BaseModel)


def _inside(place: Any, step: int | str) -> Any:
    if _is_model(place):
        field = place.model_fields.get(str(step))
        return _bare(field.annotation) if field else None
    if get_origin(place) is dict:
        return _bare(get_args(place)[1])
    for option in get_args(place):  # one kind of several: the step is the kind
        if _is_model(option) and step in get_args(option.model_fields["kind"].annotation):
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
