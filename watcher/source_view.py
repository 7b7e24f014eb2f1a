"""How each source is: the one look that alerts, pages, commands, figures and answers share.

How old its word is beside how often it speaks, whether its clock and its units are right, what
quality control found, whether it is believed, and what was refused in its name.
"""

from collections import Counter, defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np
from sqlalchemy.orm import Session

from watcher.farm import Farm
from watcher.farm.feeds import foretells, observes
from watcher.farm.source_entry import SourceEntry
from watcher.farm.stations import MqttStation, PushStation
from watcher.i18n.message import Message
from watcher.sources.base import Flag, Observations
from watcher.sources.quality import trust, unit_hint
from watcher.sources.quality.check import AHEAD_S
from watcher.sources.stations.rows import LATEST_AHEAD_S
from watcher.store import arrivals, health, refused, weather
from watcher.store.recent import RecentWeather
from watcher.store.refused import Refused
from watcher.store.tables import RefusedFor, SourceHealth
from watcher.weather.bins import Bins
from watcher.weather.coverage import usual_step_s
from watcher.weather.quantities import BY_NAME
from watcher.weather.series import QUANTITIES, Seconds

_RECENT_S = 3600
_DAY_S = 24 * 3600
_FEWEST_FLAGGED = 3
"""Fewer flagged readings in the last hour are a hiccup."""
_IMPLAUSIBLE = Flag.RANGE | Flag.STEP | Flag.INCONSISTENT | Flag.SUSPECT_SOURCE
# A station and a forecast of the same hour may well differ; so much says that one of them is wrong.
# Common practice, no source.
_DISAGREE_BY = {"wind_m_s": 6.0, "temp_c": 8.0, "pressure_pa": 1500.0}
_NEWEST = 100
_LAST_ARRIVALS = 20
"""So many tell how a clock goes now: one set right a while ago is right."""
_FEWEST_ARRIVALS_BEHIND = 5
"""A single late reading waited somewhere; a single one from the future shows a wrong clock."""
_MOST_FINDINGS = 2000


@dataclass(frozen=True)
class Doubted:
    """Values of a quantity that quality control found fault with in the last day."""

    quantity: str
    count: int
    of: int
    """How many values there were."""
    most: Flag
    """The finding that most of them carry."""

    @property
    def share(self) -> float:
        return self.count / self.of


@dataclass(frozen=True)
class SourceView:
    """One source at one moment. Ages in seconds, None when it never gave anything.

    A measuring source is as old as its newest reading that is not dated ahead of now, a
    forecasting one as its last answer.
    """

    name: str
    age_s: int | None
    silent_after_s: float
    why: str | None = None
    """Its last error, while it fails."""
    stuck: tuple[str, ...] = ()
    """Quantities that stand still when they should not."""
    implausible: tuple[str, ...] = ()
    ahead: bool = False
    """Whether readings of the last hour were dated ahead."""
    distrusted: tuple[str, ...] = ()
    """Quantities that failed quality control so often of late that they are not believed."""
    disagrees: tuple[str, ...] = ()
    """Quantities far from what is forecast for the hour; none where nothing can be compared."""
    interval_s: float | None = None
    """How often it reports: learned from its readings, else as the farm file says, if it does."""
    heard_s: int | None = None
    """How long ago a reading last came in, whatever its date."""
    clock_ahead_s: int | None = None
    """How far its clock is ahead, by the dates and arrivals of its last readings; negative where
    it is behind or sends late. None where nothing tells."""
    units: Mapping[str, Message] = field(default_factory=dict)
    """Quantities that look as if they came in another unit, and that unit."""
    doubted: tuple[Doubted, ...] = ()
    failures_in_a_row: int = 0
    attribution: str = ""
    refused: Mapping[RefusedFor, Refused] = field(default_factory=dict)
    """Posts in its name that were refused in the last day."""
    unmeasured: tuple[str, ...] = ()
    """Quantities it sent of late that the farm file does not name among those it measures."""
    ignored: tuple[str, ...] = ()
    """Names in what it sent in the last day that are not read."""

    @property
    def silent(self) -> bool:
        return self.age_s is None or self.age_s > self.silent_after_s

    @property
    def clock_runs_ahead(self) -> bool:
        """Whether what it sends is dated ahead of now, and so not used."""
        return self.clock_ahead_s is not None and self.clock_ahead_s > 0

    @property
    def sound(self) -> bool:
        """Whether all of it can be relied on."""
        return not (self.silent or self.distrusted or self.units or self.clock_runs_ahead)


def look_at_sources(recent: RecentWeather, farm: Farm) -> list[SourceView]:
    """Look at every source of the farm."""
    known = {row.source: row for row in health.all_sources(recent.session)}
    expected = _expected_now(recent, farm)
    refusals = refused.of_last_day(recent.session, recent.now)
    return [
        replace(
            _look(recent, (name, entry), known.get(name), expected),
            refused=refusals.get(name, {}),
        )
        for name, entry in farm.config.sources.items()
    ]


def look_at_source(recent: RecentWeather, farm: Farm, name: str) -> SourceView:
    """Look at one source of the farm, in the same way."""
    known = next((row for row in health.all_sources(recent.session) if row.source == name), None)
    expected = _expected_now(recent, farm)
    view = _look(recent, (name, farm.config.sources[name]), known, expected)
    refusals = refused.of_last_day(recent.session, recent.now)
    return replace(view, refused=refusals.get(name, {}))


def distrusted(recent: RecentWeather, source: str) -> tuple[str, ...]:
    """Return the quantities a source is not believed in, as the timeline has it."""
    return tuple(trust.demoted(_last_day(recent, source)))


def _look(
    recent: RecentWeather,
    source: tuple[str, SourceEntry],
    known: SourceHealth | None,
    expected: Mapping[str, float],
) -> SourceView:
    (name, entry), now = source, recent.now
    forecast = recent.forecast(name) if foretells(entry) else None
    attribution = "" if forecast is None else forecast.attribution
    answered = known.answered_at if known else None
    if answered is not None and answered > now + AHEAD_S:
        answered = None  # what comes from the future says nothing of now
    view = SourceView(
        name,
        None if answered is None else max(0, now - answered),
        entry.silent_after,
        known.why if known else None,
        failures_in_a_row=known.failures_in_a_row if known else 0,
        attribution=attribution,
        ignored=tuple(n for n, at in (known.ignored or {}).items() if now - at < _DAY_S)
        if known
        else (),
    )
    if not observes(entry):
        return view
    times, received = arrivals.newest(recent.session, name, now + AHEAD_S, _NEWEST)
    dated = times[times <= now + AHEAD_S]
    last = recent.readings(name, _RECENT_S)
    near = last.between(now - _RECENT_S, now + _RECENT_S)
    day = _last_day(recent, name)
    return replace(
        view,
        age_s=max(0, now - int(dated[-1])) if dated.size else None,
        stuck=_flagged(near, Flag.STUCK),
        implausible=_flagged(near, _IMPLAUSIBLE),
        ahead=bool(_flagged(last, Flag.FUTURE)),
        distrusted=tuple(trust.demoted(day)),
        disagrees=_disagreements(near, expected, now),
        interval_s=_interval_s(dated if dated.size else times, entry),
        heard_s=max(0, now - int(received.max())) if received.size else None,
        clock_ahead_s=_clock_ahead_s(times, received, entry),
        units=unit_hint.suspected(last.series, expected),
        doubted=_doubted(recent.session, name, day, now),
        unmeasured=_unmeasured(last, entry),
    )


def _last_day(recent: RecentWeather, source: str) -> Bins:
    hours = recent.hours(source)
    return hours.at(hours.series.times >= recent.now - trust.DAY_S)


def _expected_now(recent: RecentWeather, farm: Farm) -> dict[str, float]:
    """What is forecast for now, by quantity; nothing where nobody forecasts."""
    feeds = (name for name, entry in farm.config.sources.items() if foretells(entry))
    forecast = next((f for f in map(recent.forecast, feeds) if f is not None), None)
    if forecast is None:
        return {}
    hour = forecast.series.between(recent.now - _RECENT_S, recent.now + 1)
    return {n: float(values[-1]) for n, values in hour.quantities().items()} if len(hour) else {}


def _interval_s(times: Seconds, entry: SourceEntry) -> float | None:
    learned = usual_step_s(times)
    given: float | None = getattr(entry, "interval", None)
    return given if np.isnan(learned) else learned


def _clock_ahead_s(times: Seconds, received: Seconds, entry: SourceEntry) -> int | None:
    """How far ahead the clock is: the median over the newest readings of the last arrivals.

    None within what is common. Behind is said of those only that send each reading by themselves:
    what is fetched may have waited, as what came in with a newer one did.
    """
    ahead = times - received
    believable = ahead <= LATEST_AHEAD_S  # refused otherwise: no arrival, but something put there
    last = dict(zip(received[believable], ahead[believable], strict=True))  # the newest of each
    newest = [by for _, by in sorted(last.items())[-_LAST_ARRIVALS:]]
    if not newest:
        return None
    middle = int(np.median(newest))
    sends = isinstance(entry, PushStation | MqttStation)
    late = _interval_s(times, entry) or 0.0
    if middle > AHEAD_S:
        return middle
    if sends and len(newest) >= _FEWEST_ARRIVALS_BEHIND and -middle > AHEAD_S + late:
        return middle
    return None


def _flagged(recent: Observations, wanted: Flag) -> tuple[str, ...]:
    return tuple(
        name
        for name in QUANTITIES
        if np.count_nonzero(recent.flags.get(name, np.zeros(0, np.uint16)) & wanted)
        >= _FEWEST_FLAGGED
    )


def _doubted(session: Session, source: str, day: Bins, now: int) -> tuple[Doubted, ...]:
    counts = {name: int(day.doubted[name].sum()) for name in QUANTITIES}
    if not any(counts.values()):
        return ()
    kinds: defaultdict[str, Counter[Flag]] = defaultdict(Counter)
    since = now - trust.DAY_S
    for findings in weather.newest_findings(session, source, since, now, _MOST_FINDINGS):
        for name, bits in findings.items():
            kinds[name].update(Flag(bits))
    return tuple(
        Doubted(
            name,
            count,
            count + int(day.known[name].sum()),
            kinds[name].most_common(1)[0][0] if kinds[name] else Flag.GOOD,
        )
        for name, count in counts.items()
        if count
    )


def _unmeasured(recent: Observations, entry: SourceEntry) -> tuple[str, ...]:
    measured = {BY_NAME[name].column for name in entry.measures}
    given = recent.series.quantities().items()
    return tuple(n for n, v in given if n not in measured and np.isfinite(v).any())


def _disagreements(
    recent: Observations, expected: Mapping[str, float], now: int
) -> tuple[str, ...]:
    """Quantities whose mean over the last hour lies far from what is forecast for it."""
    if not expected or not len(recent.series):
        return ()
    measured = recent.usable().between(now - _RECENT_S, now + 1).quantities()
    return tuple(n for n in _DISAGREE_BY if _far_apart(n, measured, expected))


def _far_apart(
    name: str, measured: Mapping[str, np.ndarray], foretold: Mapping[str, float]
) -> bool:
    kept = measured[name][~np.isnan(measured[name])]
    if kept.size < _FEWEST_FLAGGED or np.isnan(foretold[name]):
        return False
    return bool(abs(kept.mean() - foretold[name]) > _DISAGREE_BY[name])
