"""What the forms of sprayers, setups, spray windows and products ask, and in which words."""

from collections.abc import Callable, Mapping, Sequence
from datetime import date, time
from typing import Any, get_args

from watcher.farm.editing.uses import Table
from watcher.farm.models import (
    Adjuvant,
    Downwind,
    DropletClass,
    FarmFile,
    NozzleKind,
    NozzleSize,
    SprayerKind,
)
from watcher.farm.origin import Origin
from watcher.farm.products import ModeOfAction
from watcher.i18n.message import Message, Name, Param, joined, say
from watcher.limits.catalogue import IN_WINDOWS, Limit
from watcher.messages.vocabulary import (
    ADJUVANT_WORDS,
    DROPLET_WORDS,
    LIMIT_WORDS,
    NOZZLE_WORDS,
    ORIGIN_WORDS,
    SPRAYER_WORDS,
)
from watcher.units import Kind, System
from watcher.web.pages.farm_form import Field, FieldKind, Group

WHOSE: Sequence[tuple[str, Param]] = [
    (origin.value, ORIGIN_WORDS[origin])
    for origin in (Origin.LABEL, Origin.LAW, Origin.STATE_LAW, Origin.NATIONAL_LAW, Origin.OWN)
]
"""Whose word a bound may be."""
SIDES: Mapping[str, Message] = {"low": say("at least"), "high": say("at most")}
_WHOSE_WORD = say("Whose word it is")
_DOWNWIND: Mapping[Downwind, Message] = {
    Downwind.ANY: say("any wind in the window"),
    Downwind.CALM: say("calm wind only"),
    Downwind.NEVER: say("never"),
}
_INVERSIONS: Sequence[tuple[str, Param]] = (
    ("none", say("no sign of one")),
    ("possible", say("a possible one, no likely one")),
)
_MODES: Mapping[ModeOfAction, Message] = {
    ModeOfAction.CONTACT_HERBICIDE: say("contact herbicide"),
    ModeOfAction.TRANSLOCATED_HERBICIDE: say("translocated herbicide"),
    ModeOfAction.RESIDUAL_HERBICIDE: say("residual herbicide"),
    ModeOfAction.CONTACT_INSECTICIDE: say("contact insecticide"),
    ModeOfAction.SYSTEMIC_INSECTICIDE: say("systemic insecticide"),
    ModeOfAction.PROTECTANT_FUNGICIDE: say("protectant fungicide"),
    ModeOfAction.SYSTEMIC_FUNGICIDE: say("systemic fungicide"),
    ModeOfAction.OTHER: say("another product"),
}
_OF_RULES: Mapping[str, Message] = {
    "low": say("at least"),
    "high": say("at most"),
    "least": say("at least"),
    "most": say("at most"),
    "below": say("below"),
    "base": say("distance"),
    "other_sides": say("distance on the other sides"),
    "opens": say("opens"),
    "closes": say("closes"),
    "first": say("first day"),
    "last": say("last day"),
    "before_sunset": say("before sunset"),
    "after_sunrise": say("after sunrise"),
    "within": say("within"),
    "amount": say("amount"),
    "chance": say("chance"),
    "until_stage": say("until stage"),
    "days_after_planting": say("days after planting"),
    "seen_on": say("list seen on"),
    "looked_up_on": say("bulletin looked up on"),
    "citation": say("where it is written"),
}
"""What rules and buffers say that is one number, day or text; the rest is changed in the file."""


def form_of(table: Table, name: str, config: FarmFile, raw: Mapping[str, Any]) -> list[Group]:
    """Return the groups of the form of an entry; ``raw`` is the farm file as it is written."""
    at, system = (table, name), config.farm.units
    ask: Mapping[Table, Callable[[], list[Group]]] = {
        "sprayers": lambda: _sprayer(at, name, config, system),
        "setups": lambda: _setup(at, config, system),
        "windows": lambda: [*_window(at, system), *_rules(at, raw)],
        "products": lambda: [*_product(at), *_rules(at, raw)],
    }
    return ask[table]()


def unit(kind: Kind, system: System) -> Message:
    """Say how a quantity is written."""
    return say("with its unit: {unit}", unit=kind.shown[system])


def _words(enum: Any, words: Mapping[Any, Message]) -> list[tuple[str, Param]]:
    return [(one.value, words[one]) for one in enum]


def _droplets() -> list[tuple[str, Param]]:
    return [(one.words, DROPLET_WORDS[one]) for one in DropletClass]


def _sprayer(at: tuple[str, str], name: str, config: FarmFile, system: System) -> list[Group]:
    def asked(key: str, label: Message, kind: Kind) -> Field:
        return Field(key, (*at, key), label, hint=unit(kind, system))

    kinds = _words(SprayerKind, SPRAYER_WORDS)
    needed = [
        Field("kind", (*at, "kind"), say("Kind of sprayer"), "choice", kinds),
        asked("boom_width", say("Width of the boom"), Kind.LENGTH),
        asked("boom_height", say("Height of the boom above the crop"), Kind.SMALL_LENGTH),
        asked("speed", say("Speed while spraying"), Kind.SPEED),
        asked("tank", say("What the tank holds"), Kind.VOLUME),
        asked(
            "field_efficiency", say("Share of the time in the field spent spraying"), Kind.PERCENT
        ),
        asked("fill_time", say("From leaving the row to being back in it, full"), Kind.DURATION),
    ]
    more = [
        asked("nozzle_spacing", say("Between nozzles on the boom"), Kind.SMALL_LENGTH),
        asked("lowest_boom", say("How low the boom may be carried"), Kind.SMALL_LENGTH),
        asked("slowest", say("How slow it may go"), Kind.SPEED),
        Field(
            "tips",
            (*at, "tips"),
            say("Setups whose tips its nozzle bodies carry"),
            "several",
            [(n, Name(n)) for n, setup in config.setups.items() if setup.sprayer == name],
        ),
        asked("tips_turned_in", say("How long turning all tips takes"), Kind.DURATION),
    ]
    return [
        (None, None, needed),
        (say("What helps where drift stops a job"), None, [f for f in more if _can_be(f)]),
    ]


def _can_be(field: Field) -> bool:
    return field.kind != "several" or bool(field.choices)


def _setup(at: tuple[str, str], config: FarmFile, system: System) -> list[Group]:
    sizes = [(size, size) for size in get_args(NozzleSize)]
    rig: list[Field] = [
        Field(
            "sprayer",
            (*at, "sprayer"),
            say("Sprayer"),
            "choice",
            [(n, Name(n)) for n in config.sprayers],
        ),
        Field(
            "nozzle", (*at, "nozzle"), say("Nozzles"), "choice", _words(NozzleKind, NOZZLE_WORDS)
        ),
        Field(
            "droplets",
            (*at, "droplets"),
            say("Droplets, from the nozzle's chart at your pressure"),
            "choice",
            _droplets(),
        ),
        Field("carrier", (*at, "carrier"), say("Spray volume"), hint=unit(Kind.CARRIER, system)),
    ]
    more: list[Field] = [
        Field("nozzle_size", (*at, "nozzle_size"), say("Nozzle size, its code"), "choice", sizes),
        Field("pressure", (*at, "pressure"), say("Pressure"), hint=unit(Kind.PRESSURE, system)),
        Field(
            "drift_reduction",
            (*at, "drift_reduction"),
            say("Tested drift reduction"),
            hint=unit(Kind.PERCENT, system),
        ),
        Field(
            "adjuvant",
            (*at, "adjuvant"),
            say("Drift retardant in the tank"),
            "choice",
            _words(Adjuvant, ADJUVANT_WORDS),
        ),
        Field("listed_nozzle", (*at, "listed_nozzle"), say("Its name on lists of labels")),
    ]
    return [(None, None, rig), (say("Where you know it"), None, more)]


def bounds(prefix: str, at: tuple[str, ...], key: str, system: System) -> list[Field]:
    """Return the fields of a limit's bounds."""
    entry = IN_WINDOWS[key]
    hint = "" if entry.written is None else unit(entry.written.kind, system)
    return [Field(f"{prefix}:{side}", (*at, side), SIDES[side], hint=hint) for side in entry.sides]


def _whose(name: str, at: tuple[str, ...]) -> Field:
    return Field(f"{name}:origin", (*at, "origin"), _WHOSE_WORD, "choice", WHOSE)


def _window(at: tuple[str, str], system: System) -> list[Group]:
    found: list[Group] = [
        (
            LIMIT_WORDS[entry.limit],
            None,
            [*bounds(key, (*at, key), key, system), _whose(key, (*at, key))],
        )
        for key, entry in IN_WINDOWS.items()
    ]
    drops, windy = (*at, "droplets"), (*at, "droplets_in_marginal_wind")
    inversion, beside = (*at, "inversion"), (*at, "neighbours")
    downwind = _words(Downwind, _DOWNWIND)
    finest = say("The finest that may be used")
    return [
        *found,
        (
            LIMIT_WORDS[Limit.DROPLETS],
            None,
            [
                Field("droplets:low", (*drops, "low"), finest, "choice", _droplets()),
                _whose("droplets", drops),
            ],
        ),
        (
            LIMIT_WORDS[Limit.DROPLETS_IN_WIND],
            None,
            [
                Field("windy:low", (*windy, "low"), finest, "choice", _droplets()),
                _whose("windy", windy),
            ],
        ),
        (
            LIMIT_WORDS[Limit.INVERSION],
            None,
            [
                Field(
                    "inversion:tolerate",
                    (*inversion, "tolerate"),
                    say("What leaves the field open"),
                    "choice",
                    _INVERSIONS,
                ),
                _whose("inversion", inversion),
            ],
        ),
        (
            LIMIT_WORDS[Limit.NEIGHBOUR],
            None,
            [
                Field(
                    "beside:susceptible",
                    (*beside, "susceptible"),
                    say("Wind towards one who takes harm"),
                    "choice",
                    downwind,
                ),
                Field(
                    "beside:very_susceptible",
                    (*beside, "very_susceptible"),
                    say("Wind towards one who takes harm from very little"),
                    "choice",
                    downwind,
                ),
                _whose("beside", beside),
            ],
        ),
    ]


def _product(at: tuple[str, str]) -> list[Group]:
    label = [
        Field("name", (*at, "name"), say("Name on the label")),
        Field("registration", (*at, "registration"), say("Registration number on the label")),
        Field("rate", (*at, "rate"), say("Rate, in the label's units")),
        Field("mode", (*at, "mode"), say("What it is"), "choice", _words(ModeOfAction, _MODES)),
        Field("valid_from", (*at, "valid_from"), say("Label valid from"), "date"),
        Field("valid_until", (*at, "valid_until"), say("Label valid until"), "date"),
    ]
    records = [
        Field("active", (*at, "active"), say("Active ingredients")),
        Field("re_entry", (*at, "re_entry"), say("Re-entry interval")),
        Field("pre_harvest", (*at, "pre_harvest"), say("Pre-harvest interval")),
        Field(
            "stage_bound",
            (*at, "stage_bound"),
            say("It may be used at certain stages of the crop only"),
            "flag",
        ),
    ]
    return [(None, None, label), (say("For the record"), None, records)]


def _rules(at: tuple[str, str], raw: Mapping[str, Any]) -> list[Group]:
    """The numbers of its rules and buffers that are there; new ones are written in the file."""
    found: list[Group] = []
    entry = raw.get(at[0], {}).get(at[1], {})
    for key, word in (("rules", say("Rule")), ("buffers", say("Buffer"))):
        for number, rule in enumerate(entry.get(key, ())):
            place = (*at, key, number)
            fields = [
                Field(f"{key}:{number}:{of}", (*place, of), _OF_RULES[of], _kind_of(value))
                for of, value in rule.items()
                if of in _OF_RULES and not isinstance(value, list | dict)
            ]
            whose = Field(
                f"{key}:{number}:origin", (*place, "origin"), _WHOSE_WORD, "choice", WHOSE
            )
            about = str(rule.get("kind", ", ".join(rule.get("protects", ()))))
            heading = joined([word, Name(about)], ": ")
            found.append((heading, None, [*fields, whose]))
    return found


def _kind_of(value: object) -> FieldKind:
    match value:
        case bool():
            return "flag"
        case int():
            return "number"
        case date():
            return "date"
        case time():
            return "time"
    return "text"
