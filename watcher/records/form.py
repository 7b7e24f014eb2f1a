"""The form of a record: every value it may hold by key, how it is typed in and how it is shown."""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from enum import Enum, StrEnum
from typing import Annotated, Any, Literal, get_args, get_origin
from zoneinfo import ZoneInfo

from pydantic import StringConstraints, TypeAdapter, ValidationError

from watcher.farm.dose import DoseText
from watcher.farm.models import Adjuvant, DropletClass, Droplets, NozzleKind, NozzleSize
from watcher.farm.problems import did_you_mean
from watcher.farm.products import EppoCode
from watcher.farm.validation_messages import said_of
from watcher.i18n.message import Message, joined, say
from watcher.records.facts import Missing, Value
from watcher.records.layout import utc
from watcher.records.words import WORDS
from watcher.units import (
    Carrier,
    Kind,
    Percent,
    Pressure,
    SmallLength,
    Speed,
    System,
    Written,
    amount,
)


class Group(StrEnum):
    """The parts of the form, in order."""

    WHO = "Who"
    WHERE = "Where"
    WHAT = "What"
    WHEN = "When"
    WITH = "With what"
    NOTED = "Noted by hand"


Repeats = Literal["once", "by product", "by setup"]
TEXT = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=500)]
_Stage = Annotated[str, StringConstraints(pattern=r"^[0-9]{1,2}$")]
_Area = Annotated[float, Written(Kind.AREA, 10, 1e8)]


class _Moment:
    """A moment: typed on the farm's clock, held with its offset."""


@dataclass(frozen=True)
class Item:
    """One value of the form."""

    key: str
    label: str
    group: Group
    held_as: Any = TEXT
    kind: Kind | None = None
    """For a quantity: what it is shown as."""
    repeats: Repeats = "once"
    example: str = ""


def _items() -> Iterator[Item]:
    who, where, what, when = Group.WHO, Group.WHERE, Group.WHAT, Group.WHEN
    yield Item("applicator", "certified applicator", who)
    yield Item("certificate", "certificate or licence number", who)
    yield Item("operator", "who drove, if not the applicator", who)
    yield Item("client", "sprayed for", who)
    yield Item("client_address", "client's address", who)
    yield Item("location", "location", where)
    yield Item("parcel", "parcel in an official register", where)
    yield Item("area", "area treated", where, _Area, Kind.AREA, example="40 acre")
    yield Item("part", "part or side of the field", where)
    yield Item("crop", "crop or site", what)
    yield Item("eppo", "crop's EPPO code", what, EppoCode, example="ZEAMX")
    yield Item("bbch", "growth stage (BBCH)", what, _Stage, example="14")
    yield Item("target", "target pests or weeds", what)
    yield Item("use", "type of use", what)
    for key, label, held_as, example in (
        ("product", "product", TEXT, ""),
        ("registration", "registration number", TEXT, ""),
        ("active", "active ingredient", TEXT, ""),
        ("rate", "rate", DoseText, "22 fl oz/acre"),
        ("total", "total amount", TEXT, "880 fl oz"),
        ("stage_bound", "only at certain growth stages", Literal["yes", "no"], "yes"),
        ("re_entry", "re-entry interval", TEXT, "12 h"),
        ("pre_harvest", "pre-harvest interval", TEXT, "30 days"),
    ):
        yield Item(key, label, what, held_as, repeats="by product", example=example)
    yield Item("started", "started", when, _Moment, example="2026-06-10T11:00")
    yield Item("ended", "ended", when, _Moment, example="2026-06-10T12:30")
    yield from _rig_items()
    noted = Group.NOTED
    yield Item("reading_start", "hand-held reading at the start", noted)
    yield Item("reading_end", "hand-held reading at the end", noted)
    yield Item("buffer", "buffer left towards neighbours", noted)
    yield Item("sensitive_check", "check for sensitive crops and sites", noted)
    yield Item("note", "note", noted)


def _rig_items() -> Iterator[Item]:
    for key, label, held_as, kind in (
        ("setup", "setup", TEXT, None),
        ("sprayer", "sprayer", TEXT, None),
        ("nozzle", "nozzle", NozzleKind, None),
        ("nozzle_size", "nozzle size (ISO 10625)", NozzleSize, None),
        ("droplets", "droplet class", Droplets, None),
        ("pressure", "pressure", Pressure, Kind.PRESSURE),
        ("carrier", "carrier volume", Carrier, Kind.CARRIER),
        ("speed", "speed", Speed, Kind.SPEED),
        ("boom_height", "boom height over the canopy", SmallLength, Kind.SMALL_LENGTH),
        ("adjuvant", "drift retardant", Adjuvant, None),
        ("drift_reduction", "drift reduction", Percent, Kind.PERCENT),
    ):
        yield Item(key, label, Group.WITH, held_as, kind, "by setup")


FORM: dict[str, Item] = {item.key: item for item in _items()}
"""Every item by its key, in the order they are shown."""


class FormError(ValueError):
    """What was typed does not fit the form; says what would."""

    def __init__(self, text: Message, beside: Message | None = None) -> None:
        super().__init__(text)
        self.text = text
        self.beside = beside or text
        """The same where it stands beside what was typed: without its key."""


class WrongValuesError(FormError):
    """Some of several values do not fit; nothing of them is written."""

    def __init__(self, wrong: Mapping[str, FormError]) -> None:
        super().__init__(joined([error.text for error in wrong.values()], "\n"))
        self.wrong = dict(wrong)


def numbered(key: str, number: int) -> str:
    """Return the key of the second and later product or setup: ``"rate.2"``."""
    return key if number == 1 else f"{key}.{number}"


def split(key: str) -> tuple[Item, int]:
    """Return the item and number of a key: ``"rate.2"``. Raises FormError."""
    base, dot, number = key.partition(".")
    if base not in FORM:
        mend = did_you_mean(base, FORM, say("keys"))
        raise FormError(say('there is no "{key}" in a record; {mend}', key=base, mend=mend))
    item = FORM[base]
    if not dot:
        return item, 1
    if item.repeats == "once":
        raise FormError(say('"{key}" is there once: write {key}=… without a number', key=base))
    if not number.isdecimal() or not 2 <= int(number) <= 20:
        raise FormError(
            say('"{key}": number the second one {base}.2, the third {base}.3', key=key, base=base)
        )
    return item, int(number)


def read(item: Item, text: str, zone: ZoneInfo) -> Value:
    """Return a value as it is held. Raises FormError for what cannot be read."""
    if item.held_as is _Moment:
        return _read_moment(item, text, zone)
    try:
        value = TypeAdapter(item.held_as).validate_python(text)
    except ValidationError as error:
        wrong, mend = _said(item, error)
        raise FormError(
            say('{key}="{text}": {wrong}; {mend}', key=item.key, text=text, wrong=wrong, mend=mend),
            say("{wrong}; {mend}", wrong=wrong, mend=mend),
        ) from None
    return held(value)


def held(value: Any) -> Value:
    """Return a value of the farm file as the form holds it."""
    if isinstance(value, DropletClass):
        return value.words
    return value.value if isinstance(value, Enum) else value  # type: ignore[no-any-return]


def shown(item: Item, value: Value | None, system: System) -> str:
    """Return a value as the grower reads it; a dash where there is none."""
    if value is None:
        return "–"
    if item.held_as is _Moment:
        return f"{str(value).replace('T', ' ')} ({utc(moment(value))} UTC)"
    if item.kind is None:
        return str(value)
    return item.kind.show(float(value), system, _decimals(item, system))


def typed(item: Item, value: Value | None, system: System) -> str:
    """Return a value as it is typed into a form: a number in the farm's unit, a farm's clock."""
    if value is None:
        return ""
    if item.held_as is _Moment:
        return str(value)[: len("2026-06-10T11:00")]
    if item.kind is None:
        return str(value)
    places = _decimals(item, system)
    decimals = item.kind.decimals if places is None else places
    return f"{amount(float(value), item.kind, system):.{decimals}f}"


def with_unit(item: Item, text: str, system: System) -> str:
    """Return what was typed with the farm's unit, where it is a bare number."""
    if item.kind is None or not re.fullmatch(r"[0-9]*\.?[0-9]+", text):
        return text
    return f"{text} {item.kind.shown[system]}"


def choices(item: Item) -> tuple[str, ...]:
    """Return what there is to choose from, as it is held; nothing for what is typed in."""
    if item.held_as is Droplets:
        return tuple(c.words for c in DropletClass)
    if isinstance(item.held_as, type) and issubclass(item.held_as, Enum):
        return tuple(c.value for c in item.held_as)
    return get_args(item.held_as) if get_origin(item.held_as) is Literal else ()


def is_moment(item: Item) -> bool:
    """Return whether a value is a moment on the farm's clock."""
    return item.held_as is _Moment


def label(key: str) -> str:
    """Return what a key is called in English: ``"rate (2)"``."""
    item, number = split(key)
    return item.label if number == 1 else f"{item.label} ({number})"


def labelled(key: str) -> Message:
    """Return what a key of the form is called: ``"rate (2)"``."""
    item, number = split(key)
    word = WORDS[item.label]
    return word if number == 1 else joined([word, f"({number})"], " ")


def lacking(missing: Missing) -> Message:
    """Return what is missing: a value of the form, or what the log lacks."""
    return WORDS.get(missing.what) or labelled(missing.key)


def unit(item: Item) -> str:
    """Return the unit a value is held in; empty for words."""
    return "" if item.kind is None else item.kind.inside


def local(at: int, zone: ZoneInfo) -> str:
    """Return a moment as the form holds it: on the farm's clock, with its offset from UTC."""
    return datetime.fromtimestamp(at, zone).isoformat()


def moment(value: Value) -> int:
    """Return the epoch seconds of a moment the form holds."""
    return int(datetime.fromisoformat(str(value)).timestamp())


def _decimals(item: Item, system: System) -> int | None:
    if item.kind is Kind.AREA:
        return 1
    return 1 if item.kind is Kind.PRESSURE and system == "metric" else None


def _read_moment(item: Item, text: str, zone: ZoneInfo) -> str:
    try:
        local_time = datetime.fromisoformat(text)
    except ValueError:
        raise FormError(
            say(
                '{key}="{text}" is no date and time; write {key}={example}',
                key=item.key,
                text=text,
                example=item.example,
            ),
            say("this is no date and time; write it like {example}", example=item.example),
        ) from None
    if local_time.tzinfo is None:
        local_time = local_time.replace(tzinfo=zone)
        if local_time.replace(fold=0).utcoffset() != local_time.replace(fold=1).utcoffset():
            raise FormError(
                say(
                    "{key}={text}: the clock is changed in that hour; add the offset from UTC, "
                    "such as {example}",
                    key=item.key,
                    text=text,
                    example=f"{text}{local_time.isoformat()[-6:]}",
                )
            )
    return local(int(local_time.timestamp()), zone)


def _said(item: Item, error: ValidationError) -> tuple[Message, Message]:
    """What is wrong with what was typed, and the mend."""
    found = error.errors(include_url=False)[0]
    if found["type"] == "string_pattern_mismatch":
        return say("does not fit"), say('write it like "{example}"', example=item.example)
    return said_of(found, (item.key,))
