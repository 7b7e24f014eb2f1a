"""The form of a record: every value it may hold by key, how it is typed in and how it is shown."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from enum import Enum, StrEnum
from typing import Annotated, Any, Literal
from zoneinfo import ZoneInfo

from pydantic import StringConstraints, TypeAdapter, ValidationError

from watcher.farm.dose import DoseText, UnreadableDoseError
from watcher.farm.models import Adjuvant, DropletClass, Droplets, NozzleKind, NozzleSize
from watcher.farm.problems import did_you_mean
from watcher.farm.products import EppoCode
from watcher.records.facts import Value
from watcher.records.layout import utc
from watcher.units import (
    Carrier,
    Kind,
    Percent,
    Pressure,
    SmallLength,
    Speed,
    System,
    UnbelievableQuantityError,
    UnreadableQuantityError,
    Written,
    show,
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
_Text = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=500)]
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
    held_as: Any = _Text
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
        ("product", "product", _Text, ""),
        ("registration", "registration number", _Text, ""),
        ("rate", "rate", DoseText, "22 fl oz/acre"),
        ("total", "total amount", _Text, "880 fl oz"),
        ("stage_bound", "only at certain growth stages", Literal["yes", "no"], "yes"),
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
        ("setup", "setup", _Text, None),
        ("sprayer", "sprayer", _Text, None),
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


def numbered(key: str, number: int) -> str:
    """Return the key of the second and later product or setup: ``"rate.2"``."""
    return key if number == 1 else f"{key}.{number}"


def split(key: str) -> tuple[Item, int]:
    """Return the item and number of a key: ``"rate.2"``. Raises FormError."""
    base, dot, number = key.partition(".")
    if base not in FORM:
        raise FormError(f'there is no "{base}" in a record; {did_you_mean(base, FORM, "keys")}')
    item = FORM[base]
    if not dot:
        return item, 1
    if item.repeats == "once":
        raise FormError(f'"{base}" is there once: write {base}=… without a number')
    if not number.isdecimal() or not 2 <= int(number) <= 20:
        raise FormError(f'"{key}": number the second one {base}.2, the third {base}.3')
    return item, int(number)


def read(item: Item, text: str, zone: ZoneInfo) -> Value:
    """Return a value as it is held. Raises FormError for what cannot be read."""
    if item.held_as is _Moment:
        return _read_moment(item, text, zone)
    try:
        value = TypeAdapter(item.held_as).validate_python(text)
    except ValidationError as error:
        raise FormError(f'{item.key}="{text}": {_said(item, error)}') from None
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
    return show(float(value), item.kind, system, _decimals(item, system))


def label(key: str) -> str:
    """Return what a key is called: ``"rate (2)"``."""
    item, number = split(key)
    return item.label if number == 1 else f"{item.label} ({number})"


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
        told = datetime.fromisoformat(text)
    except ValueError:
        raise FormError(
            f'{item.key}="{text}" is no date and time; write {item.key}={item.example}'
        ) from None
    if told.tzinfo is None:
        told = told.replace(tzinfo=zone)
        if told.replace(fold=0).utcoffset() != told.replace(fold=1).utcoffset():
            raise FormError(
                f"{item.key}={text}: the clock is changed in that hour; add the offset from UTC, "
                f"such as {text}{told.isoformat()[-6:]}"
            )
    return local(int(told.timestamp()), zone)


def _said(item: Item, error: ValidationError) -> str:
    found = error.errors(include_url=False)[0]
    cause = found.get("ctx", {}).get("error")
    if isinstance(cause, UnreadableQuantityError | UnbelievableQuantityError):
        return str(cause)
    if found["type"] == "dose":
        return f"is not an amount an area; {UnreadableDoseError.mend}"
    wanted = found["msg"].removeprefix("Input should be ").removeprefix("String should ")
    return f"must be {wanted}" + (f'; for example "{item.example}"' if item.example else "")
