"""The screen of the sprayer: the machine and what is on it, in the trade's words."""

from collections.abc import Mapping

from watcher.farm.editing.edits import Edit, SetValue
from watcher.farm.models import DropletClass, NozzleKind
from watcher.farm.problems import Problem
from watcher.i18n.message import say
from watcher.messages.vocabulary import DROPLET_WORDS, NOZZLE_WORDS
from watcher.service.first_farm import FirstFarm
from watcher.units import Kind, System
from watcher.web.first_visit.label import with_unit
from watcher.web.pages.farm_form import AtFaultError, Field

SPRAYER, SETUP = "sprayer", "setup"


def fields(system: System) -> list[Field]:
    """Return what the screen asks, in the units of the trade."""
    of, rigged = ("sprayers", SPRAYER), ("setups", SETUP)
    return [
        Field(
            "width",
            (*of, "boom_width"),
            say("Width of the boom"),
            hint=with_unit(Kind.LENGTH, system),
        ),
        Field(
            "height",
            (*of, "boom_height"),
            say("Height of the boom above the crop"),
            hint=with_unit(Kind.SMALL_LENGTH, system),
        ),
        Field(
            "speed", (*of, "speed"), say("Speed while spraying"), hint=with_unit(Kind.SPEED, system)
        ),
        Field(
            "tank", (*of, "tank"), say("What the tank holds"), hint=with_unit(Kind.VOLUME, system)
        ),
        Field(
            "efficiency",
            (*of, "field_efficiency"),
            say("Share of the time in the field spent spraying"),
            hint=with_unit(Kind.PERCENT, system),
        ),
        Field(
            "fill",
            (*of, "fill_time"),
            say("From leaving the row to being back in it, full"),
            hint=with_unit(Kind.DURATION, system),
        ),
        Field(
            "nozzle",
            (*rigged, "nozzle"),
            say("Nozzles"),
            "choice",
            [(one.value, NOZZLE_WORDS[one]) for one in NozzleKind],
        ),
        Field(
            "droplets",
            (*rigged, "droplets"),
            say("Droplets, from the nozzle's chart at your pressure"),
            "choice",
            [(one.words, DROPLET_WORDS[one]) for one in DropletClass],
        ),
        Field(
            "carrier",
            (*rigged, "carrier"),
            say("Spray volume"),
            hint=with_unit(Kind.CARRIER, system),
        ),
    ]


def edits_of(farm: FirstFarm, form: Mapping[str, str], found: list[Edit]) -> list[Edit]:
    """Return the edits of what was entered. Raises ``AtFaultError`` where nothing was."""
    if not any(form.get(one.name, "").strip() for one in fields("us")):
        key = f"sprayers.{SPRAYER}.boom_width"
        mend = say("fill it in, or choose Later")
        raise AtFaultError([Problem(farm.file, key, say("nothing is filled in"), mend)])
    return [*found, SetValue(("setups", SETUP, "sprayer"), SPRAYER)]
