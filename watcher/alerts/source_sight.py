"""How each source looks to the alerts: how old, how plausible, whether it agrees with the feed."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from sqlalchemy.orm import Session

from watcher.farm import Farm
from watcher.farm.feeds import foretells, observes
from watcher.judge.outlook import Outlook
from watcher.sources.base import Flag, Forecast, Observations
from watcher.store import health, weather
from watcher.store.tables import SourceHealth
from watcher.weather.series import QUANTITIES

_RECENT_S = 3600
_FEWEST_FLAGGED = 3
"""Fewer flagged readings in the last hour are a hiccup."""
_IMPLAUSIBLE = Flag.RANGE | Flag.STEP | Flag.INCONSISTENT | Flag.SUSPECT_SOURCE
# A station and a forecast of the same hour may well differ; so much says that one of them is wrong.
# Common practice, no source.
_DISAGREE_BY = {"wind_m_s": 6.0, "temp_c": 8.0, "pressure_pa": 1500.0}


@dataclass(frozen=True)
class SourceSight:
    """One source at one moment. ``age_s`` is None when it never gave anything."""

    name: str
    age_s: int | None
    silent_after_s: float
    why: str | None = None
    """Its last error, while it fails."""
    stuck: tuple[str, ...] = ()
    """Quantities that stand still when they should not."""
    implausible: tuple[str, ...] = ()
    ahead: bool = False
    """Whether its clock runs ahead."""
    distrusted: tuple[str, ...] = ()
    """Quantities that failed quality control so often of late that they are not believed."""
    disagrees: tuple[str, ...] = ()
    """Quantities far from what is forecast for the hour; none where nothing can be compared."""

    @property
    def silent(self) -> bool:
        return self.age_s is None or self.age_s > self.silent_after_s


def look_at_sources(session: Session, farm: Farm, outlook: Outlook) -> list[SourceSight]:
    """Look at every source of the farm at the moment of the outlook."""
    now = outlook.now
    known = {row.source: row for row in health.all_sources(session)}
    forecast = _newest_forecast(session, farm, now)
    found = []
    for name, entry in farm.told.sources.items():
        health_of = known.get(name)
        newest = weather.newest_time(session, name) if observes(entry) else _answered_at(health_of)
        age, why = None if newest is None else now - newest, health_of.why if health_of else None
        sight = SourceSight(name, age, entry.silent_after, why)
        if observes(entry):
            recent = weather.observations(session, name, now - _RECENT_S, now + _RECENT_S)
            sight = replace(
                _with_findings(sight, recent, forecast, now),
                distrusted=outlook.distrusted.get(name, ()),
            )
        found.append(sight)
    return found


def _newest_forecast(session: Session, farm: Farm, now: int) -> Forecast | None:
    feeds = (name for name, entry in farm.told.sources.items() if foretells(entry))
    found = (weather.latest_forecast(session, name, now + 1) for name in feeds)
    return next((f for f in found if f is not None), None)


def _answered_at(known: SourceHealth | None) -> int | None:
    return known.answered_at if known else None


def _with_findings(
    sight: SourceSight, recent: Observations, forecast: Forecast | None, now: int
) -> SourceSight:
    return replace(
        sight,
        stuck=_flagged(recent, Flag.STUCK),
        implausible=_flagged(recent, _IMPLAUSIBLE),
        ahead=bool(_flagged(recent, Flag.FUTURE)),
        disagrees=_disagreements(recent, forecast, now),
    )


def _flagged(recent: Observations, wanted: Flag) -> tuple[str, ...]:
    return tuple(
        name
        for name in QUANTITIES
        if np.count_nonzero(recent.flags.get(name, np.zeros(0, np.uint16)) & wanted)
        >= _FEWEST_FLAGGED
    )


def _disagreements(recent: Observations, forecast: Forecast | None, now: int) -> tuple[str, ...]:
    """Quantities whose mean over the last hour lies far from what is forecast for it."""
    if forecast is None or not len(recent.series):
        return ()
    series = forecast.series
    hour = int(np.searchsorted(series.times, now, side="right")) - 1
    if hour < 0 or now - series.times[hour] > _RECENT_S:
        return ()
    measured = recent.usable().between(now - _RECENT_S, now + 1).quantities()
    foretold = {name: values[hour] for name, values in series.quantities().items()}
    return tuple(n for n in _DISAGREE_BY if _far_apart(n, measured, foretold))


def _far_apart(
    name: str, measured: Mapping[str, np.ndarray], foretold: Mapping[str, float]
) -> bool:
    kept = measured[name][~np.isnan(measured[name])]
    if kept.size < _FEWEST_FLAGGED or np.isnan(foretold[name]):
        return False
    return bool(abs(kept.mean() - foretold[name]) > _DISAGREE_BY[name])
