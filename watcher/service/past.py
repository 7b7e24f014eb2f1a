"""The farm's weather in past hours, from what the log has kept of it, for years back."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from sqlalchemy.orm import Session

from watcher.farm import Farm
from watcher.farm.feeds import foretells, observes
from watcher.farm.source_entry import SourceEntry
from watcher.judge.past import at_wind_height, put_hours
from watcher.service.sites import site_of
from watcher.store import aggregates, weather
from watcher.weather.bins import HOUR_S, Bins
from watcher.weather.quantities import BY_NAME
from watcher.weather.series import QUANTITIES, Site, WeatherSeries

LEAST_SHARE = 0.5
"""Of the readings due in an hour; fewer don't make one (EPA-454/R-99-005: two of four quarters)."""
_ISSUED_WITHIN_S = 24 * HOUR_S
_PER_READING = {"gust_m_s", "wind_from_deg", "wind_spread_deg"}
"""What a good reading need not have: a gust when there was none, a direction in a calm."""


def past_hours(
    session: Session, farm: Farm, start: int, end: int, stations: Sequence[str] | None = None
) -> WeatherSeries:
    """Return the farm's weather in every hour of ``start <= time < end``, missing where unknown.

    As the outlook has it: the first of ``stations`` that measured a quantity in the hour speaks for
    it (in the order they are told in, where none are named), a forecast issued before the hour only
    for what no station measures.
    """
    times = np.arange(start // HOUR_S * HOUR_S, end, HOUR_S, dtype=np.int64)
    first, last = int(times[0]), int(times[-1]) + 1
    said = [
        weather.foretold(session, name, first, last, within_s=_ISSUED_WITHIN_S)
        for name, entry in farm.told.sources.items()
        if foretells(entry)
    ]
    told = farm.told.sources
    if stations is None:
        stations = [name for name, entry in told.items() if observes(entry)]
    site = _site(farm, [told[name] for name in stations], said)
    measured = {BY_NAME[q].series for name in stations for q in told[name].measures}
    values = {name: np.full(times.size, np.nan) for name in QUANTITIES}
    for series in reversed(said):
        on_the_hour = series.at(series.times % HOUR_S == 0)
        put_hours(
            values,
            times,
            at_wind_height(on_the_hour, site.wind_height_m),
            set(QUANTITIES) - measured,
        )
    for name in reversed(stations):
        bins = aggregates.bins(session, name, HOUR_S, first, last)
        hours = at_wind_height(_whole(bins, told[name]), site.wind_height_m)
        put_hours(values, times, hours, {BY_NAME[q].series for q in told[name].measures})
    return WeatherSeries.of(times, site, "log", values)


def _site(farm: Farm, stations: Sequence[SourceEntry], said: Sequence[WeatherSeries]) -> Site:
    """Where and how high the farm's weather is told: as its first station for the wind has it.

    A station does not say how high above the sea it stands; a forecast does.
    """
    winds = (entry for entry in stations if "wind" in entry.measures)
    site = site_of(farm, next(winds, next(iter(farm.told.sources.values()))))
    known = (s.site.elevation_m for s in said if np.isfinite(s.site.elevation_m))
    return replace(site, elevation_m=next(known, site.elevation_m))


def _whole(bins: Bins, entry: SourceEntry) -> WeatherSeries:
    """Return the hours with values of too few readings missing."""
    due = HOUR_S / getattr(entry, "interval", HOUR_S)
    values = {}
    for name, array in bins.series.quantities().items():
        made_of = bins.readings - bins.doubted[name] if name in _PER_READING else bins.known[name]
        values[name] = np.where(made_of >= LEAST_SHARE * due, array, np.nan)
    return bins.series.having(**values)
