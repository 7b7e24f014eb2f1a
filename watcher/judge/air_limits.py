"""Limits on the air itself: wind, gust, temperature, Delta T, humidity, inversion."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from watcher.farm.models import DropletClass
from watcher.judge.bounds import BoundArrays
from watcher.judge.limits import Checked, Stands, bounded, ruled
from watcher.judge.plan import Plan
from watcher.judge.status import Band, Limit, Stand
from watcher.weather.air import delta_t, pressure_at
from watcher.weather.inversion import Finding, Inversion
from watcher.weather.inversion_signs import Findings
from watcher.weather.series import Floats, WeatherSeries
from watcher.weather.wind import gust_at_height, wind_at_height


@dataclass(frozen=True)
class BoomWind:
    """Wind where the drops leave the nozzles, and its band. [F, S, T]"""

    wind_m_s: Floats
    gust_m_s: Floats
    band: NDArray[np.int8]


def boom_wind(plan: Plan, series: WeatherSeries) -> BoomWind:
    """Bring the wind from sensor height to each field's and setup's boom height."""
    canopy = plan.canopy_m[:, None, None]
    heights = {
        "from_m": np.asarray(series.site.wind_height_m),
        "to_m": canopy + plan.boom_m[None, :, None],
        "canopy_m": canopy,
    }
    wind = wind_at_height(wind_m_s=series.wind_m_s, **heights)
    gust = gust_at_height(gust_m_s=series.gust_m_s, wind_m_s=series.wind_m_s, **heights)
    return BoomWind(wind, gust, _band(plan, wind))


def _band(plan: Plan, wind: Floats) -> NDArray[np.int8]:
    bounds = plan.bounds[Limit.WIND]
    band = np.full(wind.shape, Band.CALM, dtype=np.int8)
    band[wind < bounds.low[:, None, None]] = Band.STILL
    band[wind > plan.calm_top_m_s[:, None, None]] = Band.MARGINAL
    band[wind > bounds.high[:, None, None]] = Band.WINDY
    band[np.isnan(wind)] = Band.UNKNOWN
    return band


def within(
    limit: Limit, value: Floats, bounds: BoundArrays, least_margin: Floats | float = 0.0
) -> Checked:
    """Check a value [F or 1, S or 1, T] against one limit's bounds [F]."""
    low, high, scale, margin = (
        a[:, None, None] for a in (bounds.low, bounds.high, bounds.scale, bounds.margin)
    )
    return bounded(
        limit, value, low=low, high=high, scale=scale, margin=np.maximum(margin, least_margin)
    )


def air_limits(
    plan: Plan,
    series: WeatherSeries,
    boom: BoomWind,
    inversion: Inversion,
    wind_uncertainty_m_s: float,
) -> Iterator[Checked]:
    """Yield the checked limits on wind, gust, temperature, Delta T, humidity and inversion."""
    yield _wind(plan, boom, wind_uncertainty_m_s)
    air = {
        Limit.GUST: boom.gust_m_s,
        Limit.TEMPERATURE: series.temp_c,
        Limit.HUMIDITY: series.humidity_pct,
        Limit.DELTA_T: wet_bulb_depression(series),
    }
    for limit, value in air.items():
        if limit in plan.bounds:
            yield within(limit, value, plan.bounds[limit])
    yield _inversion(plan, inversion.finding)


def wet_bulb_depression(series: WeatherSeries) -> Floats:
    """Delta T; by the pressure of the site's elevation where none is measured. [T], K"""
    pressure = np.where(
        np.isnan(series.pressure_pa),
        pressure_at(elevation_m=np.asarray(series.site.elevation_m)),
        series.pressure_pa,
    )
    return delta_t(temp_c=series.temp_c, humidity_pct=series.humidity_pct, pressure_pa=pressure)


def _wind(plan: Plan, boom: BoomWind, uncertainty_m_s: float) -> Checked:
    bounds = plan.bounds[Limit.WIND]
    checked = within(
        Limit.WIND, boom.wind_m_s, bounds, uncertainty_m_s / bounds.scale[:, None, None]
    )
    # The upper part of the band is marginal however much room is left to the bound.
    near = (boom.band == Band.MARGINAL) & (checked.stand == Stand.HOLDS)
    checked.stand[near] = Stand.NEAR
    return checked


def _inversion(plan: Plan, finding: Findings) -> Checked:
    """Possible: near, with coarse drops only. Likely or measured: broken."""
    stand: Stands = np.full(finding.shape, Stand.BROKEN, dtype=np.int8)
    stand[finding == Finding.NONE] = Stand.HOLDS
    stand[finding == Finding.UNKNOWN] = Stand.UNKNOWN
    stand = np.broadcast_to(stand, (len(plan.fields), len(plan.setups), finding.size)).copy()
    coarse = (plan.droplets >= DropletClass.COARSE)[None, :]
    bearable = plan.tolerates_possible_inversion[:, None] & coarse
    stand[(finding == Finding.POSSIBLE) & bearable[:, :, None]] = Stand.NEAR
    return ruled(Limit.INVERSION, finding.astype(np.float64), stand)
