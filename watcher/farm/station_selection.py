"""Which station speaks for which field: the nearest; of those as near, the one listed first."""

import math
from collections.abc import Mapping

from watcher.farm import Farm
from watcher.farm.feeds import observes
from watcher.farm.source_entry import SourceEntry
from watcher.farm.stations import MetarStation, Station

AS_NEAR_M = 2000.0
"""A station that is no more than this further off than the nearest is as near: over such a way
the weather differs less than two instruments do (common practice, no source)."""


def stations_by_field(farm: Farm) -> Mapping[str, tuple[str, ...]]:
    """Return, for every field, the sources that measure, in the order in which they speak for it.

    The next one speaks where the one before is silent, not believed, or does not measure the
    quantity.
    """
    measuring = {name: e for name, e in farm.config.sources.items() if observes(e)}
    return {field: _in_order(farm, field, measuring) for field in farm.config.fields}


def _in_order(farm: Farm, field: str, measuring: Mapping[str, SourceEntry]) -> tuple[str, ...]:
    away = {name: _away_m(farm, field, entry) for name, entry in measuring.items()}
    as_near = min(away.values(), default=0.0) + AS_NEAR_M
    return tuple(sorted(away, key=lambda name: away[name] if away[name] > as_near else 0.0))


def _away_m(farm: Farm, field: str, entry: SourceEntry) -> float:
    """How far a source measures from a field; infinite where it does not tell. [m]

    A station of the farm that tells no place stands in its middle; an aerodrome does not.
    """
    place = getattr(entry, "place", None)
    if place is None and isinstance(entry, Station) and not isinstance(entry, MetarStation):
        place = farm.ground.middle
    return math.inf if place is None else farm.ground.distance_m(field, *place)
