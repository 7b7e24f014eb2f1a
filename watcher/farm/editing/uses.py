"""Who uses an entry of the farm file: what is used cannot be taken out."""

from collections.abc import Iterator
from typing import Literal

from watcher.farm.models import FarmFile
from watcher.farm.validation_messages import Steps

Table = Literal["sprayers", "setups", "windows", "products"]
"""The tables of what a field is sprayed with."""


def uses_of(config: FarmFile, table: Table, name: str) -> list[Steps]:
    """Return the entries that name an entry, each by its table and own name."""
    return list(dict.fromkeys(_uses(config, table, name)))


def _uses(config: FarmFile, table: Table, name: str) -> Iterator[Steps]:
    fields, sprayers = config.fields.items(), config.sprayers.items()
    match table:
        case "sprayers":
            yield from (("setups", n) for n, s in config.setups.items() if s.sprayer == name)
            yield from (("drivers", n) for n, d in config.drivers.items() if name in d.sprayers)
        case "setups":
            yield from (("fields", n) for n, plan in fields if name in plan.setups)
            yield from (("sprayers", n) for n, s in sprayers if name in s.tips)
        case "windows":
            yield from (("fields", n) for n, plan in fields if plan.window == name)
        case "products":
            yield from (("fields", n) for n, plan in fields if name in plan.products)
