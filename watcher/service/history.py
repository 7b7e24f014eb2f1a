"""The farm's weather in past hours, from what the log has kept of it, for years back."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from sqlalchemy.orm import Session

from watcher.farm import Farm
from watcher.farm.feeds import foretells, observes
from watcher.farm.source_entry import SourceEntry
from watcher.judge.hour_history import put_hours, winds_at
from watcher.service.sites import site_of
from watcher.sources.quality import trust
from watcher.store import aggregates, weather
from watcher.weather.bins import HOUR_S, TEN_MINUTES_S, Bins, Counts, widened
from watcher.weather.coverage import usual_counts, whole_weeks
from watcher.weather.quantities import BY_NAME
from watcher.weather.series import QUANTITIES, Bound, Floats, Seconds, Site, WeatherSeries

LEAST_SHARE = 0.5
"""Of the readings due in an hour; fewer don't make one (EPA-454/R-99-005: two of four quarters)."""
_ISSUED_WITHIN_S = 24 * HOUR_S
_PER_READING = {"gust_m_s", "wind_from_deg", "wind_spread_deg"}
"""What a good reading need not have: a gust when there was none, a direction in a calm."""


def past_hours(
    session: Session, farm: Farm, start: int, end: int, stations: Sequence[str] | None = None
) -> WeatherSeries:
    """Return the farm's weather in every hour of ``start <= time < end``, missing where unknown.

    As the timeline has it: the first of ``stations`` that measured a quantity in the hour speaks
    for it (in the order of the farm file, where none are named), a forecast issued before the hour
    only for what no station measures.
    """
    times = np.arange(start // HOUR_S * HOUR_S, end, HOUR_S, dtype=np.int64)
    first, last = int(times[0]), int(times[-1]) + 1
    said = [
        weather.foretold(session, name, first, last, within_s=_ISSUED_WITHIN_S)
        for name, entry in farm.config.sources.items()
        if foretells(entry)
    ]
    sources = farm.config.sources
    if stations is None:
        stations = [name for name, entry in sources.items() if observes(entry)]
    site = _site(farm, [sources[name] for name in stations], said)
    measured = {BY_NAME[q].column for name in stations for q in sources[name].measures}
    values = {name: np.full(times.size, np.nan) for name in QUANTITIES}
    bounds: dict[str, Bound] = {}
    for series in reversed(said):
        on_the_hour = series.at(series.times % HOUR_S == 0)
        put_hours(
            values,
            times,
            winds_at(on_the_hour, site),
            set(QUANTITIES) - measured,
            bounds,
        )
    for name in reversed(stations):
        # Whole weeks: an hour is judged alike in whatever stretch it is asked for.
        bins = aggregates.bins(session, name, HOUR_S, *whole_weeks(first, last))
        hours = whole_hours(bins, sources[name]).between(first, last)
        here = replace(hours.site, canopy_m=sources[name].heights.canopy)
        hours = winds_at(replace(hours, site=here), site)
        put_hours(values, times, hours, {BY_NAME[q].column for q in sources[name].measures}, bounds)
    return WeatherSeries.of(times, site, "log", values, bounds)


def past_ten_minutes(
    session: Session, farm: Farm, start: int, end: int, stations: Sequence[str]
) -> WeatherSeries:
    """Return the same for ten minutes each: as a job in them would have been watched.

    What a station measured stands until the next, for as long as it is not silent; of a quantity
    it was not believed in at the time nothing is known.
    """
    hours = past_hours(session, farm, start, end, stations)
    first = int(hours.times[0])
    times = np.arange(first, end, TEN_MINUTES_S, dtype=np.int64)
    of_hour = (times - first) // HOUR_S
    values = {name: array[of_hour].copy() for name, array in hours.quantities().items()}
    bounds: dict[str, Bound] = {
        name: (least[of_hour], most[of_hour]) for name, (least, most) in hours.bounds.items()
    }
    for name in stations:
        for quantity in farm.config.sources[name].measures:
            values[BY_NAME[quantity].column][:] = np.nan
            bounds.pop(BY_NAME[quantity].column, None)
    for name in reversed(stations):
        entry = farm.config.sources[name]
        stands_s = max(int(entry.silent_after), TEN_MINUTES_S)
        bins = aggregates.bins(session, name, TEN_MINUTES_S, first - stands_s, end)
        if not len(bins):
            continue
        measured = winds_at(
            replace(wind_spread(bins, entry), site=site_of(farm, entry)), hours.site
        )
        at = np.searchsorted(measured.times, times, side="right") - 1
        stands = (at >= 0) & (times - measured.times[at] < stands_s)
        by_hour = aggregates.bins(session, name, HOUR_S, first - trust.DAY_S, end)
        doubtful = trust.doubtful_hours(by_hour)
        hour = np.searchsorted(by_hour.series.times, times, side="right") - 1
        standing = {
            q: np.where(stands & ~doubtful[q][hour], array[at], np.nan)
            for q, array in measured.quantities().items()
        }
        standing_bounds: dict[str, Bound] = {}
        for q, sides in measured.bounds.items():
            known = stands & ~doubtful[q][hour]
            least, most = (np.where(known, side[at], np.nan) for side in sides)
            standing_bounds[q] = least, most
        put_hours(
            values,
            times,
            WeatherSeries.of(times, hours.site, name, standing, standing_bounds),
            {BY_NAME[q].column for q in entry.measures},
            bounds,
        )
    return WeatherSeries.of(times, hours.site, "log", values, bounds)


def _site(farm: Farm, stations: Sequence[SourceEntry], said: Sequence[WeatherSeries]) -> Site:
    """Where and how high the farm's weather is given: as its first station for the wind has it.

    A station does not say how high above the sea it stands; a forecast does.
    """
    winds = (entry for entry in stations if "wind" in entry.measures)
    site = site_of(farm, next(winds, next(iter(farm.config.sources.values()))))
    known = (s.site.elevation_m for s in said if np.isfinite(s.site.elevation_m))
    return replace(site, elevation_m=next(known, site.elevation_m))


def wind_spread(bins: Bins, entry: SourceEntry) -> WeatherSeries:
    """Return a station's bins as a series, the direction's spread as it really was."""
    of_readings = entry.wind_spread_over == "reading"
    return widened(bins, entry.direction_inside, of_readings=of_readings)


def whole_hours(bins: Bins, entry: SourceEntry) -> WeatherSeries:
    """Return a station's hours with values of too few readings missing."""
    values, series = {}, wind_spread(bins, entry)
    for name, array in series.quantities().items():
        # What it gave of the quantity, and how much of that is good.
        given, good = bins.known[name] + bins.doubted[name], bins.known[name]
        if name in _PER_READING:
            given, good = bins.readings, bins.readings - bins.doubted[name]
        due = _due(bins.series.times, given, entry)
        enough = good >= LEAST_SHARE * due
        values[name] = np.where(enough, array, np.nan)
        series = series.unbounded((name,), ~enough)
    return series.having(**values)


def _due(hours: Seconds, given: Counts, entry: SourceEntry) -> Floats:
    """Return how many readings make an hour: as many as the station usually gives. [H]

    The farm file's interval stands in where the log does not tell yet. A source that has none
    reports when it likes, an aerodrome oftener in bad weather: one an hour is all that is due.
    """
    stated_s = getattr(entry, "interval", None)
    if stated_s is None:
        return np.ones(hours.shape)
    usual = usual_counts(hours, given)
    return np.where(np.isnan(usual), HOUR_S / stated_s, usual)
