"""One look at everything: the log's weather composed, judged and ranked for one moment."""

from dataclasses import dataclass, replace

from sqlalchemy.orm import Session

from watcher.farm import Farm
from watcher.farm.feeds import foretells, observes
from watcher.farm.models import FarmFile
from watcher.farm.source_entry import SourceEntry
from watcher.judge.farm_judgement import judge_each
from watcher.judge.judgement import Judgement
from watcher.judge.outlook import MEAN_S, Foretold, Measured, Outlook, look_out
from watcher.judge.plan import Plan
from watcher.judge.ranking import Ranking, rank
from watcher.service.done import done_fields
from watcher.service.sites import site_of
from watcher.sources import trust
from watcher.store import aggregates, weather
from watcher.weather.bins import HOUR_S
from watcher.weather.quantities import BY_NAME
from watcher.weather.series import Site

_HISTORY_S = 37 * HOUR_S
_OLDEST_ISSUE_S = 24 * 3600
"""Feeds have been seen to serve copies days old as if they were new."""
_BEYOND_HORIZON_S = 24 * 3600
"""Jobs begun at the end of the horizon must still be judged to their end, and the rain after."""


@dataclass(frozen=True)
class Picture:
    """The farm at one moment."""

    outlook: Outlook
    judgement: Judgement
    ranking: Ranking


def take(session: Session, plan: Plan, now: int) -> Picture:
    """Look at the log as it stands and judge it. ``now`` is epoch seconds."""
    outlook = compose(session, plan, now)
    judgement = judge_each(plan, (outlook, *outlook.others))
    done = done_fields(session, plan.farm, now)
    return Picture(outlook, judgement, rank(judgement, outlook.now_index, done=done))


def compose(session: Session, plan: Plan, now: int) -> Outlook:
    """Compose the outlook from what every source of the farm last said."""
    told = plan.farm.told
    latitude, longitude = plan.farm.ground.middle
    stations = {
        name: _station(session, plan.farm, name, entry, now)
        for name, entry in told.sources.items()
        if observes(entry)
    }
    forecasts = _forecasts(session, told, now)
    whole, *others = (
        replace(
            look_out(
                now=now,
                stations=[stations[name] for name in order],
                forecasts=forecasts,
                site=Site(latitude, longitude),
                horizon_s=told.judging.horizon + _BEYOND_HORIZON_S,
            ),
            fields=fields,
        )
        for order, fields in plan.listens.items()
    )
    return replace(whole, others=tuple(others))


def _station(session: Session, farm: Farm, name: str, entry: SourceEntry, now: int) -> Measured:
    recent_s = int(entry.silent_after) + MEAN_S
    readings = weather.observations(session, name, now - recent_s, now + 1).usable()
    hours = aggregates.bins(session, name, HOUR_S, now - _HISTORY_S, now)
    demoted = tuple(trust.demoted(hours.at(hours.series.times >= now - trust.DAY_S)))
    site = weather.site(session, name) or site_of(farm, entry)
    return Measured(
        series=trust.believed(replace(readings, site=site), demoted),
        hours=trust.believed(replace(hours.series, site=site), demoted),
        measures=frozenset(BY_NAME[q].series for q in entry.measures),
        silent_after_s=entry.silent_after,
        wind_uncertainty_m_s=entry.wind_uncertainty,
        distrusted=demoted,
    )


def _forecasts(session: Session, told: FarmFile, now: int) -> list[Foretold]:
    found = []
    for name, entry in told.sources.items():
        forecast = weather.latest_forecast(session, name, now) if foretells(entry) else None
        if forecast is not None and now - forecast.issued_at <= _OLDEST_ISSUE_S:
            found.append(
                Foretold(
                    series=forecast.series,
                    fetched_at=forecast.fetched_at,
                    silent_after_s=entry.silent_after,
                    estimates_gusts=entry.estimate_gusts,
                    attribution=forecast.attribution,
                )
            )
    return found
