"""A farm: what its file and its boundaries say, checked and in SI."""

import hashlib
from dataclasses import dataclass
from functools import cached_property
from zoneinfo import ZoneInfo

from watcher.farm.geometry.ground import Ground
from watcher.farm.models import FarmFile
from watcher.i18n.language import Language, language


@dataclass(frozen=True)
class Farm:
    """A farm file that passed every check, with its boundaries."""

    config: FarmFile
    ground: Ground

    @cached_property
    def digest(self) -> str:
        """What tells one farm from another, its boundaries included."""
        areas = {name: round(self.ground.area_m2(name)) for name in self.config.fields}
        return hashlib.sha256(f"{self.config!r}{areas}".encode()).hexdigest()[:16]

    @property
    def zone(self) -> ZoneInfo:
        """The farm's own time zone, for the edges only."""
        return ZoneInfo(self.config.farm.time_zone)

    @property
    def language(self) -> Language:
        """The language of the farm's records, and of alerts to those who have no other."""
        return language(self.config.farm.language)

    def language_of(self, recipient: str) -> Language:
        """Return the language somebody is written to in; the farm's for who is not in the file."""
        known = self.config.recipients.get(recipient)
        return language(known.language) if known and known.language else self.language
