"""Droplet classes, as nozzle charts and labels name them."""

from enum import IntEnum
from typing import Annotated

from pydantic import BeforeValidator, WithJsonSchema
from pydantic_core import PydanticCustomError


class DropletClass(IntEnum):
    """Droplet classes of ASABE S572 / ISO 25358, fine to coarse, so that < means finer."""

    EXTREMELY_FINE = 0
    VERY_FINE = 1
    FINE = 2
    MEDIUM = 3
    COARSE = 4
    VERY_COARSE = 5
    EXTREMELY_COARSE = 6
    ULTRA_COARSE = 7

    @property
    def words(self) -> str:
        """Return the class as the trade writes it: ``"very coarse"``."""
        return self.name.lower().replace("_", " ")


def _droplet_class(value: object) -> object:
    if isinstance(value, DropletClass):
        return value
    by_words = {c.words: c for c in DropletClass}
    if not isinstance(value, str) or value not in by_words:
        classes = ", ".join(f"'{words}'" for words in by_words)
        raise PydanticCustomError("enum", "not a droplet class", {"expected": classes})
    return by_words[value]


Droplets = Annotated[
    DropletClass,
    BeforeValidator(_droplet_class),
    WithJsonSchema({"type": "string", "enum": [c.words for c in DropletClass]}),
]
