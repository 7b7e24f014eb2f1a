"""To start with experience: archived forecasts of a feed beside what a station measured then."""

from collections.abc import Sequence
from pathlib import Path

from watcher.farm import Farm
from watcher.farm.feeds import foretells, observes
from watcher.service import forecast_history
from watcher.service.sites import site_of
from watcher.sources.feeds.archived import ArchiveTable, read
from watcher.store.database import Database

_ROWS_AT_ONCE = 100


def feeds(farm: Farm) -> Sequence[str]:
    """Return the names of the farm's feeds that foretell."""
    return [name for name, entry in farm.config.sources.items() if foretells(entry)]


def stations(farm: Farm) -> Sequence[str]:
    """Return the names of the farm's stations that measure the wind."""
    return [
        name
        for name, entry in farm.config.sources.items()
        if observes(entry) and "wind" in entry.measures
    ]


def take_in(
    log: Database, farm: Farm, file: Path, *, feed: str, station: str, table: ArchiveTable, now: int
) -> int:
    """Keep what a feed's archive was wrong by at a station; returns of how many moments.

    The station's readings of that time must be in the log. It becomes experience of that feed at
    that station and of no other; what the watch has itself kept of a moment stands. Raises
    ``BadArchiveError``.
    """
    site = site_of(farm, farm.config.sources[feed])
    archive = read(file, table=table, site=site, feed=feed)
    with log.reading() as session:
        found = forecast_history.archived_pairs(session, farm, (feed, station), archive, now)
    for first in range(0, len(found.foretold), _ROWS_AT_ONCE):
        rows = slice(first, first + _ROWS_AT_ONCE)
        with log.writing() as session:
            forecast_history.put(
                session,
                forecast_history.NewPairs(found.foretold[rows], found.measured[rows]),
            )
    return len(found.foretold)
