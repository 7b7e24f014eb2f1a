"""Quality control of what comes in, with all the log knows to hold it against."""

from sqlalchemy.orm import Session

from watcher.farm import Farm
from watcher.service.sites import foretells, observes
from watcher.sources.agreement import MEAN_S, STANDS_S, check_against
from watcher.sources.base import Observations
from watcher.sources.quality import check
from watcher.store import weather
from watcher.weather.series import WeatherSeries

_HISTORY_S = 24 * 3600
_WITNESS_S = STANDS_S + MEAN_S
_LONGEST_HELD_S = 24 * 3600
"""What comes in for longer than this at once is back-fill: no witness is asked about it."""


def checked(session: Session, farm: Farm, observations: Observations, now: int) -> Observations:
    """Return the observations with everything quality control finds."""
    series = observations.series
    if not len(series):
        return observations
    first, last = int(series.times[0]), int(series.times[-1])
    history = weather.observations(session, series.source, first - _HISTORY_S, first)
    alone = check(observations, history)
    if last - first > _LONGEST_HELD_S:
        return alone
    return check_against(alone, _witnesses(session, farm, series, now))


def _witnesses(
    session: Session, farm: Farm, series: WeatherSeries, now: int
) -> list[WeatherSeries]:
    """The other stations, and one forecast: feeds are too alike to count as several."""
    first, last = int(series.times[0]), int(series.times[-1])
    others = [
        weather.observations(session, name, first - _WITNESS_S, last + 1).usable()
        for name, entry in farm.told.sources.items()
        if observes(entry) and name != series.source
    ]
    forecasts = (
        weather.latest_forecast(session, name, now)
        for name, entry in farm.told.sources.items()
        if foretells(entry)
    )
    forecast = next((f.series for f in forecasts if f is not None), None)
    return others if forecast is None else [*others, forecast]
