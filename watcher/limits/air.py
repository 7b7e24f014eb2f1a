"""Limits on the air itself: wind, gust, temperature, Delta T, humidity, inversion."""

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from watcher.farm.models import DropletClass
from watcher.limits.boom_wind import BoomWind
from watcher.limits.bound_arrays import BoundArrays
from watcher.limits.catalogue import CATALOGUE, Limit
from watcher.limits.check import Checked, Stands, between, bounded, ruled
from watcher.limits.farm_arrays import Bools, FarmArrays
from watcher.limits.status import Band, LimitState
from watcher.weather.air import delta_t, pressure_at
from watcher.weather.inversion import Finding, Inversion
from watcher.weather.inversion_signs import Findings
from watcher.weather.series import Bound, Floats, WeatherSeries
from watcher.weather.sun import elevation


def within(
    limit: Limit,
    value: Floats,
    bounds: BoundArrays,
    doubt: Floats | float = 0.0,
    lies: Bound | None = None,
) -> Checked:
    """Check a value [F or 1, S or 1, T] against one limit's bounds [F].

    ``doubt`` is its standard deviation, where that is known: it widens what counts as near.
    ``lies`` says between what it lies where it is not exactly known.
    """
    low, high, scale, margin = (
        a[:, None, None] for a in (bounds.low, bounds.high, bounds.scale, bounds.margin)
    )
    margin = np.fmax(margin, doubt / scale)
    exact = bounded(limit, value, low=low, high=high, scale=scale, margin=margin)
    if lies is None:
        return exact
    return between(limit, exact, *lies, scale=scale, margin=margin)


def air_limits(
    plan: FarmArrays,
    series: WeatherSeries,
    boom: BoomWind,
    inversion: Inversion,
    wind_uncertainty_m_s: float,
) -> Iterator[Checked]:
    """Yield the checked limits on wind, gust, temperature, Delta T, humidity and inversion."""
    doubt = np.hypot(boom.doubt_m_s, wind_uncertainty_m_s)
    yield _wind(plan, boom, doubt, mixed_by_day(series, inversion))
    if Limit.GUST in plan.bounds:
        bounds = plan.bounds[Limit.GUST]
        yield within(Limit.GUST, boom.gust_m_s, bounds, doubt, boom.gust_bound)
    for limit, bounds in plan.bounds.items():
        if limit is Limit.DELTA_T:
            yield within(limit, wet_bulb_depression(series), bounds)
        elif (column := CATALOGUE[limit].quantity) is not None:
            value, lies = getattr(series, column), series.bounds.get(column)
            yield within(limit, value, bounds, lies=lies)
    yield _inversion(plan, inversion.finding)


def wet_bulb_depression(series: WeatherSeries) -> Floats:
    """Delta T; by the pressure of the site's elevation where none is measured. [T], K"""
    pressure = np.where(
        np.isnan(series.pressure_pa),
        pressure_at(elevation_m=np.asarray(series.site.elevation_m)),
        series.pressure_pa,
    )
    return delta_t(temp_c=series.temp_c, humidity_pct=series.humidity_pct, pressure_pa=pressure)


def mixed_by_day(series: WeatherSeries, inversion: Inversion) -> Bools:
    """Return where the sun is up and nothing hints at an inversion. [T]

    There a low bound on the wind, which is about still air, asks for no room.
    """
    site = series.site
    up = elevation(times=series.times, latitude=site.latitude, longitude=site.longitude) > 0.0
    return np.asarray(up & (inversion.finding == Finding.NONE))


def without_low(checked: Checked, high_only: Checked, mixed: Bools) -> Checked:
    """Return a check near its low bound as holding where the air is mixed by day.

    ``high_only`` is the same without its low bound: near that one stays near.
    """
    near = (checked.stand == LimitState.NEAR) & (high_only.stand == LimitState.HOLDS)
    stand = np.where(near & mixed, LimitState.HOLDS, checked.stand).astype(np.int8)
    return replace(checked, stand=stand)


def _wind(plan: FarmArrays, boom: BoomWind, doubt: Floats, mixed: Bools) -> Checked:
    bounds = plan.bounds[Limit.WIND]
    checked, high_only = (
        within(Limit.WIND, boom.wind_m_s, of, doubt, boom.wind_bound)
        for of in (bounds, replace(bounds, low=np.full_like(bounds.low, -np.inf)))
    )
    checked = without_low(checked, high_only, mixed)
    # The upper part of the band is marginal however much room is left to the bound.
    near = (boom.band == Band.MARGINAL) & (checked.stand == LimitState.HOLDS)
    checked.stand[near] = LimitState.NEAR
    return checked


def _inversion(plan: FarmArrays, finding: Findings) -> Checked:
    """Possible: near, with coarse drops only. Likely or measured: broken."""
    stand: Stands = np.full(finding.shape, LimitState.BROKEN, dtype=np.int8)
    stand[finding == Finding.NONE] = LimitState.HOLDS
    stand[finding == Finding.UNKNOWN] = LimitState.UNKNOWN
    stand = np.broadcast_to(stand, (len(plan.fields), len(plan.setups), finding.size)).copy()
    coarse = (plan.droplets >= DropletClass.COARSE)[None, :]
    bearable = plan.tolerates_possible_inversion[:, None] & coarse
    stand[(finding == Finding.POSSIBLE) & bearable[:, :, None]] = LimitState.NEAR
    return ruled(Limit.INVERSION, finding.astype(np.float64), stand)
