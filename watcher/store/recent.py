"""What the log holds of the last day and a half, for one look at a moment: each part read once."""

from functools import cache, partial

from sqlalchemy import select
from sqlalchemy.orm import Session

from watcher.sources.base import Forecast, Observations
from watcher.sources.stations.rows import LATEST_AHEAD_S
from watcher.store import aggregates, weather
from watcher.store.tables import StationSite
from watcher.weather.bins import HOUR_S, Bins

_HOURS_BACK_S = 37 * HOUR_S
_READINGS_BACK_S = HOUR_S


class RecentWeather:
    """The weather of every source around ``now`` [epoch s], as one transaction sees it.

    Timeline and look at the sources are made of the same rows, so they are read once for both.
    """

    def __init__(self, session: Session, now: int) -> None:
        self.session, self.now = session, now
        # Held, so that whoever asks this session for a site finds it without asking the log.
        self._sites = session.scalars(_SITES).all()
        self._readings: dict[str, tuple[int, Observations]] = {}
        self.hours = cache(self._hours)
        self.forecast = cache(self._forecast)

    def readings(self, source: str, back_s: int = _READINGS_BACK_S) -> Observations:
        """Return readings since ``back_s`` before now, those dated a little ahead too."""
        since = self.now - back_s
        begins, found = self._readings.get(source, (None, None))
        if begins is None or found is None or since < begins:
            begins = min(since, self.now - _READINGS_BACK_S)
            until = self.now + LATEST_AHEAD_S
            found = weather.observations(self.session, source, begins, until)
            self._readings[source] = begins, found
        return found.between(since, self.now + LATEST_AHEAD_S)

    def _hours(self, source: str) -> Bins:
        """Return the hours before now."""
        start = self.now - _HOURS_BACK_S
        readings = partial(self._between, source)
        return aggregates.bins(self.session, source, HOUR_S, start, self.now, readings=readings)

    def _between(self, source: str, start: int, end: int) -> Observations:
        """Return readings of the hour under way from what is read already; others are read."""
        if start < self.now - _READINGS_BACK_S or end > self.now + LATEST_AHEAD_S:
            return weather.observations(self.session, source, start, end)
        return self.readings(source).between(start, end)

    def _forecast(self, source: str) -> Forecast | None:
        """Return the newest forecast issued until now."""
        return weather.latest_forecast(self.session, source, self.now)


# Asked for with every reading: put together once.
_SITES = select(StationSite)
