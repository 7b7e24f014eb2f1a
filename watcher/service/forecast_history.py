"""Forecasts beside what came of them, from the log: kept for good, and laid out to learn from."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from sqlalchemy.orm import Session

from watcher.farm import Farm
from watcher.farm.feeds import foretells, observes
from watcher.farm.source_entry import SourceEntry
from watcher.forecasts.history import AHEAD, HOUR_S, PATH_H, History
from watcher.judge.hour_history import winds_at
from watcher.judge.timeline import with_gusts
from watcher.service.history import whole_hours
from watcher.service.sites import site_of, site_of_log
from watcher.sources.feeds.archived import Archive
from watcher.sources.quality import trust
from watcher.sources.quality.forecast_gate import possible
from watcher.store import aggregates, chances, weather
from watcher.store.chances import KEPT
from watcher.weather.air import dew_point
from watcher.weather.coverage import whole_weeks
from watcher.weather.quantities import BY_NAME
from watcher.weather.series import Floats, Site, WeatherSeries

EVERY_S = 3 * HOUR_S
"""Moments of which forecasts are kept: those between differ little."""
_LEARNED_FROM_S = 90 * 24 * HOUR_S
_FILLED_BACK_S = 15 * 24 * HOUR_S
_OLDEST_ISSUE_S = 24 * HOUR_S
_AT_ONCE = 40
_MEASURED = tuple(name for name in KEPT if name != "rain_chance_pct")
_MOVED_DEG, _RAISED_M = 0.002, 0.1
"""A station's place and heights that differ by less are the same: a receiver's place wanders."""

Hours = Mapping[str, Floats]


def newest_whole_hour(now: int) -> int:
    """Return the last whole hour that is measured: hour 0 of a path in hand now."""
    return now // HOUR_S * HOUR_S - HOUR_S


@dataclass(frozen=True)
class InHand:
    """The hours of a path as a feed foretold them, and its model where the feed says it."""

    hours: Hours
    model: str | None = None


@dataclass(frozen=True)
class NewPairs:
    """What of forecasts and of what came is not kept yet."""

    foretold: Sequence[tuple[str, str, Site, int, InHand]]
    """Feed, station, its site, moment and what was in hand."""
    measured: Sequence[tuple[str, str, int, Hours]]
    """Feed, station, moment and hours."""


def put(session: Session, new: NewPairs) -> None:
    """Keep it, for good."""
    for feed, station, site, at, known in new.foretold:
        chances.put_foretold(
            session, feed, station, site, at=at, foretold=known.hours, model=known.model
        )
    for feed, station, at, hours in new.measured:
        chances.put_measured(session, feed, station, at, hours)


def new_pairs(session: Session, farm: Farm, now: int) -> NewPairs:
    """Read what every feed foretells for every station's place, and what was measured since.

    Of moments that were missed, what is known to have been issued by then; a bounded part of them
    at a call, the oldest first.
    """
    last = newest_whole_hour(now)
    foretold: list[tuple[str, str, Site, int, InHand]] = []
    stations = _stations(farm)
    sites = {name: site_of_log(session, farm, name) for name in stations}
    for feed, entry in _feeds(farm).items():
        for station, site in sites.items():
            newest = chances.newest_moment(session, feed, station)
            first = -(-(last - _FILLED_BACK_S) // EVERY_S) * EVERY_S
            if newest is not None:
                first = max(first, newest + EVERY_S)
            kept = 0
            for at in range(first, last + 1, EVERY_S):
                known = in_hand(session, (feed, entry), site, at=at, known_at=at + HOUR_S)
                if np.isfinite(known.hours["wind_m_s"]).any():
                    foretold.append((feed, station, site, at, known))
                    kept += 1
                if kept >= _AT_ONCE:
                    break
    measured = [m for station in stations for m in _measured(session, farm, station, last)]
    return NewPairs(foretold, measured)


def _measured(
    session: Session, farm: Farm, station: str, last: int
) -> list[tuple[str, str, int, Hours]]:
    over = last - HOUR_S * int(PATH_H[-1])
    waiting = [
        (feed, pair.at)
        for feed in _feeds(farm)
        for pair in chances.pairs(session, feed, station, over - _FILLED_BACK_S)
        if pair.measured is None and pair.at <= over
    ]
    if not waiting:
        return []
    first = min(at for _, at in waiting)
    measured = _Measured(session, farm, station, first, last)
    return [(feed, station, at, measured.of(at)) for feed, at in waiting]


def in_hand(
    session: Session, entry: tuple[str, SourceEntry], site: Site, *, at: int, known_at: int
) -> InHand:
    """Return the hours of a path as a feed foretold them by ``known_at``, for a station's heights.

    The newest issue speaks; for hours before it, what was foretold last before each came.
    """
    feed, asked = entry
    times = at + HOUR_S * PATH_H
    newest = weather.latest_forecast(session, feed, known_at)
    if newest is None or known_at - newest.issued_at > _OLDEST_ISSUE_S:
        return InHand({name: np.full(times.shape, np.nan) for name in KEPT})
    before = weather.foretold(session, feed, int(times[0]), at + HOUR_S, within_s=_OLDEST_ISSUE_S)
    return InHand(path_of((before, newest.series), asked, site, at), newest.model)


def path_of(
    foretold_by: Sequence[WeatherSeries], asked: SourceEntry, site: Site, at: int
) -> dict[str, Floats]:
    """Return the hours of a path from what was foretold of them, the last word on an hour last."""
    times = at + HOUR_S * PATH_H
    found = {name: np.full(times.shape, np.nan) for name in KEPT}
    for series in foretold_by:
        if not len(series):
            continue
        gusts = with_gusts(series, estimated=asked.estimate_gusts)
        for name, values in _hours(winds_at(gusts, site), times).items():
            found[name] = np.where(np.isnan(values), found[name], values)
    return found


def archived_pairs(
    session: Session, farm: Farm, of: tuple[str, str], archive: Archive, now: int
) -> NewPairs:
    """Return the pairs of a feed's archived forecasts with what a station's log has of their time.

    ``of`` names feed and station. Of the time that is learned from, at the moments of which pairs
    are kept. Those of which the station measured no wind are left out: they teach nothing.
    """
    feed, station = of
    site, asked = site_of_log(session, farm, station), farm.config.sources[feed]
    newest = weather.latest_forecast(session, feed, now)
    model = None if newest is None else newest.model  # the archive is of the feed as it is now
    known = chances.moments(session, feed, station)
    over = newest_whole_hour(now) - HOUR_S * int(PATH_H[-1])
    first = max(archive.first, now - _LEARNED_FROM_S)
    moments = range(-(-first // EVERY_S) * EVERY_S, over + 1, EVERY_S)
    if not moments:
        return NewPairs((), ())
    came = _Measured(session, farm, station, moments[0], moments[-1] + HOUR_S * int(PATH_H[-1]))
    foretold, measured = [], []
    for at in moments:
        if at in known:  # the log's own word stands
            continue
        foretold_by = [possible(series) for series in archive.in_hand(at + HOUR_S) if len(series)]
        hours, found = path_of(foretold_by, asked, site, at), came.of(at)
        both = np.isfinite(hours["wind_m_s"]) & np.isfinite(found["wind_m_s"])
        if both[AHEAD].any():
            foretold.append((feed, station, site, at, InHand(hours, model)))
            measured.append((feed, station, at, found))
    return NewPairs(foretold, measured)


def history(
    session: Session, farm: Farm, stations: Sequence[str], feeds: Sequence[str], now: int
) -> History:
    """Return past forecasts of some feeds with what the stations measured, the present last.

    For each quantity the first of the stations that measures it has its own past.
    """
    last = newest_whole_hour(now)
    # At a moment that is looked back at, what came of later hours was not known yet.
    over = last - HOUR_S * int(PATH_H[-1])
    speaks = {
        name: next((s for s in stations if name in _measures(farm, s)), None) for name in KEPT
    }
    wind = speaks["wind_m_s"]
    present = _present(session, farm, feeds, wind, last=last, now=now)
    past: dict[tuple[str, str], dict[int, chances.Pair]] = {}
    measured: dict[str, _Measured] = {}
    for station in {s for s in (*speaks.values(), wind) if s is not None}:
        here = site_of_log(session, farm, station)
        for feed, known in zip(feeds, present, strict=True):
            found = chances.pairs(session, feed, station, last - _LEARNED_FROM_S)
            past[feed, station] = {
                p.at: p if p.at <= over else replace(p, measured=None)
                for p in found
                if p.at < last and p.model == known.model and _same_site(p.site, here)
            }
        first = last + HOUR_S * int(2 * PATH_H[0] - PATH_H[-1])
        measured[station] = _Measured(session, farm, station, first, last)
    at = np.array(sorted({last}.union(*(pairs for pairs in past.values()))), dtype=np.int64)
    none = np.full(PATH_H.shape, np.nan)
    foretold, came = {}, {}
    for name in KEPT:
        of = str(speaks[name] or wind)
        rows = [past.get((feed, of), {}) for feed in feeds]
        foretold[name] = np.stack(
            [
                [row[t].foretold[name] if t in row else none for t in at[:-1].tolist()]
                + [known.hours[name]]
                for row, known in zip(rows, present, strict=True)
            ]
        )
        came[name] = np.stack([_came(name, speaks[name], rows, measured, t) for t in at.tolist()])
    return History(at, farm.ground.middle[1], foretold, came)


def _present(
    session: Session, farm: Farm, feeds: Sequence[str], wind: str | None, *, last: int, now: int
) -> list[InHand]:
    """Return what each feed foretells now for where the station stands that measures the wind."""
    sources = farm.config.sources
    here = site_of(farm, sources[feeds[0]]) if wind is None else site_of_log(session, farm, wind)
    return [in_hand(session, (f, sources[f]), here, at=last, known_at=now) for f in feeds]


def past(session: Session, farm: Farm, since: int) -> tuple[Sequence[str], History] | None:
    """Return the feeds and what they foretold from a time on of which all has come since.

    For each quantity the first station that measures it, as long as it has stood where it is now;
    of each feed the model behind its newest forecast.
    ``None`` where nothing is kept.
    """
    feeds, stations = list(_feeds(farm)), _stations(farm)
    kept: dict[tuple[str, str], dict[int, chances.Pair]] = {}
    for station in stations:
        here = site_of_log(session, farm, station)
        for feed in feeds:
            found = chances.pairs(session, feed, station, since)
            kept[feed, station] = {
                p.at: p
                for p in found
                if p.measured is not None
                and p.model == found[-1].model
                and _same_site(p.site, here)
            }
    moments = sorted(set().union(*kept.values()))
    if not moments:
        return None
    none = np.full(PATH_H.shape, np.nan)
    foretold, came = {}, {}
    for name in _MEASURED:
        of = next((s for s in stations if name in _measures(farm, s)), None)
        rows = [kept[feed, of] if of is not None else {} for feed in feeds]
        foretold[name] = np.stack(
            [[row[at].foretold[name] if at in row else none for at in moments] for row in rows]
        )
        came[name] = np.stack([_came(name, of, rows, {}, at) for at in moments])
    at = np.array(moments, dtype=np.int64)
    return feeds, History(at, farm.ground.middle[1], foretold, came)


def _came(
    name: str,
    station: str | None,
    rows: Sequence[Mapping[int, chances.Pair]],
    measured: "Mapping[str, _Measured]",
    at: int,
) -> Floats:
    """Return what came in the hours of one path: as it was kept, else as the log has it by now."""
    if station is None or name not in _MEASURED:
        return np.full(PATH_H.shape, np.nan)
    kept = (row[at].measured for row in rows if at in row)
    whole = next((k for k in kept if k is not None), None)
    if whole is not None:
        return whole[name]
    return measured[station].of(at)[name] if station in measured else np.full(PATH_H.shape, np.nan)


class _Measured:
    """What a station measured by the hour and is believed, with ``first <= hour <= last``."""

    def __init__(self, session: Session, farm: Farm, station: str, first: int, last: int) -> None:
        entry = farm.config.sources[station]
        weeks = whole_weeks(first + HOUR_S * int(PATH_H[0]) - trust.DAY_S, last + HOUR_S)
        bins = aggregates.bins(session, station, HOUR_S, weeks[0], last + HOUR_S)
        doubtful = trust.doubtful_hours(bins)
        hours = whole_hours(bins, entry)
        self.series = hours.having(
            **{
                name: np.where(doubtful[name] | _bounded(hours, name), np.nan, values)
                for name, values in hours.quantities().items()
            }
        )
        self.own = _measures(farm, station)

    def of(self, at: int) -> dict[str, Floats]:
        """Return the hours of a path; NaN for those that have not come."""
        found = _hours(self.series, at + HOUR_S * PATH_H)
        return {n: v if n in self.own else np.full(v.shape, np.nan) for n, v in found.items()}


def _bounded(series: WeatherSeries, name: str) -> np.ndarray:
    """Return where only bounds of a value are known, which tell of no error. [T]"""
    least, most = series.bound(name)
    return np.isfinite(least) | np.isfinite(most)


def _hours(series: WeatherSeries, times: np.ndarray) -> dict[str, Floats]:
    """Return a series' values at hours, each standing for an hour at most; dew point as known."""
    if not len(series):
        return {name: np.full(times.shape, np.nan) for name in KEPT}
    index = np.searchsorted(series.times, times, side="right") - 1
    stands = (index >= 0) & (times - series.times[index] < HOUR_S)
    found = {name: np.where(stands, getattr(series, name)[index], np.nan) for name in KEPT}
    humid = np.where(stands, series.humidity_pct[index], np.nan)
    worked_out = dew_point(temp_c=found["temp_c"], humidity_pct=humid)
    found["dew_point_c"] = np.where(
        np.isnan(found["dew_point_c"]), worked_out, found["dew_point_c"]
    )
    return found


def _measures(farm: Farm, station: str) -> frozenset[str]:
    names = {BY_NAME[q].column for q in farm.config.sources[station].measures}
    if {"temp_c", "humidity_pct"} <= names:
        names.add("dew_point_c")
    return frozenset(names)


def _stations(farm: Farm) -> list[str]:
    return [name for name, entry in farm.config.sources.items() if observes(entry)]


def _feeds(farm: Farm) -> dict[str, SourceEntry]:
    return {name: entry for name, entry in farm.config.sources.items() if foretells(entry)}


def _same_site(then: Site, now: Site) -> bool:
    """Whether errors learned at one site tell of another: a mast that was moved starts anew."""
    moved = max(abs(then.latitude - now.latitude), abs(then.longitude - now.longitude))
    raised = max(
        abs(then.wind_height_m - now.wind_height_m), abs(then.temp_height_m - now.temp_height_m)
    )
    return moved <= _MOVED_DEG and raised <= _RAISED_M
