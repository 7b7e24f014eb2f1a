"""Simulated days of weather with known fronts: turbulence, lulls, shadows, waves, sensor faults.

Everything is drawn from the seed passed in. The wind is built once a second, so that 3 s gusts and
running 10-minute means are known exactly; a station then sees only what its reporting step shows.

Sources:
* mechanical turbulence: Kaimal et al. 1972 (Q. J. R. Met. Soc. 98:563), along-wind
  ``n S/u*^2 = 105 f/(1+33 f)^(5/3)``, across ``17 f/(1+9.5 f)^(5/3)``, f = n z/U [from memory];
* convective eddies: von Karman spectrum with its peak at a wavelength near 1.4 km (Kaimal et al.
  1976: about 1.5 mixed-layer depths) and a standard deviation of 0.6 w* (Panofsky et al. 1977:
  0.35 w*^2) [from memory];
* fronts: cooling as in Kirsch et al. 2021 (Mon. Wea. Rev. 149, 489 cold pools: median 3.3 K, 2 to
  11 K), surge = 2.6 sqrt(cooling) as in Kruse et al. 2021 (QJRMS, 189 cold pools: 4.4 m/s at
  2.9 K, as a density current), pressure rise about 30 Pa/K: the weight of a 750 m deep pool
  (Kirsch et al. 2021). The pressure rises first, over the head of the current (about 1 km at about
  9 m/s: one to four minutes), then the wind turns, then it cools: the order is textbook [from
  memory], the lead and the ramp of 2 to 8 minutes from turn to peak are design choices.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from watcher.weather.series import Site, WeatherSeries

Floats = NDArray[np.float64]

DAY_S = 86_400
START = 1_750_000_000 // DAY_S * DAY_S  # midnight of a June day; the seed decides all else
SITE = Site(latitude=45.0, longitude=0.0, elevation_m=100.0, wind_height_m=10.0)
ROUGHNESS_M = 0.03
# So that four in a hundred crossings of 8 to 12 mph are abrupt (the wind 2.5 m/s over that of 10 to
# 30 minutes before), as on real days.
FRONT_DAYS = 0.15
_METRES = 2.0  # spacing of the frozen turbulence
_HOURS: Floats = np.arange(DAY_S) / 3600.0


@dataclass(frozen=True)
class Front:
    """One gust front; times are seconds of the day."""

    arrives_s: float  # the wind begins to turn
    ramp_s: float  # from there to its peak
    lead_s: float  # the pressure begins to rise this long before
    lasts_s: float
    surge_m_s: float
    turn_deg: float
    cooling_k: float
    rise_pa: float


@dataclass(frozen=True)
class Day:
    """A day at one value a second: what happened, not what a station saw."""

    fronts: tuple[Front, ...]
    wind_m_s: Floats
    from_deg: Floats
    temp_c: Floats
    pressure_pa: Floats

    @property
    def gust_m_s(self) -> Floats:
        """The 3 s running mean."""
        return _running_mean(self.wind_m_s, 3)

    @property
    def ten_minute_mean_m_s(self) -> Floats:
        """The running 10-minute mean."""
        return _running_mean(self.wind_m_s, 600)

    def station(self, step_s: int = 60) -> WeatherSeries:
        """Return what a sound station reports every ``step_s``: means, and the 3 s gust."""
        u, v = _mean_wind(self, step_s)
        return WeatherSeries.of(
            START + np.arange(step_s, DAY_S + 1, step_s),
            SITE,
            "simulated",
            {
                "wind_m_s": _steps(self.wind_m_s, step_s).mean(axis=1).round(2),
                "gust_m_s": _steps(self.gust_m_s, step_s).max(axis=1).round(2),
                "wind_from_deg": (np.degrees(np.arctan2(-u, -v)) % 360.0).round(),
                "temp_c": _steps(self.temp_c, step_s)[:, -1].round(1),
                "pressure_pa": (_steps(self.pressure_pa, step_s).mean(axis=1) / 10.0).round() * 10,
            },
        )


def simulate(
    seed: int, *, fronts: int | None = None, ramp_s: tuple[float, float] = (120.0, 480.0)
) -> Day:
    """Return the day of a seed, with so many fronts in working hours; as seldom as real if None."""
    rng = np.random.default_rng(seed)
    usual = int(rng.random() < FRONT_DAYS)
    passing = tuple(_fronts(rng, usual if fronts is None else fronts, ramp_s))
    mean, bearing = _mean_flow(rng)
    temp, pressure = _calm_air(rng)
    wave = _wave(rng)
    u, v = _components(np.maximum(mean + 0.015 * wave, 0.2), bearing)
    for front in passing:
        u, v = _pushed_aside(u, v, front)
        temp -= front.cooling_k * _cooled(front)
        pressure += front.rise_pa * _risen(front)
    along, across, warmth = _turbulence(rng, np.hypot(u, v))
    u, v = _stirred(u, v, along, across)
    return Day(
        passing,
        np.hypot(u, v),
        np.degrees(np.arctan2(-u, -v)) % 360.0,
        _lagged(temp + warmth, 30.0),
        pressure + wave + rng.normal(0.0, 3.0, DAY_S),
    )


def steady_wind(seed: int, *, wind_m_s: float, seconds: int) -> Floats:
    """Return the along-wind component of neutral turbulence about a steady mean, once a second."""
    n = np.fft.rfftfreq(seconds, 1.0)
    spectrum = (1.0 + 33.0 * n * SITE.wind_height_m / wind_m_s) ** (-5.0 / 3.0)
    noise = _coloured(np.random.default_rng(seed), spectrum, seconds)
    friction = 0.4 * wind_m_s / np.log(SITE.wind_height_m / ROUGHNESS_M)
    return wind_m_s + 2.18 * friction * noise


def with_faults(series: WeatherSeries, seed: int) -> WeatherSeries:
    """Return the series as a failing station would send it: spikes, dropouts, a stuck vane."""
    rng = np.random.default_rng(seed)
    arrays = {name: values.copy() for name, values in series.quantities().items()}
    count = len(series)
    for name, size in {"gust_m_s": 25.0, "temp_c": -8.0, "pressure_pa": 400.0}.items():
        arrays[name][rng.integers(0, count, 2)] += size * rng.uniform(0.4, 1.6, 2)
    for _ in range(int(rng.integers(0, 3))):
        for hole in arrays.values():
            hole[_stretch(rng, series, minutes=(3, 20))] = np.nan
    lost = rng.random(count) < 0.01
    for values in arrays.values():
        values[lost] = np.nan
    stuck = _stretch(rng, series, minutes=(20, 60))
    arrays["wind_from_deg"][stuck] = arrays["wind_from_deg"][stuck.start]
    return series.having(**arrays)


def _stretch(rng: np.random.Generator, series: WeatherSeries, minutes: tuple[int, int]) -> slice:
    step_s = int(series.times[1] - series.times[0])
    length = int(rng.integers(*minutes)) * 60 // step_s + 1
    first = int(rng.integers(0, len(series) - length))
    return slice(first, first + length)


def _fronts(rng: np.random.Generator, count: int, ramp_s: tuple[float, float]) -> list[Front]:
    """Return fronts between 8 and 19 o'clock, at least 90 minutes apart."""
    arrivals: list[float] = []
    while len(arrivals) < count:
        arrival = rng.uniform(8.0, 19.0) * 3600.0
        if all(abs(arrival - other) >= 5400.0 for other in arrivals):
            arrivals.append(arrival)
    return [_front(rng, arrival, ramp_s) for arrival in sorted(arrivals)]


def _front(rng: np.random.Generator, arrives_s: float, ramp_s: tuple[float, float]) -> Front:
    cooling = float(np.clip(3.3 * rng.lognormal(0.0, 0.45), 1.5, 11.0))
    return Front(
        arrives_s=arrives_s,
        ramp_s=rng.uniform(*ramp_s),
        lead_s=rng.uniform(60.0, 240.0),
        lasts_s=rng.uniform(900.0, 3600.0),
        surge_m_s=2.6 * np.sqrt(cooling) * rng.lognormal(0.0, 0.2),
        turn_deg=float(rng.choice([-1.0, 1.0]) * rng.uniform(40.0, 180.0)),
        cooling_k=cooling,
        rise_pa=30.0 * cooling * rng.lognormal(0.0, 0.3),
    )


def _mean_flow(rng: np.random.Generator) -> tuple[Floats, Floats]:
    """Return the slowly changing wind and its direction: diurnal, mesoscale, lulls, freshenings."""
    night, noon = rng.uniform(0.8, 2.0), rng.uniform(1.5, 5.0)
    sun = np.clip(np.sin(np.pi * (_HOURS - 7.0) / 14.0), 0.0, None)
    wind = night + (noon - night) * sun
    wind *= 1.0 + 0.15 * _red_noise(rng, 2400.0)
    for _ in range(int(rng.integers(0, 4))):
        wind *= 1.0 - rng.uniform(0.4, 0.8) * _hump(rng, width_s=(300.0, 1200.0))
    if rng.random() < 0.4:  # the wind freshens for good over half an hour to an hour and a half
        begin = rng.uniform(8.0, 17.0)
        ramp = np.clip((_HOURS - begin) / rng.uniform(0.5, 1.5), 0.0, 1.0)
        wind += rng.uniform(1.5, 3.5) * ramp * (_HOURS < 20.0)
    bearing = rng.uniform(0.0, 360.0) + 6.0 * _HOURS + 10.0 * _red_noise(rng, 1800.0)
    return np.maximum(wind, 0.2), bearing


def _calm_air(rng: np.random.Generator) -> tuple[Floats, Floats]:
    """Return temperature (diurnal, cloud shadows) and pressure (tide, weather, red noise)."""
    temp = rng.uniform(12.0, 22.0) - 6.0 * np.cos(2 * np.pi * (_HOURS - 3.0) / 24.0)
    for _ in range(int(rng.integers(0, 7))):
        temp -= rng.uniform(0.4, 1.5) * _hump(rng, width_s=(200.0, 800.0))
    tide = 80.0 * np.cos(2 * np.pi * (_HOURS - 10.0) / 12.0)
    weather = rng.uniform(-60.0, 60.0) * _HOURS
    return temp, 100_000.0 + tide + weather + 8.0 * _red_noise(rng, 900.0)


def _wave(rng: np.random.Generator) -> Floats:
    """Return the pressure of a passing gravity wave, Pa, on about one day in three."""
    if rng.random() > 0.33:
        return np.zeros(DAY_S)
    period = rng.uniform(900.0, 2400.0)
    swing = np.sin(2 * np.pi * np.arange(DAY_S) / period + rng.uniform(0, 6.0))
    return rng.uniform(15.0, 40.0) * swing * _hump(rng, width_s=(3600.0, 7200.0))


def _turbulence(rng: np.random.Generator, wind: Floats) -> tuple[Floats, Floats, Floats]:
    """Return along-wind and across-wind fluctuations (m/s) and of temperature (K)."""
    path = np.cumsum(np.maximum(wind, 1.0))
    length = int(path[-1] / _METRES) + 2
    z = SITE.wind_height_m

    def along_path(spectrum: Floats) -> Floats:
        return np.interp(path, _METRES * np.arange(length), _coloured(rng, spectrum, length))

    k = np.fft.rfftfreq(length, _METRES)  # cycles a metre
    eddies = (1.0 + 70.8 * (200.0 * k) ** 2) ** (-5.0 / 6.0)
    friction = 0.4 * wind / np.log(z / ROUGHNESS_M)
    heat = np.clip(np.sin(np.pi * (_HOURS - 6.5) / 12.0), 0.0, None)
    stirring = 0.6 * rng.uniform(0.8, 1.8) * heat ** (1.0 / 3.0)
    convective_u, convective_v = along_path(eddies), along_path(eddies)
    along = 2.18 * friction * along_path((1.0 + 33.0 * k * z) ** (-5.0 / 3.0))
    across = 1.64 * friction * along_path((1.0 + 9.5 * k * z) ** (-5.0 / 3.0))
    warmth = 0.35 * heat * (0.9 * along_path(eddies) - 0.4 * convective_u)
    return along + stirring * convective_u, across + stirring * convective_v, warmth


def _coloured(rng: np.random.Generator, spectrum: Floats, length: int) -> Floats:
    """Return Gaussian noise of unit variance with a spectrum (its mean, at k = 0, left out)."""
    amplitude = np.sqrt(np.where(np.arange(spectrum.size) == 0, 0.0, spectrum))
    noise = rng.normal(size=spectrum.size) + 1j * rng.normal(size=spectrum.size)
    values = np.fft.irfft(amplitude * noise, length)
    return values / values.std()


def _red_noise(rng: np.random.Generator, scale_s: float) -> Floats:
    """Return noise of unit variance that forgets itself over ``scale_s``."""
    n = np.fft.rfftfreq(DAY_S, 1.0)
    return _coloured(rng, (1.0 + (2 * np.pi * n * scale_s) ** 2) ** -1.0, DAY_S)


def _hump(rng: np.random.Generator, width_s: tuple[float, float]) -> Floats:
    """Return a smooth rise to 1 and fall back, somewhere in working hours."""
    middle, width = rng.uniform(7.0, 20.0) * 3600.0, rng.uniform(*width_s)
    return np.exp(-(((np.arange(DAY_S) - middle) / width) ** 2))


def _smooth_step(begin_s: float, length_s: float) -> Floats:
    x = np.clip((np.arange(DAY_S) - begin_s) / length_s, 0.0, 1.0)
    return x * x * (3.0 - 2.0 * x)


def _push(front: Front) -> Floats:
    """Return how far the outflow has displaced the old wind, 0 to 1."""
    ends = front.arrives_s + front.ramp_s + front.lasts_s
    ramp = np.clip((np.arange(DAY_S) - front.arrives_s) / front.ramp_s, 0.0, 1.0)
    return ramp * (1.0 - _smooth_step(ends, 1200.0))


def _pushed_aside(u: Floats, v: Floats, front: Front) -> tuple[Floats, Floats]:
    """Return the wind with the front's outflow in it; just ahead of it the old wind dies down."""
    push = _push(front)
    lull = _smooth_step(front.arrives_s - 180.0, 180.0) * (1.0 - push)
    lull *= np.arange(DAY_S) < front.arrives_s + front.ramp_s
    at = int(front.arrives_s)
    turned = np.degrees(np.arctan2(-u[at], -v[at])) + front.turn_deg
    speed = front.surge_m_s + 0.5 * np.hypot(u[at], v[at])
    out_u, out_v = _components(np.full(DAY_S, speed), np.full(DAY_S, turned))
    old = (1.0 - push) * (1.0 - 0.3 * lull)
    return old * u + push * out_u, old * v + push * out_v


def _cooled(front: Front) -> Floats:
    """Return the share of the cooling, 0 to 1; it wears off over two hours (Kruse et al. 2021)."""
    since = np.arange(DAY_S) - front.arrives_s - 30.0
    fall = 1.0 - np.exp(-np.maximum(since, 0.0) / (0.5 * front.ramp_s))
    return fall * np.exp(-np.maximum(since - front.lasts_s, 0.0) / 7200.0)


def _risen(front: Front) -> Floats:
    """Return the share of the pressure rise, 0 to 1."""
    rise = _smooth_step(front.arrives_s - front.lead_s, front.lead_s + front.ramp_s)
    return rise * (1.0 - _smooth_step(front.arrives_s + front.lasts_s, 5400.0))


def _stirred(u: Floats, v: Floats, along: Floats, across: Floats) -> tuple[Floats, Floats]:
    speed = np.maximum(np.hypot(u, v), 1e-6)
    return u + (along * u - across * v) / speed, v + (along * v + across * u) / speed


def _components(speed: Floats, from_deg: Floats) -> tuple[Floats, Floats]:
    angle = np.radians(from_deg)
    return -speed * np.sin(angle), -speed * np.cos(angle)


def _mean_wind(day: Day, step_s: int) -> tuple[Floats, Floats]:
    u, v = _components(day.wind_m_s, day.from_deg)
    return _steps(u, step_s).mean(axis=1), _steps(v, step_s).mean(axis=1)


def _steps(values: Floats, step_s: int) -> Floats:
    return values.reshape(-1, step_s)


def _running_mean(values: Floats, width: int) -> Floats:
    total = np.cumsum(np.insert(values, 0, 0.0))
    ends = np.arange(1, values.size + 1)
    begins = np.maximum(ends - width, 0)
    return (total[ends] - total[begins]) / (ends - begins)


def _lagged(values: Floats, seconds: float) -> Floats:
    """Return the values as a slow sensor shows them (first order)."""
    span = np.arange(int(6 * seconds))
    response = np.exp(-span / seconds)
    padded = np.concatenate([np.full(span.size, values[0]), values])
    return np.convolve(padded, response / response.sum())[span.size : span.size + values.size]
