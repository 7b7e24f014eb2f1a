"""What the weather is and will be, as one series: the past hours, now as measured, the forecast.

Which source speaks for a quantity now: the first station told that measures it. If that one is
silent the next station may speak, never a forecast: a forecast cannot say what the wind is doing
at the boom. Quantities no station of the farm measures are the forecast's.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from watcher.judge.past import at_wind_height, put_hours
from watcher.weather.bins import HOUR_S
from watcher.weather.inversion import SUPPLEMENTS
from watcher.weather.series import QUANTITIES, Floats, Site, WeatherSeries
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
class Outlook:
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
    """Where what could tell of an inversion should be there, because a station measures it. [T]"""
    distrusted: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    """What each station is not believed in, as it failed quality control too often of late."""
    fields: tuple[str, ...] = ()
    """The fields it is of."""
    others: tuple["Outlook", ...] = ()
    """Outlooks of the other fields, where other stations speak for them."""

    def of(self, field: str) -> "Outlook":
        """Return the outlook of a field."""
        return next((other for other in self.others if field in other.fields), self)

    @property
    def now(self) -> int:
        """The moment it was made for. [epoch seconds]"""
        return int(self.series.times[self.now_index])


def look_out(
    *,
    now: int,
    stations: Sequence[Measured],
    forecasts: Sequence[Foretold],
    site: Site,
    horizon_s: float,
) -> Outlook:
    """Compose the outlook. ``site`` stands in where neither a station nor a forecast has one.

    Stations and forecasts are in order of preference. Stale ones leave their quantities missing.
    """
    forecast = next((f for f in forecasts if now - f.fetched_at <= f.silent_after_s), None)
    site = _site(stations, forecast, site)
    stations = [_at_wind_height(s, site.wind_height_m) for s in stations]
    first_hour = now // HOUR_S * HOUR_S
    past = np.arange(first_hour - _HISTORY_H * HOUR_S, now, HOUR_S)
    ahead = np.arange(first_hour + HOUR_S, now + horizon_s + 1, HOUR_S)
    times = np.concatenate([past, [now], ahead]).astype(np.int64)

    values = _forecast_values(forecast, times, site)
    _put_past(values, stations, times, past.size)
    spoken: dict[str, Spoken] = {}
    for name in QUANTITIES:
        foretold = values[name][past.size]
        value, spoken[name] = _speaks_now(name, now, stations, forecast, foretold, spoken=spoken)
        values[name][past.size] = value
    site = _with_thermometers(site, stations, spoken["temp_c"])
    spread = values["wind_spread_deg"]
    spread[past.size] = _spread_now(spread[past.size], stations, spoken["wind_from_deg"], now)
    speaker = next((s for s in stations if s.series.source == spoken["wind_m_s"].source), None)
    return Outlook(
        series=WeatherSeries.of(times, site, "outlook", values),
        now_index=int(past.size),
        spoken=spoken,
        wind_uncertainty_m_s=speaker.wind_uncertainty_m_s if speaker else 0.0,
        attribution=forecast.attribution if forecast else "",
        expects={name: times <= now for name in SUPPLEMENTS if _expected(name, stations, spoken)},
        distrusted={s.series.source: s.distrusted for s in stations},
    )


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
    """Whether a station should tell what tells of an inversion.

    A thermometer that failed must not leave it to the rules of thumb beside it.
    """
    if name == "temp_upper_c":
        stations = [s for s in stations if s.series.source == spoken["temp_c"].source]
    return any(name in s.measures for s in stations)


def _at_wind_height(station: Measured, height_m: float) -> Measured:
    series, hours = (at_wind_height(s, height_m) for s in (station.series, station.hours))
    return replace(station, series=series, hours=hours)


def _forecast_values(forecast: Foretold | None, times: np.ndarray, site: Site) -> dict[str, Floats]:
    if forecast is None or not len(forecast.series):
        return {name: np.full(times.size, np.nan) for name in QUANTITIES}
    series = forecast.series
    if forecast.estimates_gusts and np.isnan(series.gust_m_s).all():
        series = series.having(gust_m_s=series.wind_m_s * _GUST_OF_MEAN)
    series = at_wind_height(series, site.wind_height_m)
    index = np.searchsorted(series.times, times, side="right") - 1
    # A value stands for at most an hour: nothing is read into a feed's six-hourly tail or a gap.
    stands = (index >= 0) & (times - series.times[index] < HOUR_S)
    return {
        name: np.where(stands, array[index], np.nan) for name, array in series.quantities().items()
    }


def _put_past(
    values: dict[str, Floats], stations: Sequence[Measured], times: np.ndarray, count: int
) -> None:
    """Hours already past are what the stations measured in them, where they did."""
    for station in reversed(stations):
        hours = station.hours.between(int(times[0]), int(times[count]))
        put_hours(values, times[:count], hours, station.measures)


def _speaks_now(
    name: str,
    now: int,
    stations: Sequence[Measured],
    forecast: Foretold | None,
    foretold: float,
    *,
    spoken: Mapping[str, Spoken],
) -> tuple[float, Spoken]:
    able = [s for s in stations if name in s.measures]
    if not able:
        source = forecast.series.source if forecast and np.isfinite(foretold) else None
        age = float(now - forecast.fetched_at) if forecast else np.nan
        return foretold, Spoken(source, age, measured=False)
    oldest = np.nan
    for station in able:
        age = _age(station, name, now)
        if age <= station.silent_after_s and _may_speak(station, name, now, spoken):
            recent = station.series.between(int(now - age) - MEAN_S + 1, int(now - age) + 1)
            return _now_value(name, recent), Spoken(station.series.source, age, measured=True)
        oldest = np.fmin(oldest, age)
    return np.nan, Spoken(None, float(oldest), measured=True)


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
        good = np.flatnonzero(~np.isnan(getattr(series, name)) & (series.times <= now))
        if good.size:
            return float(now - series.times[good[-1]])
    return np.nan


def _now_value(name: str, recent: WeatherSeries) -> float:
    """The value now from the last ten minutes of readings, the newest of which is good."""
    samples = getattr(recent, name)
    kept = samples[~np.isnan(samples)]
    if name == "wind_m_s":
        return float(kept.mean())
    if name == "gust_m_s":
        return float(kept.max())
    if name == "wind_from_deg":
        return float(direction_mean(kept))
    return float(kept[-1])


def _spread_now(given: float, stations: Sequence[Measured], direction: Spoken, now: int) -> float:
    """The direction's deviation as given, or from the last ten minutes of directions if wider."""
    station = next((s for s in stations if s.series.source == direction.source), None)
    if station is None or not direction.measured:
        return given
    recent = station.series.between(now - MEAN_S, now + 1).wind_from_deg
    kept = recent[~np.isnan(recent)]
    if kept.size < _LEAST_SAMPLES_FOR_SPREAD:
        return given
    return float(np.fmax(given, yamartino(kept)))
