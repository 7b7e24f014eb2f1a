"""Quality control of what comes in, with all the log knows to hold it against."""

from dataclasses import dataclass, field

import numpy as np
from sqlalchemy.orm import Session

from watcher.farm import Farm
from watcher.farm.feeds import foretells, observes
from watcher.sources.agreement import MEAN_S, STANDS_S, check_against
from watcher.sources.base import Observations
from watcher.sources.quality import check
from watcher.store import weather
from watcher.weather.series import WeatherSeries

_HISTORY_S = 24 * 3600
_WITNESS_S = STANDS_S + MEAN_S
_LONGEST_HELD_S = 24 * 3600
"""What comes in for longer than this at once is back-fill: no witness is asked about it."""


@dataclass
class Intake:
    """Quality control as one running watch does it.

    It remembers the last day of every source: to read it anew for every reading would cost more
    than all the checks. What comes in late, before what is remembered, is held against the log.
    """

    farm: Farm
    _last_day: dict[str, Observations] = field(default_factory=dict)

    def checked(self, session: Session, observations: Observations, now: int) -> Observations:
        """Return the observations with everything quality control finds."""
        series = observations.series
        if not len(series):
            return observations
        first, last = int(series.times[0]), int(series.times[-1])
        history = self._history(session, series.source, first)
        found = check(observations, history)
        if last - first <= _LONGEST_HELD_S:
            found = check_against(found, self._witnesses(session, series, now))
        self._remember(session, found.after(history))
        return found

    def _history(self, session: Session, source: str, first: int) -> Observations:
        known = self._last_day.get(source)
        if known is not None and len(known.series) and known.series.times[-1] < first:
            return known
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
        told = self.farm.told.sources
        others = [
            weather.observations(session, name, first - _WITNESS_S, last + 1).usable()
            for name, entry in told.items()
            if observes(entry) and name != series.source
        ]
        forecasts = (
            weather.latest_forecast(session, name, now)
            for name, entry in told.items()
            if foretells(entry)
        )
        forecast = next((f.series for f in forecasts if f is not None), None)
        return others if forecast is None else [*others, forecast]
