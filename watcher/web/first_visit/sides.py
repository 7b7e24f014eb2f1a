"""The screen of what is beside a field: what grows on each side, as a strip from its edge on."""

import json
from collections.abc import Mapping

import shapely

from watcher.farm.editing.edits import Edit, Remove, RemoveBoundary, SetBoundary, SetValue
from watcher.farm.editing.first_farm import DEEP_M, SIDES, beside
from watcher.farm.models import Susceptibility
from watcher.farm.problems import Problem
from watcher.i18n.message import Message, Param, say
from watcher.messages.vocabulary import SUSCEPTIBILITY_WORDS
from watcher.service.first_farm import FirstFarm
from watcher.units import Kind, System
from watcher.web.pages.farm_form import AtFaultError, Field

_TO: Mapping[str, Message] = {
    "north": say("To the north"),
    "east": say("To the east"),
    "south": say("To the south"),
    "west": say("To the west"),
}


def says(system: System) -> Message:
    """Return what the screen says of itself, in the units that were chosen."""
    return say(
        "What grows or lives within {far} of each side. It is taken to begin at the field's edge "
        "until you draw it.",
        far=Kind.LENGTH.show(DEEP_M, system),
    )


def fields(field: str) -> list[Field]:
    """Return what is asked about each side of a field."""
    found = []
    for side in SIDES:
        at = ("neighbours", f"{field}_{side}")
        choices: list[tuple[str, Param]] = [("", say("not said: not judged"))]
        choices += [(one.value, SUSCEPTIBILITY_WORDS[one]) for one in Susceptibility]
        found += [
            Field(f"{side}:minds", (*at, "susceptibility"), _TO[side], "choice", choices),
            Field(f"{side}:grows", (*at, "grows"), say("What grows or lives there")),
        ]
    return found


def edits_of(farm: FirstFarm, field: str, form: Mapping[str, str], found: list[Edit]) -> list[Edit]:
    """Return the edits of what was entered: a strip of ground for whoever is there.

    Raises ``AtFaultError``.
    """
    shapes = farm.shapes
    own = [shapes[name] for name in farm.raw.get("fields", {}) if name in shapes and name != field]
    for side in SIDES:
        name = f"{field}_{side}"
        at = ("neighbours", name)
        found = [e for e in found if not isinstance(e, SetValue | Remove) or e.at[:2] != at]
        strip = beside(shapes[field], side, own)
        minds, grows = form.get(f"{side}:minds", ""), form.get(f"{side}:grows", "").strip()
        if not minds or strip.is_empty:
            found += [Remove(at), RemoveBoundary(name)]
            continue
        if not grows:
            mend = say("write what grows or lives there")
            raise AtFaultError(
                [Problem(farm.file, f"neighbours.{name}.grows", say("is missing"), mend)]
            )
        geometry = json.loads(shapely.to_geojson(strip))
        entry = {"susceptibility": minds, "grows": grows}
        found += [SetValue(at, entry), SetBoundary(name, "neighbour", geometry)]
    return found
