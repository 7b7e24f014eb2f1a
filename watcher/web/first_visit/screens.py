"""The screens of the first visit: what each asks, where it goes, what is not judged without it."""

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import shapely

from watcher.farm.editing.edits import Edit, Remove, RemoveBoundary, SetBoundary, SetValue
from watcher.farm.editing.first_farm import DEEP_M, name_for
from watcher.farm.editing.texts import FarmTexts
from watcher.farm.geometry.boundaries import BadShapeError
from watcher.farm.geometry.drawing import among, drawn
from watcher.farm.geometry.ground import Ground
from watcher.farm.geometry.importing import Outline, outlines
from watcher.farm.models import WeedPressure, Weeds
from watcher.farm.problems import FarmFileError, Problem
from watcher.i18n.message import Message, Name, Param, joined, say
from watcher.messages.drawing import overlap_line
from watcher.messages.vocabulary import (
    TARGET_WORDS,
    WEED_WORDS,
)
from watcher.service.first_farm import FirstFarm
from watcher.units import Kind, System
from watcher.web.first_visit import label, place, sides, sprayer
from watcher.web.first_visit.label import with_unit
from watcher.web.pages.farm_feed import FORECAST, feed_field
from watcher.web.pages.farm_form import AtFaultError, Field, edits

MISSING = say("is missing")
OVERLAP_MEND = say("move the line between them, or say that it is meant so")


@dataclass(frozen=True)
class Screen:
    """One screen."""

    key: str
    title: Message
    without: Message
    """What is not so until it is entered."""
    says: Message | None = None


STEPS = (
    Screen(
        "place",
        say("Where is the farm?"),
        say("Without it no weather is known."),
        say("Forecasts, sunrise and sunset and the clock go by it."),
    ),
    Screen(
        "field",
        say("Where is the first field?"),
        say("Without a field nothing is judged."),
        say(
            "Tap its corners, walk or drive around it, take the file of another program, or type "
            "one corner a line."
        ),
    ),
    Screen(
        "crop",
        say("What grows there, and what is to be killed?"),
        say("Without it loss of weed control and the order of the fields are not judged."),
    ),
    Screen(
        "sides",
        say("What is beside it?"),
        say("Until you tell, drift onto neighbours is not judged on that side."),
    ),
    Screen(
        "sprayer",
        say("What do you spray with?"),
        say("Without it nothing is judged: drift and time hang on it."),
    ),
    Screen(
        "label",
        say("What does the label allow?"),
        say("A bound you leave out is not judged. Wind must be given."),
        say("Copy the numbers from the label in your hand. It is the law."),
    ),
    Screen("feed", say("Whose forecast?"), say("Without it the hours ahead are not known.")),
    Screen(
        "station",
        say("Is there a weather station?"),
        say("Without it now is judged by the forecast alone, and what that lacks is not known."),
        say("One beside your fields knows your wind; a forecast speaks for a whole district."),
    ),
    Screen(
        "phone",
        say("Who is told?"),
        say("Without it nothing is sent: a stop stands on these pages only."),
        say("A stop must reach you in the cab."),
    ),
)
BY_KEY = {step.key: step for step in STEPS}


def system_of(farm: FirstFarm) -> System:
    """Return the units that were chosen so far."""
    return "metric" if farm.raw.get("farm", {}).get("units") == "metric" else "us"


def says(step: Screen, farm: FirstFarm) -> Message | None:
    """Return what a screen says of itself, lengths in the units that were chosen."""
    if step.key != "sides":
        return step.says
    return sides.says(system_of(farm))


def fields_of(step: str, farm: FirstFarm, field: str) -> list[Field]:
    """Return what a screen asks; ``field`` is the one whose sides are asked about."""
    system = system_of(farm)
    asked: Mapping[str, Callable[[], list[Field]]] = {
        "place": place.fields,
        "field": _field,
        "crop": lambda: _crop(next(iter(farm.raw.get("fields", {})), "field"), system),
        "sides": lambda: sides.fields(field),
        "sprayer": lambda: sprayer.fields(system),
        "label": lambda: label.fields(system),
        "feed": lambda: [feed_field(FORECAST, farm.place)],
    }
    return asked[step]() if step in asked else []


def edits_of(step: str, farm: FirstFarm, form: Mapping[str, str], field: str) -> list[Edit]:
    """Return the edits of what was entered on a screen. Raises ``AtFaultError``."""
    asked = fields_of(step, farm, field)
    found = edits(asked, form)
    if step == "place":
        found = place.placed(farm, form)
    elif step == "field":
        found = _drawn(farm, form)
    elif step == "crop":
        found = _of_every_field(farm, found)
    elif step == "sides":
        found = sides.edits_of(farm, field, form, found)
    elif step == "sprayer":
        found = sprayer.edits_of(farm, form, found)
    elif step == "label":
        found = label.labelled(farm, found, form)
    return found


def posts(step: Screen) -> dict[str, int]:
    """Return which screen of how many this is."""
    return {"at": STEPS.index(step) + 1, "count": len(STEPS)}


def after(farm: FirstFarm, step: Screen, field: str = "") -> str:
    """Return the address of the screen after this one: each field has its sides asked about."""
    fields = list(farm.raw.get("fields", {}))
    at = STEPS.index(step) + 1
    if step.key == "sides" and field in fields and fields.index(field) + 1 < len(fields):
        return f"/first/sides?field={fields[fields.index(field) + 1]}"
    if at < len(STEPS) and STEPS[at].key == "sides":
        return f"/first/sides?field={fields[0]}" if fields else f"/first/{STEPS[at + 1].key}"
    return f"/first/{STEPS[at].key}" if at < len(STEPS) else "/first"


def step_of(problem: Problem) -> str:
    """Return the screen on which a problem is mended."""
    key = str(problem.key)
    if problem.file.suffix == ".geojson":
        return "field"
    for start, step in (
        ("farm", "place"),
        ("neighbours", "sides"),
        ("sprayers", "sprayer"),
        ("setups", "sprayer"),
        ("windows", "label"),
        ("products", "label"),
        (f"sources.{FORECAST}", "feed"),
        ("sources.", "station"),
        ("sources", "feed"),
        ("recipients", "phone"),
    ):
        if key.startswith(start):
            return step
    return "crop" if "." in key else "field"


def _field() -> list[Field]:
    return [
        Field("name", ("name",), say("Name of the field, where the file has none")),
        Field("corners", ("corners",), say("Its corners, or the pasted file"), "long"),
    ]


def _drawn(farm: FirstFarm, form: Mapping[str, str]) -> list[Edit]:
    try:
        found = outlines(form.get("corners", ""))
    except BadShapeError as error:
        raise AtFaultError([Problem(farm.file, "corners", error.wrong, error.mend)]) from error
    _refuse_overlaps(farm, found, form)
    known = farm.raw.get("fields", {})  # what is known of a field outlives its being drawn anew
    given: list[Edit] = [RemoveBoundary(name) for name in farm.shapes]
    given += [Remove(("fields",)), Remove(("neighbours",))]
    taken: list[str] = []
    for outline in found:
        name = name_for(outline.name or form.get("name", ""), taken, "field")
        taken.append(name)
        geometry = json.loads(shapely.to_geojson(outline.shape))
        given += [
            SetBoundary(name, "field", geometry),
            SetValue(("fields", name), known.get(name, {}) | {"window": label.WINDOW}),
        ]
    return given


def _refuse_overlaps(farm: FirstFarm, found: Sequence[Outline], form: Mapping[str, str]) -> None:
    """Raise ``AtFaultError`` where fields that come together overlap, and nobody says it is so."""
    shapes = {one.name or str(i): one.shape for i, one in enumerate(found, start=1)}
    over = among(shapes)
    if not over or form.get("overlap_ok"):
        return
    system = system_of(farm)
    lines = [joined([Name(name), overlap_line(one, system)], " ") for name, one in over]
    raise AtFaultError([Problem(farm.file, "corners", line, OVERLAP_MEND) for line in lines])


def _crop(name: str, system: System) -> list[Field]:
    at = ("fields", name)
    return [
        Field("crop", (*at, "crop"), say("Crop")),
        Field(
            "canopy",
            (*at, "canopy"),
            say("Height of the crop"),
            hint=with_unit(Kind.SMALL_LENGTH, system),
        ),
        Field("weeds", (*at, "weeds"), say("Weeds"), "choice", _words(WeedPressure, WEED_WORDS)),
        Field(
            "target", (*at, "target"), say("Weeds to kill"), "choice", _words(Weeds, TARGET_WORDS)
        ),
        Field("latest", (*at, "latest"), say("Last day it should be sprayed"), "date"),
    ]


def _of_every_field(farm: FirstFarm, found: Sequence[Edit]) -> list[Edit]:
    """The same for each field that came with a file; each is changed on its page later."""
    every: list[Edit] = []
    for name in farm.raw.get("fields", {}):
        for edit in found:
            if isinstance(edit, SetValue):
                every.append(SetValue(("fields", name, *edit.at[2:]), edit.value))
            elif isinstance(edit, Remove):
                every.append(Remove(("fields", name, *edit.at[2:])))
    return every


def _words(enum: Any, words: Mapping[Any, Message]) -> list[tuple[str, Param]]:
    return [(one.value, words[one]) for one in enum]


def is_answered(step: str, farm: FirstFarm) -> bool:
    """Return whether anything of a screen is in the farm."""
    raw = farm.raw
    sources = raw.get("sources", {})
    answers: Mapping[str, object] = {
        "place": farm.place,
        "field": raw.get("fields"),
        "crop": any("crop" in one for one in raw.get("fields", {}).values()),
        "sides": raw.get("neighbours"),
        "sprayer": raw.get("sprayers"),
        "label": raw.get("windows"),
        "feed": FORECAST in sources,
        "station": set(sources) - {FORECAST},
        "phone": raw.get("recipients"),
    }
    return bool(answers[step])


def not_judged(farm: FirstFarm) -> list[Message]:
    """Say what is not judged with what was entered so far."""
    raw = farm.raw
    found: list[Message] = []
    if FORECAST not in raw.get("sources", {}):
        found.append(say("The hours ahead are not known: no forecast is chosen"))
    if not set(raw.get("sources", {})) - {FORECAST}:
        found.append(say("Now is judged by the forecast alone: there is no station"))
    found += label.left_out(farm)
    shapes, fields = farm.shapes, raw.get("fields", {})
    own = {name: shape for name, shape in shapes.items() if name in fields}
    ground = Ground(own, {name: s for name, s in shapes.items() if name not in own})
    for name, shape in own.items():
        if not drawn(shape, name, "field", ground, within_m=DEEP_M).near:
            found.append(say("No drift onto neighbours is judged beside {field}", field=Name(name)))
    return found


def checked(farm: FirstFarm, step: str, found: Sequence[Edit], asked: Sequence[Field]) -> FarmTexts:
    """Return the texts with what was entered. Raises ``AtFaultError`` for what is wrong with it."""
    try:
        texts = farm.with_edits(found)
    except FarmFileError as error:
        raise AtFaultError(error.problems) from error
    keys = {".".join(map(str, one.at[:2])) for one in asked}
    before = {(p.key, p.wrong) for p in farm.problems()}
    wrong = []
    for problem in farm.problems(texts):
        own = step_of(problem) == step or any(str(problem.key).startswith(key) for key in keys)
        later = problem.wrong == MISSING and step != "phone"  # half of the quiet hours
        if own and not later and (problem.key, problem.wrong) not in before:
            wrong.append(problem)
    if wrong:
        raise AtFaultError(wrong)
    return texts
