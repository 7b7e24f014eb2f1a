"""How good forecasts of rain were: wet or dry in each hour, and how much.

Most hours are dry and foretold so: to count them as right would let a feed that foretells no rain
at all look good. Hits, false alarms and misses are of the others; the equitable threat score
(Gilbert's skill score), usual for rain, takes off the hits that chance would have brought.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from watcher.forecasts.history import History
from watcher.forecasts.rain import WET_MM_H
from watcher.forecasts.scores import FEWEST_DAYS
from watcher.forecasts.verification import (
    LEADS_H,
    Groups,
    Off,
    alike,
    days_of,
    feeds_of,
    foretold_by,
    lead_bands,
    off_of,
)
from watcher.weather.series import Floats

NAME = "rain_mm_h"


@dataclass(frozen=True)
class RainOff:
    """A feed's hours of one lead. Wet are those of at least ``rain.WET_MM_H``."""

    hits: int
    """Wet, and foretold so."""
    false_alarms: int
    """Dry, and foretold wet."""
    misses: int
    """Wet, and foretold dry."""
    dry: int
    """Dry, and foretold so."""
    days: int
    """On how many days it was wet or foretold wet."""
    amount: Off
    """Of the hours that were wet or foretold wet. [mm/h]"""

    @property
    def known(self) -> bool:
        """Whether there were wet days enough."""
        return self.days >= FEWEST_DAYS

    @property
    def hit_rate(self) -> float:
        """The share of the wet hours that was foretold; NaN without any."""
        return _share(self.hits, self.hits + self.misses)

    @property
    def false_alarm_ratio(self) -> float:
        """The share of the hours foretold wet that stayed dry; NaN without any."""
        return _share(self.false_alarms, self.hits + self.false_alarms)

    @property
    def equitable_threat(self) -> float:
        """1 is perfect, 0 no better than chance, which may go down to -1/3; NaN without rain."""
        foretold, wet = self.hits + self.false_alarms, self.hits + self.misses
        every = wet + self.false_alarms + self.dry
        by_chance = _share(foretold * wet, every)
        return _share(self.hits - by_chance, wet + self.false_alarms - by_chance)


def _share(part: float, whole: float) -> float:
    return part / whole if whole > 0 else float("nan")


def verified_rain(history: History) -> list[Sequence[RainOff]]:
    """Return every feed's hours of rain by lead (``LEADS_H``), feed against feed on the same."""
    same, bands, days = alike(NAME, history), lead_bands(history), days_of(history)
    came = history.measured[NAME]
    found: list[Sequence[RainOff]] = []
    for feed in range(feeds_of(history)):
        foretold = foretold_by(history, feed)[NAME]
        of = [same & (bands == lead) & np.isfinite(foretold) for lead in range(len(LEADS_H))]
        found.append(tuple(_of_hours(foretold[at], came[at], days[at]) for at in of))
    return found


def _of_hours(foretold: Floats, came: Floats, days: Groups) -> RainOff:
    said, wet = foretold >= WET_MM_H, came >= WET_MM_H
    either = said | wet
    return RainOff(
        hits=int((said & wet).sum()),
        false_alarms=int((said & ~wet).sum()),
        misses=int((~said & wet).sum()),
        dry=int((~either).sum()),
        days=int(np.unique(days[either]).size),
        amount=off_of((foretold - came)[either], days[either]),
    )
