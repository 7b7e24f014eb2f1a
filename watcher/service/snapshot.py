"""One look at everything: the log's weather composed, judged and ranked for one moment."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from sqlalchemy.orm import Session

from watcher.farm import Farm
from watcher.farm.feeds import foretells, observes
from watcher.farm.models import FarmFile
from watcher.farm.source_entry import SourceEntry
from watcher.forecasts.station_now import RECENT_S
from watcher.jobs.by_hand import counting
from watcher.jobs.changes import changed_rigs
from watcher.jobs.recently_sprayed import RecentlySprayed, recently_sprayed
from watcher.judge.by_hand import corrected
from watcher.judge.chances import STARTS_AHEAD_S, FarmChances
from watcher.judge.changed_rig import ChangedRig, judged_as_changed
from watcher.judge.job_action import JobAction
from watcher.judge.judgement import Judgement
from watcher.judge.present import Present
from watcher.judge.ranking import Ranking, rank, with_chances
from watcher.judge.remedies import Case, Remedy, remedies
from watcher.judge.start_check import Obstacle, obstacles
from watcher.judge.timeline import MEAN_S, Foretold, Measured, Timeline, compose_timeline
from watcher.limits.farm_arrays import FarmArrays
from watcher.planning.kept_plan import PlanNow
from watcher.service.day_plan import closed, plan_now, with_plan
from watcher.service.history import wind_spread
from watcher.service.sites import site_of_log
from watcher.source_view import SourceView
from watcher.sources.quality import trust
from watcher.sources.quality.check import AHEAD_S
from watcher.store.recent import RecentWeather
from watcher.weather.quantities import BY_NAME
from watcher.weather.series import Site

_OLDEST_ISSUE_S = 24 * 3600
"""Feeds have been seen to serve copies days old as if they were new."""
_BEYOND_HORIZON_S = 24 * 3600
"""Jobs begun at the end of the horizon must still be judged to their end, and the rain after."""


@dataclass(frozen=True)
class Snapshot:
    """The farm at one moment."""

    timeline: Timeline
    judgement: Judgement
    ranking: Ranking
    actions: Mapping[int, JobAction] = field(default_factory=dict)
    """What to do with each open job that is watched, by its number."""
    sources: Sequence[SourceView] = ()
    """How each source is, where the alerts have looked at them."""
    plan: PlanNow | None = None
    """The plan of the day, of which the ranking is the first step; None where there is none."""
    rigs: tuple[ChangedRig, ...] = ()
    """The rigs of open jobs that were changed in the field."""
    _found: dict[tuple[object, ...], tuple[Remedy, ...]] = field(
        default_factory=dict, repr=False, compare=False
    )

    def remedies(
        self, at: tuple[int, int, int], *, left_s: float | None = None, busy: Sequence[str] = ()
    ) -> tuple[Remedy, ...]:
        """Return what would bring a field within its limits; see ``Case``.

        ``at`` is field, setup and time as indices. Worked out once a judgement.
        """
        key = (at, left_s is None, *busy)
        if key not in self._found:
            look = self.timeline.of(self.judgement.plan.fields[at[0]])
            judgement = self.judgement.of_field(at[0])
            case = Case(judgement, look, at, left_s, self.ranking, busy)
            self._found[key] = remedies(case)
        return self._found[key]

    def against_start(self, field: str, setup: str) -> tuple[Obstacle, ...]:
        """Return what stands against starting on a field with a setup now, the worst first."""
        return obstacles(self.judgement, self.timeline.of(field).now_index, field, setup)


def take(session: Session, plan: FarmArrays, now: int, *, time_known: bool = True) -> Snapshot:
    """Look at the log as it stands and judge it. ``now`` is epoch seconds.

    Where it is not known what time it is, nothing is known of the weather either.
    """
    timeline = compose_from(RecentWeather(session, now), plan, time_known=time_known)
    lately = recently_sprayed(session, plan.farm, now)
    day_plan = plan_now(session, plan.farm, now) if time_known else None
    rigs = changed_rigs(session, now)
    return judged(plan, timeline, lately, day_plan=day_plan, rigs=rigs)


def judged(
    plan: FarmArrays,
    timeline: Timeline,
    lately: RecentlySprayed,
    chances: FarmChances | None = None,
    *,
    day_plan: PlanNow | None = None,
    rigs: Sequence[ChangedRig] = (),
    present: Present | None = None,
) -> Snapshot:
    """Judge a timeline: of fields sprayed in part what is left, of those done nothing is asked.

    ``rigs`` are those of open jobs that were changed in the field: their fields are judged so.

    ``chances`` are how likely jobs hold, as last worked out; None where they are not known.

    ``present`` is what a watch judges one moment after the other by; all is judged without it.
    """
    looks = (timeline, *timeline.others)
    present = Present() if present is None else present
    judgement = present.judge(plan.leaving(lately.left), looks, timeline.now_index)
    for rig in rigs:
        judgement = judged_as_changed(judgement, rig, timeline.of(rig.field), timeline.now_index)
    ranking = rank(judgement, timeline.now_index, done=lately.done)
    if chances is not None:
        ranking = with_chances(ranking, chances.with_rigs(rigs))
    day_plan = closed(day_plan, ranking)
    ranking = with_plan(ranking, day_plan)
    return Snapshot(timeline, judgement, ranking, plan=day_plan, rigs=tuple(rigs))


def compose(session: Session, plan: FarmArrays, now: int) -> Timeline:
    """Compose the timeline as it was at a moment."""
    return compose_from(RecentWeather(session, now), plan)


def compose_from(recent: RecentWeather, plan: FarmArrays, *, time_known: bool = True) -> Timeline:
    """Compose the timeline from what every source last said, and what was measured by hand."""
    timeline = _of_sources(recent, plan, time_known=time_known)
    for reading in counting(recent.session, recent.now) if time_known else ():
        if reading.field in plan.fields and reading.setup in plan.setups:
            back_then = RecentWeather(recent.session, reading.at)
            then = _of_sources(back_then, plan, time_known=True).of(reading.field)
            read = corrected(plan, timeline.of(reading.field), then, reading)
            rest = (_without(other, reading.field) for other in timeline.others)
            timeline = replace(timeline, others=(read, *rest))
    return timeline


def _without(look: Timeline, field: str) -> Timeline:
    return replace(look, fields=tuple(name for name in look.fields if name != field))


def _of_sources(recent: RecentWeather, plan: FarmArrays, *, time_known: bool) -> Timeline:
    config = plan.farm.config
    latitude, longitude = plan.farm.ground.middle
    stations = _measured(recent, plan.farm)
    forecasts = _forecasts(recent, config) if time_known else []
    if not time_known:
        stations = {name: _unheard(station) for name, station in stations.items()}
    whole, *others = (
        replace(
            compose_timeline(
                now=recent.now,
                stations=[stations[name] for name in order],
                forecasts=forecasts,
                site=Site(latitude, longitude),
                horizon_s=max(config.judging.horizon + _BEYOND_HORIZON_S, STARTS_AHEAD_S)
                + plan.rules_look_ahead_s,
            ),
            fields=fields,
        )
        for order, fields in plan.listens.items()
    )
    return replace(whole, others=tuple(others))


def measured(session: Session, farm: Farm, now: int) -> dict[str, Measured]:
    """Return what each station of a farm has measured of late, as far as it is believed."""
    return _measured(RecentWeather(session, now), farm)


def _measured(recent: RecentWeather, farm: Farm) -> dict[str, Measured]:
    return {
        name: _station(recent, farm, name, entry)
        for name, entry in farm.config.sources.items()
        if observes(entry)
    }


def _station(recent: RecentWeather, farm: Farm, name: str, entry: SourceEntry) -> Measured:
    now, back_s = recent.now, int(entry.silent_after) + max(MEAN_S, RECENT_S)
    readings = recent.readings(name, back_s).between(now - back_s, now + 1).usable()
    hours = recent.hours(name)
    demoted = tuple(trust.demoted(hours.at(hours.series.times >= now - trust.DAY_S)))
    site = site_of_log(recent.session, farm, name)
    return Measured(
        series=trust.believed(replace(readings, site=site), demoted),
        hours=trust.believed(replace(wind_spread(hours, entry), site=site), demoted),
        measures=frozenset(BY_NAME[q].column for q in entry.measures),
        silent_after_s=entry.silent_after,
        wind_uncertainty_m_s=entry.wind_uncertainty,
        direction_inside_deg=entry.direction_inside,
        spread_of_readings=entry.wind_spread_over == "reading",
        distrusted=demoted,
    )


def _unheard(station: Measured) -> Measured:
    none = slice(0, 0)
    return replace(station, series=station.series.at(none), hours=station.hours.at(none))


def _forecasts(recent: RecentWeather, config: FarmFile) -> list[Foretold]:
    found, now = [], recent.now
    for name, entry in config.sources.items():
        forecast = recent.forecast(name) if foretells(entry) else None
        if forecast is None or forecast.begins_at > now + AHEAD_S:
            continue  # what came in the future came by a wrong clock: how old it is nobody knows
        # What a feed stood by before and after a moment that is looked back at, it stood by then.
        fetched_at = min(forecast.fetched_at, now)
        issued_at = forecast.issued_at if forecast.tells_issue else fetched_at
        if now - issued_at <= _OLDEST_ISSUE_S:
            found.append(
                Foretold(
                    series=forecast.series,
                    fetched_at=fetched_at,
                    silent_after_s=entry.silent_after,
                    estimates_gusts=entry.estimate_gusts,
                    attribution=forecast.attribution,
                )
            )
    return found
