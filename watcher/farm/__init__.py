"""The grower's world: what they told us, checked and in SI."""

from dataclasses import dataclass
from zoneinfo import ZoneInfo

from watcher.farm.ground import Ground
from watcher.farm.models import FarmFile


@dataclass(frozen=True)
class Farm:
    """A farm file that passed every check, with its boundaries."""

    told: FarmFile
    ground: Ground

    @property
    def zone(self) -> ZoneInfo:
        """The farm's own time zone, for the edges only."""
        return ZoneInfo(self.told.farm.time_zone)
