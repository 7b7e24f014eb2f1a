"""How often each field would have opened in the season, by the weather the farm's own log has."""

from dataclasses import dataclass

from sqlalchemy.orm import Session

from watcher.judge.season import Tally
from watcher.limits.catalogue import Limit
from watcher.limits.farm_arrays import FarmArrays
from watcher.limits.status import Status
from watcher.service.season import add_up
from watcher.store import aggregates
from watcher.weather.bins import HOUR_S

SELDOM = 0.02
"""A field that opens in less than this share of the hours is warned of."""
LEAST_HOURS = 14 * 24
"""Fewer hours say nothing of a season: a choice of ours."""
_MOST_UNKNOWN = 0.2
_YEAR_S = 365 * 24 * HOUR_S
_NORTH, _SOUTH = (4, 5, 6, 7, 8, 9), (10, 11, 12, 1, 2, 3)


@dataclass(frozen=True)
class OpenShare:
    """In which share of the hours a whole job could have been begun on a field."""

    field: str
    share: float
    hours: float
    """So many hours are known of it."""
    unknown: float
    """In which share of all the hours it was not known."""
    by: Limit | None
    """What most often stood in the way, alone if there is such a limit; None where nothing did."""

    @property
    def throttled(self) -> bool:
        """Whether it opens so seldom that something of it is to be changed."""
        return self.known and self.share < SELDOM

    @property
    def known(self) -> bool:
        """Whether enough of the hours are known for the others to speak for them.

        What is known of a field that lacks a quantity are the hours closed by something else.
        """
        return self.hours >= LEAST_HOURS and self.unknown <= _MOST_UNKNOWN


@dataclass(frozen=True)
class OpenShares:
    """The fields of a farm in the summer half of the last year."""

    south: bool
    """Of the equator, where that is October to March; else it is April to September."""
    fields: tuple[OpenShare, ...]


def open_shares(session: Session, plan: FarmArrays, now: int) -> OpenShares | None:
    """Judge the hours of the last summer half-year the log has. ``now`` is epoch seconds.

    Hours in which a field was unknown are left out of its share. None where the log has less than
    ``LEAST_HOURS`` known hours of it for every field.
    """
    begins = aggregates.beginning(session)
    south = plan.farm.ground.middle[0] < 0
    if begins is None:
        return None
    first = max(begins, now - _YEAR_S)
    tally = add_up(session, plan, first, now, months=_SOUTH if south else _NORTH)
    found = tuple(_share(tally, row) for row in range(len(tally.fields)))
    return OpenShares(south, found) if any(one.hours >= LEAST_HOURS for one in found) else None


def _share(tally: Tally, row: int) -> OpenShare:
    every = float(tally.hours[row].sum())
    unknown = float(tally.hours[row, Status.UNKNOWN])
    hours = every - unknown
    open_h = float(tally.open_hours[row])
    alone = {limit: float(of[row]) for limit, of in tally.alone.items() if of[row]}
    bound = {limit: float(of[row]) for limit, of in tally.bound.items() if of[row]}
    counts = alone or bound
    return OpenShare(
        tally.fields[row],
        open_h / hours if hours else 0.0,
        hours,
        unknown / every if every else 1.0,
        max(counts, key=lambda limit: counts[limit]) if counts else None,
    )
