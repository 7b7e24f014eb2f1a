"""What the weather is and will be, as one series: the past hours, now as measured, the forecast.

Which source speaks for a quantity now: the first station listed that measures it. If that one is
silent the next station may speak, never a forecast: a forecast cannot say what the wind is doing
at the boom. Quantities no station of the farm measures are the forecast's.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from watcher.forecasts.station_now import RECENT_S, begun_at_station
from watcher.judge.hour_history import put_hours, winds_at
from watcher.weather.bins import HOUR_S
from watcher.weather.quantities import EXPECTED
from watcher.weather.series import QUANTITIES, Bound, Floats, Site, WeatherSeries
from watcher.weather.wind import direction_mean, yamartino

MEAN_S = 600
"""The WMO's averaging period of the sustained wind. [s]"""
_HISTORY_H = 36
_LEAST_SAMPLES_FOR_SPREAD = 5
_GUST_OF_MEAN = 1.66
"""3 s gust over a 10-minute mean, in-land upper guideline (WMO/TD-No. 1555; from memory)."""


@dataclass(frozen=True)
class Measured:
    """A station's usable weather up to now (flagged values already missing).

    ``series`` are its readings, at least those of the last ``silent_after_s`` and ten minutes;
    ``hours`` what they were by hour, as far back as it is known.
    """

    series: WeatherSeries
    hours: WeatherSeries
    measures: frozenset[str]
    """Names of the quantities it measures; the others are never expected of it."""
    silent_after_s: float
    wind_uncertainty_m_s: float = 0.0
    direction_inside_deg: float = 0.0
    """Standard deviation of the direction inside one reading, where the station gives none."""
    spread_of_readings: bool = False
    """Whether the spread it gives is that inside each reading; else it is over ten minutes."""
    distrusted: tuple[str, ...] = ()
    """Quantities it is not believed in: missing from its weather already."""


@dataclass(frozen=True)
class Foretold:
    """A forecast as issued. ``estimates_gusts``: the grower accepts gusts estimated from the mean
    where the feed gives none."""

    series: WeatherSeries
    fetched_at: int
    silent_after_s: float
    estimates_gusts: bool = False
    attribution: str = ""
    """How the provider's terms ask to be credited."""


@dataclass(frozen=True)
class Spoken:
    """Who speaks for a quantity now. ``source`` is None when nobody does."""

    source: str | None
    age_s: float
    measured: bool


@dataclass(frozen=True)
class ByHand:
    """What was measured by hand stands in a timeline for now: see ``watcher.judge.by_hand``."""

    age_s: float
    counts_s: float
    """For how much longer it counts."""
    station: Mapping[str, float]
    """What the stations tell of what was put in its place; NaN where they tell nothing."""


@dataclass(frozen=True)
class Timeline:
    """One series from the past hours over now to the end of the forecast.

    ``spoken`` says for every quantity who speaks at ``now_index``; ages are NaN when unknown.
    """

    series: WeatherSeries
    now_index: int
    spoken: Mapping[str, Spoken]
    wind_uncertainty_m_s: float
    attribution: str = ""
    """How the provider of the forecast that speaks asks to be credited."""
    expects: Mapping[str, NDArray[np.bool_]] = field(default_factory=dict)
    """Where a quantity should be there, as a station measures it, and nothing may stand in. [T]"""
    distrusted: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    """What each station is not believed in, as it failed quality control too often of late."""
    fields: tuple[str, ...] = ()
    """The fields it is of."""
    feeds: tuple[str, ...] = ()
    """Every feed with a forecast that is not stale, the one that speaks first."""
    others: tuple["Timeline", ...] = ()
    """Timelines of the other fields, where other stations speak for them."""
    by_hand: ByHand | None = None

    def of(self, field: str) -> "Timeline":
        """Return the timeline of a field."""
        return next((other for other in self.others if field in other.fields), self)

    @property
    def now(self) -> int:
        """The moment it was made for. [epoch seconds]"""
        return int(self.series.times[self.now_index])


def compose_timeline(
    *,
    now: int,
    stations: Sequence[Measured],
    forecasts: Sequence[Foretold],
    site: Site,
    horizon_s: float,
) -> Timeline:
    """Compose the timeline. ``site`` stands in where neither a station nor a forecast has one.

    Stations and forecasts are in order of preference. Stale ones leave their quantities missing.
    """
    fresh = [f for f in forecasts if now - f.fetched_at <= f.silent_after_s]
    forecast = next(iter(fresh), None)
    site = _site(stations, forecast, site)
    stations = [_with_winds_at(s, site) for s in stations]
    first_hour = now // HOUR_S * HOUR_S
    past = np.arange(first_hour - _HISTORY_H * HOUR_S, now, HOUR_S)
    ahead = np.arange(first_hour + HOUR_S, now + horizon_s + 1, HOUR_S)
    times = np.concatenate([past, [now], ahead]).astype(np.int64)

    values, bounds = _forecast_values(forecast, times, site)
    _put_past(values, bounds, stations, times, past.size)
    spoken: dict[str, Spoken] = {}
    for name in QUANTITIES:
        foretold = values[name][past.size]
        value, spoken[name] = _speaks_now(name, now, stations, forecast, foretold, spoken=spoken)
        values[name][past.size] = value.value
        if spoken[name].measured:
            _put_bound(bounds, name, past.size, value, times.size)
    site = _with_thermometers(site, stations, spoken["temp_c"])
    later = slice(past.size + 1, None)
    foretold_ahead = {name: array[later] for name, array in values.items()}
    hours = WeatherSeries.of(times[later], site, "timeline", foretold_ahead)
    for name, begun in _begun(hours, forecast, _recent(stations, spoken, now)).items():
        values[name][later] = begun
    spread = values["wind_spread_deg"]
    spread[past.size] = _spread_now(spread[past.size], stations, spoken["wind_from_deg"], now)
    speaker = next((s for s in stations if s.series.source == spoken["wind_m_s"].source), None)
    return Timeline(
        series=WeatherSeries.of(times, site, "timeline", values, bounds),
        now_index=int(past.size),
        spoken=spoken,
        wind_uncertainty_m_s=speaker.wind_uncertainty_m_s if speaker else 0.0,
        attribution=forecast.attribution if forecast else "",
        expects={name: times <= now for name in EXPECTED if _expected(name, stations, spoken)},
        distrusted={s.series.source: s.distrusted for s in stations},
        feeds=tuple(f.series.source for f in fresh),
    )


def _recent(
    stations: Sequence[Measured], spoken: Mapping[str, Spoken], now: int
) -> dict[str, WeatherSeries]:
    """Return the last hour of readings of what stations measure, by quantity."""
    found = {}
    for name, speaks in spoken.items():
        station = next((s for s in stations if s.series.source == speaks.source), None)
        if speaks.measured and station is not None:
            newest = now - int(speaks.age_s)
            found[name] = station.series.between(newest - RECENT_S, newest + 1)
    return found


def _begun(
    ahead: WeatherSeries, forecast: Foretold | None, recent: Mapping[str, WeatherSeries]
) -> dict[str, Floats]:
    """Return what of the hours ahead is other than foretold, for what is measured now."""
    if forecast is None or not recent:
        return {}
    given = with_gusts(forecast.series, estimated=forecast.estimates_gusts)
    return begun_at_station(ahead, winds_at(given, ahead.site), recent)


def _site(stations: Sequence[Measured], forecast: Foretold | None, fallback: Site) -> Site:
    """Sensor heights of the station that measures the wind, else of the forecast.

    A station does not say how high above the sea it stands; a forecast does.
    """
    station = next((s for s in stations if "wind_m_s" in s.measures), None)
    if station is None:
        return forecast.series.site if forecast else fallback
    known = forecast.series.site.elevation_m if forecast else fallback.elevation_m
    return replace(station.series.site, elevation_m=known)


def _with_thermometers(site: Site, stations: Sequence[Measured], speaks: Spoken) -> Site:
    """Return the site with the heights of the thermometers of the station that speaks for them."""
    own = next((s.series.site for s in stations if s.series.source == speaks.source), site)
    return replace(
        site, temp_height_m=own.temp_height_m, temp_upper_height_m=own.temp_upper_height_m
    )


def _expected(name: str, stations: Sequence[Measured], spoken: Mapping[str, Spoken]) -> bool:
    """Whether a station should tell what something else could stand in for.

    A thermometer that failed must not leave it to the rules of thumb beside it.
    """
    if name == "temp_upper_c":
        stations = [s for s in stations if s.series.source == spoken["temp_c"].source]
    return any(name in s.measures for s in stations)


def _with_winds_at(station: Measured, site: Site) -> Measured:
    series, hours = (winds_at(s, site) for s in (station.series, station.hours))
    return replace(station, series=series, hours=hours)


def _forecast_values(
    forecast: Foretold | None, times: np.ndarray, site: Site
) -> tuple[dict[str, Floats], dict[str, Bound]]:
    if forecast is None or not len(forecast.series):
        return {name: np.full(times.size, np.nan) for name in QUANTITIES}, {}
    series = winds_at(with_gusts(forecast.series, estimated=forecast.estimates_gusts), site)
    index = np.searchsorted(series.times, times, side="right") - 1
    # A value stands for at most an hour: nothing is read into a feed's six-hourly tail or a gap.
    stands = (index >= 0) & (times - series.times[index] < HOUR_S)
    values = {
        name: np.where(stands, array[index], np.nan) for name, array in series.quantities().items()
    }
    bounds = {
        name: (np.where(stands, least[index], np.nan), np.where(stands, most[index], np.nan))
        for name, (least, most) in series.bounds.items()
    }
    return values, bounds


def _put_bound(
    bounds: dict[str, Bound], name: str, index: int, value: "_Reported", count: int
) -> None:
    if name not in bounds and np.isnan(value.least) and np.isnan(value.most):
        return
    none = np.full(count, np.nan)
    least, most = bounds.setdefault(name, (none, none.copy()))
    least[index], most[index] = value.least, value.most


def with_gusts(forecast: WeatherSeries, *, estimated: bool) -> WeatherSeries:
    """Return a forecast with gusts estimated from its winds, where it has none and that is wanted.

    To accept an estimate is the grower's decision.
    """
    if not (estimated and np.isnan(forecast.gust_m_s).all()):
        return forecast
    return forecast.having(gust_m_s=forecast.wind_m_s * _GUST_OF_MEAN)


def _put_past(
    values: dict[str, Floats],
    bounds: dict[str, Bound],
    stations: Sequence[Measured],
    times: np.ndarray,
    count: int,
) -> None:
    """Hours already past are what the stations measured in them, where they did."""
    for station in reversed(stations):
        hours = station.hours.between(int(times[0]), int(times[count]))
        past: dict[str, Bound] = {
            name: (least[:count], most[:count]) for name, (least, most) in bounds.items()
        }
        put_hours(values, times[:count], hours, station.measures, past)
        for name in past.keys() - bounds.keys():  # the others were changed in place
            later = np.full(times.size - count, np.nan)
            least, most = past[name]
            bounds[name] = (np.append(least, later), np.append(most, later))


@dataclass(frozen=True)
class _Reported:
    """A value as it is reported now, and between what it lies where it is not exactly known."""

    value: float
    least: float = np.nan
    most: float = np.nan


def _speaks_now(
    name: str,
    now: int,
    stations: Sequence[Measured],
    forecast: Foretold | None,
    foretold: float,
    *,
    spoken: Mapping[str, Spoken],
) -> tuple[_Reported, Spoken]:
    able = [s for s in stations if name in s.measures]
    if not able:
        source = forecast.series.source if forecast and np.isfinite(foretold) else None
        age = float(now - forecast.fetched_at) if forecast else np.nan
        return _Reported(foretold), Spoken(source, age, measured=False)
    oldest = np.nan
    for station in able:
        age = _age(station, name, now)
        if age <= station.silent_after_s and _may_speak(station, name, now, spoken):
            recent = station.series.between(int(now - age) - MEAN_S + 1, int(now - age) + 1)
            return _now_value(name, recent), Spoken(station.series.source, age, measured=True)
        oldest = np.fmin(oldest, age)
    return _Reported(np.nan), Spoken(None, float(oldest), measured=True)


def _may_speak(station: Measured, name: str, now: int, spoken: Mapping[str, Spoken]) -> bool:
    """Whether what goes with a quantity lets a station speak for it.

    No gust of an anemometer whose wind is missing; no second thermometer but over the first one:
    two tell of an inversion only over one place.
    """
    if name == "gust_m_s" and "wind_m_s" in station.measures:
        return _age(station, "wind_m_s", now) <= station.silent_after_s
    return name != "temp_upper_c" or station.series.source == spoken["temp_c"].source


def _age(station: Measured, name: str, now: int) -> float:
    """How old a station's last good value is; where only its hour is known, as old as that. [s]"""
    for series in (station.series, station.hours):
        good = np.flatnonzero(_given(series, name) & (series.times <= now))
        if good.size:
            return float(now - series.times[good[-1]])
    return np.nan


def _given(series: WeatherSeries, name: str) -> NDArray[np.bool_]:
    """Where a value is known, or at least a bound of it. [T]"""
    least, most = series.bound(name)
    given: NDArray[np.bool_] = ~(np.isnan(getattr(series, name)) & np.isnan(least) & np.isnan(most))
    return given


def _now_value(name: str, recent: WeatherSeries) -> _Reported:
    """The value now from the last ten minutes of readings, the newest of which is good."""
    recent = recent.at(_given(recent, name))
    values = getattr(recent, name)
    least, most = recent.bound(name)
    bounded = ~(np.isnan(least) & np.isnan(most))
    if name == "wind_from_deg":
        return _Reported(float(direction_mean(values[~np.isnan(values)])))
    if not bounded.any():
        return _Reported(_over_minutes(name, values))
    low, high = (_over_minutes(name, np.where(bounded, s, values)) for s in (least, most))
    if name == "gust_m_s":  # the highest that is known is reached, whatever the others were
        known = values[~bounded]
        low = float(known.max()) if known.size else low
        if low >= high:
            return _Reported(low)
    return _Reported(np.nan, low, high)


def _over_minutes(name: str, samples: Floats) -> float:
    """NaN where one of those that count is."""
    if name == "wind_m_s":
        return float(samples.mean())
    return float(samples.max()) if name == "gust_m_s" else float(samples[-1])


def _spread_now(given: float, stations: Sequence[Measured], direction: Spoken, now: int) -> float:
    """The direction's deviation over the last ten minutes.

    As given, or of the readings' directions if that is wider; where one is given of each reading,
    or none, that between the readings and that inside them as one variance added to another.
    """
    station = next((s for s in stations if s.series.source == direction.source), None)
    if station is None or not direction.measured:
        return given
    recent = station.series.between(now - MEAN_S, now + 1)
    kept = recent.wind_from_deg[~np.isnan(recent.wind_from_deg)]
    if kept.size < _LEAST_SAMPLES_FOR_SPREAD:
        return given
    between = float(yamartino(kept))
    if np.isnan(given):
        return float(np.hypot(between, station.direction_inside_deg))
    own = recent.wind_spread_deg[~np.isnan(recent.wind_spread_deg)]
    if station.spread_of_readings and own.size:
        return float(np.hypot(between, np.sqrt(np.mean(own**2))))
    return max(given, between)
