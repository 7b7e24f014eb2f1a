"""What may be in the tank against drift."""

from enum import StrEnum
from typing import Literal

from watcher.farm.base import FarmModel, Words
from watcher.farm.dose import DoseText


class Adjuvant(StrEnum):
    """Drift retardant in the tank. Polyacrylamide shears in the pump within about an hour."""

    NONE = "none"
    POLYACRYLAMIDE = "polyacrylamide"
    GUAR = "guar"
    OTHER = "other"


class Retardant(FarmModel):
    """A drift retardant that may be added to a tank that is mixed already."""

    kind: Literal["polyacrylamide", "guar", "other"]
    """What it is made of."""
    most: DoseText
    """The label's maximum, on an area; one starts at a third to a half of it."""
    called: tuple[Words, ...] = ()
    """What labels that ask for or bar additives call it."""

    @property
    def adjuvant(self) -> Adjuvant:
        """What it makes of a setup."""
        return Adjuvant(self.kind)
