"""Quality control of what comes in, with all the log knows to hold it against.

A station may tell a second in parts, or correct a part of it. It is the second as it then stands
that is checked: what is known of it is put together with what comes in, and what the checks found
before is found out anew.
"""

from collections.abc import Collection
from dataclasses import dataclass, field

import numpy as np
from sqlalchemy.orm import Session

from watcher.farm import Farm
from watcher.farm.feeds import foretells, observes
from watcher.sources.base import Flag, Forecast, Observations
from watcher.sources.quality.agreement import MEAN_S, STANDS_S, check_against
from watcher.sources.quality.check import check
from watcher.sources.quality.forecast_gate import Passed, passed
from watcher.sources.quality.unit_suspicion import unit_suspected
from watcher.store import weather
from watcher.weather.bins import HOUR_S
from watcher.weather.series import WeatherSeries

_HISTORY_S = 24 * 3600
_ISSUED_WITHIN_S = 24 * 3600
"""An older issue tells nothing of what a feed says now."""
_WITNESS_S = STANDS_S + MEAN_S
_LONGEST_HELD_S = 24 * 3600
"""What comes in for longer than this at once is back-fill: no witness is asked about it."""
_LATE_AT_MOST_S = 3600
"""So much of the remembered day may be left aside: no check looks back for a whole day."""
_FOUND_ANEW = Flag.RANGE | Flag.STEP | Flag.STUCK | Flag.INCONSISTENT | Flag.UNIT_SUSPECTED


@dataclass
class Intake:
    """Quality control as one running watch does it.

    It remembers the last day of every source: to read it anew for every reading would cost more
    than all the checks. What comes in late, before what is remembered, is held against the log.
    """

    farm: Farm
    _last_day: dict[str, Observations] = field(default_factory=dict)
    _suspected: dict[str, tuple[int, frozenset[str]]] = field(default_factory=dict)
    """By source: the hour it was last held against the others' day in, and what was suspected."""

    def checked(self, session: Session, observations: Observations, now: int) -> Observations:
        """Return the observations with everything quality control finds.

        Of seconds the log knows already they are as they stand with what it knows of them.
        """
        if not len(observations.series):
            return observations
        series = observations.series
        first, last = int(series.times[0]), int(series.times[-1])
        with_witnesses = last - first <= _LONGEST_HELD_S
        anew = _FOUND_ANEW | Flag.DISAGREES if with_witnesses else _FOUND_ANEW
        known = weather.at_times(session, series.source, series.times).without(anew)
        whole = observations.over(known)
        history = self._history(session, series.source, first)
        found = check(whole, history)
        if with_witnesses:
            found = check_against(found, self._witnesses(session, series, now))
            found = _suspecting(found, self._in_other_units(session, found.after(history)))
        self._remember(session, found.after(history))
        return found

    def forecast(self, session: Session, forecast: Forecast, now: int) -> Passed:
        """Return what is believed of a forecast; ``SourceError`` where it must not be kept."""
        source = forecast.series.source
        last = weather.latest_forecast(session, source, now)
        if last is not None and now - last.issued_at > _ISSUED_WITHIN_S:
            last = None
        entry = self.farm.config.sources[source]
        stands = last is not None and now - last.fetched_at <= entry.silent_after
        return passed(
            forecast,
            now=now,
            last=last,
            stands=stands,
            past=weather.foretold(
                session, source, now - _HISTORY_S, now, within_s=_ISSUED_WITHIN_S
            ),
            witnesses=self._day_of_others(session, source, now),
        )

    def _in_other_units(self, session: Session, known: Observations) -> Collection[str]:
        """Return what a station seems to give in another unit, as the last whole hours have it.

        Looked at once an hour: a unit does not change from one minute to the next.
        """
        source, last = known.series.source, int(known.series.times[-1])
        hour = last // HOUR_S * HOUR_S
        at, suspected = self._suspected.get(source, (-1, frozenset()))
        if at != hour:
            first, end = np.searchsorted(known.series.times, [hour - _HISTORY_S, hour])
            day = _whatever_unit(known.at(slice(int(first), int(end))))
            others = self._day_of_others(session, source, hour) if len(day) else []
            suspected = frozenset(one.quantity for one in unit_suspected(day, others))
            self._suspected[source] = hour, suspected
        return suspected

    def _day_of_others(self, session: Session, source: str, now: int) -> list[WeatherSeries]:
        """The last day of every other source: as measured, and as foretold from hour to hour."""
        days = []
        for name, entry in self.farm.config.sources.items():
            if name == source:
                continue
            if observes(entry):
                read = weather.observations(session, name, now - _HISTORY_S, now + 1)
                days.append(_whatever_unit(read))
            if foretells(entry):
                within = {"within_s": _ISSUED_WITHIN_S}
                days.append(weather.foretold(session, name, now - _HISTORY_S, now, **within))
        return [day for day in days if len(day)]

    def _history(self, session: Session, source: str, first: int) -> Observations:
        known = self._last_day.get(source)
        if known is not None and len(known.series):
            times = known.series.times
            if times[-1] < first:
                return known
            if times[-1] - first <= _LATE_AT_MOST_S and times[0] < first:
                return known.at(slice(0, int(np.searchsorted(times, first))))
        return weather.observations(session, source, first - _HISTORY_S, first)

    def _remember(self, session: Session, known: Observations) -> None:
        """Remember the last day of what is known, unless the log knows of later readings."""
        source, last = known.series.source, int(known.series.times[-1])
        if (weather.newest_time(session, source) or last) > last:
            self._last_day.pop(source, None)
            return
        first = int(np.searchsorted(known.series.times, last - _HISTORY_S))
        self._last_day[source] = known.at(slice(first, None))

    def _witnesses(self, session: Session, series: WeatherSeries, now: int) -> list[WeatherSeries]:
        """The other stations, and one forecast: feeds are too alike to count as several."""
        first, last = int(series.times[0]), int(series.times[-1])
        sources = self.farm.config.sources
        others = [
            weather.observations(session, name, first - _WITNESS_S, last + 1).usable()
            for name, entry in sources.items()
            if observes(entry) and name != series.source
        ]
        forecasts = (
            weather.latest_forecast(session, name, now)
            for name, entry in sources.items()
            if foretells(entry)
        )
        forecast = next((f.series for f in forecasts if f is not None), None)
        return others if forecast is None else [*others, forecast]


def _whatever_unit(observations: Observations) -> WeatherSeries:
    """Return the usable series, with what is doubted only because others contradict it.

    Who is wrong of two is not known: what is suspected still speaks against the other.
    """
    contradicted = np.uint16(Flag.UNIT_SUSPECTED | Flag.DISAGREES)
    others = {name: bits & ~contradicted for name, bits in observations.flags.items()}
    return Observations(observations.series, others).usable()


def _suspecting(observations: Observations, quantities: Collection[str]) -> Observations:
    flags = dict(observations.flags)
    for name in quantities:
        given = np.isfinite(getattr(observations.series, name))
        bits = flags.get(name, np.zeros(given.size, dtype=np.uint16))
        flags[name] = np.where(given, bits | np.uint16(Flag.UNIT_SUSPECTED), bits)
    return Observations(observations.series, flags)
