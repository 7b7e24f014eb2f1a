"""Whether a temperature inversion lies over the ground: lines of evidence, combined.

The lines, each explained in ``inversion_signs``: ``gradient`` (temperature at two heights, the only
direct one), ``sky`` (cloud, sun, wind), ``radiation``, ``direction`` (its spread), ``clock`` (hours
from sunset and sunrise, wind) and ``warming`` (of the morning since the night's low). They combine
so:

* ``gradient`` MEASURED beats all. Clearly not inverted, it beats the rules of thumb too, but it
  speaks only between its two heights: it clears the air only with one thermometer within 3 m of
  the ground and the other within 12 m, and an inversion below the lower one escapes it.
* Otherwise the worst of the lines that have data.
* No wind or no sun position is UNKNOWN at least, unless the gradient speaks. A missing cloud cover
  is read as a clear sky and a missing temperature as one that has not risen, the worst each could
  be. The lower thermometer of a pair missing is UNKNOWN at least, as is a quantity missing where
  it is *expected*. One that a source never gives (few forecasts give net radiation) leaves the
  rest to speak.

So a missing value never makes a finding better, in the order of what may be sprayed: NONE, then
POSSIBLE, then UNKNOWN, LIKELY and MEASURED alike, which all forbid it. In a combination UNKNOWN
stands above POSSIBLE and gives way to LIKELY and MEASURED.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from watcher.weather import inversion_signs as signs
from watcher.weather.inversion_signs import Daylight, Finding, Findings, Sign
from watcher.weather.quantities import EXPECTED
from watcher.weather.series import Floats, Seconds, Site, WeatherSeries
from watcher.weather.stability import Classes, Stability, obukhov_length, obukhov_of_pair
from watcher.weather.wind_profile import Surface, wind_at_height

__all__ = ["Finding", "Inversion", "assess", "forms_and_breaks"]

Bools = NDArray[np.bool_]

_ALWAYS_THERE = ("sky", "clock", "warming")
SUPPLEMENTS = ("temp_upper_c", "net_w_m2", "wind_spread_deg")
_CLEARS_FROM_M, _CLEARS_TO_M = 3.0, 12.0

_IN_ORDER = np.array(
    [Finding.NONE, Finding.POSSIBLE, Finding.UNKNOWN, Finding.LIKELY, Finding.MEASURED],
    dtype=np.int8,
)
_PLACE = np.argsort(_IN_ORDER)  # by finding + 1


@dataclass(frozen=True)
class Inversion:
    """What is known of an inversion at each time. All arrays [T].

    ``finding`` is the combination, ``lines`` each line's own finding by name (UNKNOWN where it has
    nothing to go by). ``stability`` is the most stable class that any scheme gives, made to agree
    with a measured gradient. ``obukhov_m`` is the likely Obukhov length, NaN where nothing tells of
    it, for the wind's profile: no worst case, but see ``_obukhov``.
    """

    times: Seconds
    finding: Findings
    lines: Mapping[str, Findings]
    stability: Classes
    obukhov_m: Floats

    def part(self, times: slice) -> "Inversion":
        """Return what is known of some of the times."""
        return Inversion(
            self.times[times],
            self.finding[times],
            {name: found[times] for name, found in self.lines.items()},
            self.stability[times],
            self.obukhov_m[times],
        )


def assess(series: WeatherSeries, *, expects: Mapping[str, ArrayLike] | None = None) -> Inversion:
    """Judge a whole series at once; the module says from what and how.

    ``expects`` says of ``temp_upper_c``, ``net_w_m2`` and ``wind_spread_deg`` where they should be
    there (True, or booleans [T]) because something measures them.
    """
    site = series.site
    day = Daylight.of(times=series.times, latitude=site.latitude, longitude=site.longitude)
    evidence = _evidence(series, day)
    clears = evidence["gradient"].finding == Finding.NONE
    clears &= _close_to_the_ground(site)
    measured = evidence["gradient"].finding == Finding.MEASURED
    unsure = _unsure(series, evidence) | _lacking(series, day, expects or {})
    finding = np.where(clears, np.int8(Finding.NONE), _worst(evidence, unsure))
    stability = np.maximum.reduce(
        [s.stability for s in evidence.values() if s.stability is not None]
    )
    stability = np.where(measured, np.maximum(stability, Stability.F), stability)
    stability = np.where(clears, np.minimum(stability, Stability.D), stability).astype(np.int8)
    return Inversion(
        times=series.times,
        finding=finding,
        lines={name: sign.finding for name, sign in evidence.items()},
        stability=stability,
        obukhov_m=_obukhov(series, day, evidence),
    )


def forms_and_breaks(
    inversion: Inversion, *, at_least: Finding = Finding.POSSIBLE
) -> tuple[Floats, Floats]:
    """Return the next times after each at which an inversion forms and breaks, epoch seconds.

    It forms when the finding comes up to ``at_least`` and breaks when it falls below; NaN where it
    does not any more in the series. UNKNOWN is neither: what was known last stands until something
    is known again.
    """
    known = inversion.finding != Finding.UNKNOWN
    inverted = inversion.finding >= at_least
    index = np.maximum.accumulate(np.where(known, np.arange(known.size), -1))
    before = np.append(-1, index[:-1]) if index.size else index
    changes = known & (before >= 0) & (inverted != inverted[before])
    times = inversion.times.astype(np.float64)
    return _next_after(times, changes & inverted), _next_after(times, changes & ~inverted)


def _evidence(series: WeatherSeries, day: Daylight) -> dict[str, Sign]:
    site = series.site
    ground = Surface.of_canopy(site.canopy_m)
    wind = wind_at_height(wind_m_s=series.wind_m_s, from_m=site.wind_height_m, to_m=10.0, of=ground)
    return {
        "gradient": signs.gradient(
            temp_c=series.temp_c,
            temp_upper_c=series.temp_upper_c,
            height_m=site.temp_height_m,
            upper_height_m=site.temp_upper_height_m,
        ),
        "sky": signs.sky(
            wind_m_s=wind, cloud_pct=series.cloud_pct, ceiling_m=series.ceiling_m, daylight=day
        ),
        "radiation": signs.radiation(
            wind_m_s=wind, solar_w_m2=series.solar_w_m2, net_w_m2=series.net_w_m2, daylight=day
        ),
        "direction": signs.direction(
            wind_m_s=wind,
            wind_spread_deg=series.wind_spread_deg,
            height_m=site.wind_height_m,
            roughness_m=ground.roughness_m,
            daylight=day,
        ),
        "clock": signs.clock(wind_m_s=wind, daylight=day),
        "warming": signs.warming(
            times=series.times,
            temp_c=series.temp_c,
            wind_m_s=wind,
            longitude=site.longitude,
            daylight=day,
        ),
    }


def _obukhov(series: WeatherSeries, day: Daylight, evidence: Mapping[str, Sign]) -> Floats:
    """Return the likely Obukhov length, NaN where nothing tells of it. [T], m

    In the dark by two thermometers and the wind; else by the class of the radiation, else of a sky
    that is known, as Golder has it: on two days of eddy fluxes right in the median by night. By
    day over crops twice as long, since they put much of the sun's heat into vapour. In the hour
    before sunset and after sunrise the air turns over, and the sky alone tells nothing.
    """
    site, ground = series.site, Surface.of_canopy(series.site.canopy_m)
    by_sky, by_radiation = (evidence[name].classes(len(series)) for name in ("sky", "radiation"))
    tells = np.where(day.night, day.dark & ~np.isnan(series.cloud_pct), True)
    by_sky = np.where(tells, by_sky, Stability.UNKNOWN)
    classes = np.where(by_radiation == Stability.UNKNOWN, by_sky, by_radiation)
    by_class = obukhov_length(stability=classes, roughness_m=ground.roughness_m)
    by_class = np.where(by_class < 0, 2.0 * by_class, by_class)
    # Overturning air over a measured inversion is no likely state: one of them errs.
    inverted = evidence["gradient"].finding == Finding.MEASURED
    by_class = np.where(inverted & (by_class < 0), np.nan, by_class)
    paired = np.flatnonzero(day.dark & ~np.isnan(series.temp_upper_c))
    if paired.size:
        by_pair = obukhov_of_pair(
            temp_c=series.temp_c[paired],
            temp_upper_c=series.temp_upper_c[paired],
            height_m=site.temp_height_m,
            upper_height_m=site.temp_upper_height_m,
            wind_m_s=series.wind_m_s[paired],
            wind_height_m=site.wind_height_m,
            surface=ground,
        )
        by_class[paired] = np.where(np.isnan(by_pair), by_class[paired], by_pair)
    return by_class


def _close_to_the_ground(site: Site) -> bool:
    return site.temp_height_m <= _CLEARS_FROM_M and site.temp_upper_height_m <= _CLEARS_TO_M


def _unsure(series: WeatherSeries, evidence: Mapping[str, Sign]) -> Bools:
    """Return where what every series should have is missing. [T]"""
    unsure: Bools = np.isnan(series.temp_c) & np.isfinite(series.site.temp_upper_height_m)
    for name in _ALWAYS_THERE:
        unsure = unsure | (evidence[name].finding == Finding.UNKNOWN)
    return unsure


def _lacking(series: WeatherSeries, day: Daylight, expects: Mapping[str, ArrayLike]) -> Bools:
    """Return where a quantity that could have shown an inversion is expected but missing. [T]"""
    lacking = np.zeros(len(series), dtype=np.bool_)
    for name, where in expects.items():
        if name not in EXPECTED:
            raise ValueError(f"expects {name!r}; it can be one of {', '.join(EXPECTED)}")
        if name not in SUPPLEMENTS:
            continue
        # A calm has no direction to spread, and by day the spread never tells of an inversion.
        matters = day.night if name == "wind_spread_deg" else True
        lacking |= np.isnan(getattr(series, name)) & np.asarray(where, dtype=np.bool_) & matters
    return lacking


def _worst(evidence: Mapping[str, Sign], unsure: Bools) -> Findings:
    """Return the worst of the lines that have data, at least UNKNOWN where ``unsure``."""
    place = np.where(unsure, _PLACE[Finding.UNKNOWN + 1], 0)
    for sign in evidence.values():
        known = sign.finding != Finding.UNKNOWN
        place = np.where(known, np.maximum(place, _PLACE[sign.finding + 1]), place)
    return _IN_ORDER[place]


def _next_after(times: Floats, marks: Bools) -> Floats:
    """Return the first marked time after each time, NaN where there is none."""
    marked = np.append(np.where(marks, times, np.inf), np.inf)
    following = np.minimum.accumulate(marked[::-1])[::-1][1:]
    return np.where(np.isfinite(following), following, np.nan)
