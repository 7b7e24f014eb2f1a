"""A form over places of the farm file: shown as they are, answered in place, read as edits."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Literal

from watcher.farm.editing.edits import Edit, Remove, SetValue
from watcher.farm.editing.texts import FarmTexts
from watcher.farm.problems import Problem
from watcher.farm.validation_messages import Steps, dotted
from watcher.i18n.message import Message, Param, joined, say

FieldKind = Literal[
    "text", "date", "time", "number", "choice", "flag", "several", "long", "lines", "truth"
]
TRUTHS: Sequence[tuple[str, Param]] = (
    ("", say("not said")),
    ("true", say("yes")),
    ("false", say("no")),
)
"""What may be chosen of what nobody may have said yet."""
_WAS = "was:"
_ONE_OF = "\n"
_MOST_LETTERS = 400
_ENTRY = 2
"""Steps to an entry: its table and its name."""


class AtFaultError(Exception):
    """What was entered cannot be: each problem with its place and mend."""

    def __init__(self, problems: Sequence[Problem]) -> None:
        super().__init__("; ".join(map(str, problems)))
        self.problems = tuple(problems)


@dataclass(frozen=True)
class Field:
    """One place of the farm file in a form."""

    name: str
    at: Steps
    label: Message
    kind: FieldKind = "text"
    choices: Sequence[tuple[str, Param]] = ()
    """What may be chosen: as written, and as read."""
    hint: Param = ""
    """What stands there while nothing is written."""
    default: Any = None
    """What holds while nothing is written, shown as if it were."""
    columns: Sequence[str] = ()
    """Of lines that are tables: their keys, with a semicolon between on the line."""


@dataclass(frozen=True)
class Row:
    """A field of a form as it is shown."""

    field: Field
    was: str
    value: str
    wrong: Sequence[Problem]

    @property
    def chosen(self) -> Sequence[str]:
        """What is chosen of several."""
        return self.value.split(_ONE_OF) if self.value else ()


@dataclass(frozen=True)
class Typed:
    """What was typed into a form, and what is wrong with it."""

    form: Mapping[str, str]
    problems: Sequence[Problem] = ()


Group = tuple[Message | None, Message | None, Sequence[Field]]
"""Fields under a heading and a sentence."""


@dataclass(frozen=True)
class FormPage:
    """A page with a form; ``back`` is the page it leads back to."""

    title: Message
    back: str
    groups: Sequence[Group]
    to: str = ""
    """Where it is sent; to the page it stands on where not given."""
    of: str = ""
    """The entry it is about, by table and name, where that may be copied and taken out."""
    lists: Sequence[tuple[Message, Sequence[tuple[str, Message]]]] = ()
    """Lists of what is changed on pages of its own: address and words."""

    @cached_property
    def fields(self) -> list[Field]:
        """All its fields."""
        return [one for _, _, fields in self.groups for one in fields]


def written_at(raw: Any, at: Steps) -> Any:
    """Return what the farm file has at a place; None where nothing is written."""
    for step in at:
        if isinstance(raw, list) and isinstance(step, int) and step < len(raw):
            raw = raw[step]
        else:
            raw = raw.get(step) if isinstance(raw, Mapping) else None
    return raw


def rows(fields: Sequence[Field], texts: FarmTexts, typed: Typed | None = None) -> list[Row]:
    """Return the rows of a form: as the file has them, or as typed with what is wrong."""
    raw = texts.masked.raw
    found = []
    for one in fields:
        written = written_at(raw, one.at)
        was = _shown(one, one.default if written is None else written)
        value = was if typed is None else _typed(one, typed.form)
        key = str(dotted(one.at))
        wrong = [p for p in typed.problems if _is_of(str(p.key), key)] if typed else []
        found.append(Row(one, was, value, wrong))
    return found


def elsewhere(fields: Sequence[Field], problems: Sequence[Problem]) -> list[Problem]:
    """Return the problems that no field of the form can show."""
    keys = [str(dotted(one.at)) for one in fields]
    return [p for p in problems if not any(_is_of(str(p.key), key) for key in keys)]


def edits(fields: Sequence[Field], form: Mapping[str, str]) -> list[Edit]:
    """Return what was changed in a form: whatever else changed meanwhile stays as it is."""
    found: list[Edit] = []
    for one in fields:
        was, value = form.get(_WAS + one.name, "").replace("\r\n", "\n"), _typed(one, form)
        if value == was:
            continue
        if one.kind == "flag" and one.default and not value:
            found.append(SetValue(one.at, False))
            continue
        if one.kind == "several" and one.default is not None and not value:
            found.append(SetValue(one.at, []))  # none of them, which is not the same as unwritten
            continue
        emptied = _emptied(one, fields, form)
        edit = SetValue(one.at, _native(one, value)) if value else Remove(emptied or one.at)
        if edit not in found:
            found.append(edit)
    return found


def _emptied(one: Field, fields: Sequence[Field], form: Mapping[str, str]) -> Steps | None:
    """The table below an entry that a field stands in, where a form leaves nothing in it."""
    table = tuple(one.at[:-1])
    beside = [f for f in fields if tuple(f.at[:-1]) == table]
    below = len(table) > _ENTRY and not any(_typed(f, form) for f in beside)
    return table if below else None


def _is_of(problem: str, key: str) -> bool:
    rest = problem.removeprefix(key)
    return problem.startswith(key) and (not rest or rest[0] in " .(")


def _typed(one: Field, form: Mapping[str, str]) -> str:
    if one.kind == "several":
        return _ONE_OF.join(word for word, _ in one.choices if form.get(f"{one.name}:{word}"))
    if one.kind == "lines":
        lines = form.get(one.name, "").splitlines()
        return _ONE_OF.join(filter(None, (line.strip()[:_MOST_LETTERS] for line in lines)))
    return form.get(one.name, "").strip()[: None if one.kind == "long" else _MOST_LETTERS]


def _shown(one: Field, value: Any) -> str:
    if value is None:
        return ""
    match one.kind:
        case "flag":
            return "on" if value else ""
        case "several":
            return _ONE_OF.join(map(str, value)) if isinstance(value, list | tuple) else ""
        case "lines":
            return _ONE_OF.join(_line(one, item) for item in _listed(value))
    return {"truth": f"{value}".lower(), "time": f"{value}"[:5]}.get(one.kind, f"{value}")


def _listed(value: Any) -> Sequence[Any]:
    return value if isinstance(value, list | tuple) else [value]


def _line(one: Field, item: Any) -> str:
    if not one.columns or not isinstance(item, Mapping):
        return str(item)
    return "; ".join(str(item.get(key, "")) for key in one.columns).rstrip("; ")


def _native(one: Field, value: str) -> Any:
    match one.kind:
        case "flag" | "truth":
            return value != "false"
        case "several":
            return value.split(_ONE_OF)
        case "lines":
            return _lines(one, value)
        case "number":
            return int(value) if value.isdecimal() and len(value) < 10 else value
    return value


def _lines(one: Field, value: str) -> Any:
    """A list of texts or tables; one of the words that stand in place of a list."""
    lines = value.split(_ONE_OF)
    if one.columns:
        rows = ([part.strip() for part in line.split(";")] for line in lines)
        return [
            {key: part for key, part in zip(one.columns, row, strict=False) if part} for row in rows
        ]
    return value if value in [word for word, _ in one.choices] else lines


def kept(form: Mapping[str, str]) -> Iterator[tuple[str, str]]:
    """Yield what a form brought, to be brought again when it is confirmed."""
    own = {"form_token", "based_on", "keep", "label_changed"}
    yield from ((name, value) for name, value in form.items() if name not in own)


def of_mistakes(problems: Sequence[Problem]) -> list[Message]:
    """Say problems that have no place of their own on the page, each with its mend."""
    return [joined([joined(filter(None, [p.key, p.wrong]), ": "), p.mend], "; ") for p in problems]
