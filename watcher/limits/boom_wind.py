"""The wind where the drops leave the nozzles, and wherever else a limit asks for it."""

from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import NDArray

from watcher.farm.origin import Force
from watcher.farm.rules.mix import heights
from watcher.farm.rules.weather import WindRule
from watcher.limits.catalogue import Limit
from watcher.limits.farm_arrays import FarmArrays
from watcher.limits.status import Band
from watcher.weather.series import Bound, Floats, Site, WeatherSeries
from watcher.weather.wind_profile import (
    BLENDING_M,
    GRASS,
    Surface,
    blending_height,
    gust_at_height,
    uncertainty_of,
    wind_factor,
)


@dataclass(frozen=True)
class WindPlace:
    """Where a wind is asked for: a height above the ground over a surface that fills ``layer_m``.

    Arrays broadcast to [F, S, 1].
    """

    height_m: Floats
    over: Surface
    layer_m: Floats

    @classmethod
    def in_the_open(cls, height_m: float) -> Self:
        """Return the place at a height over short grass."""
        return cls(np.asarray(height_m), GRASS, np.asarray(BLENDING_M))

    def of_field(self, row: int) -> Self:
        """Return the place over one of the fields. [S, 1]"""
        over = Surface(
            self.over.displacement_m[row], self.over.roughness_m[row], self.over.top_m[row]
        )
        return type(self)(self.height_m[row], over, self.layer_m[row])

    def wind_share(self, site: Site, obukhov_m: Floats) -> Floats:
        """Return what a wind measured at a site is multiplied by here. [F, S, T], 1

        ``obukhov_m`` [T] is NaN where nothing is known of the layering: then as in mixed air.
        """
        # By class there are a handful of lengths, of however many thousand times.
        known = np.where(np.isnan(obukhov_m), np.inf, obukhov_m)
        lengths, which = np.unique(known, return_inverse=True)
        shares = self._share(site.wind_height_m, Surface.of_canopy(site.canopy_m), lengths)
        return np.asarray(np.broadcast_to(shares, (*shares.shape[:-1], lengths.size))[..., which])

    def bound_share(self, height_m: float) -> Floats:
        """Return what a bound that holds at a height over short grass is multiplied by here."""
        return self._share(height_m, GRASS, np.array([np.inf]))

    def _share(self, from_m: float, of: Surface, lengths: Floats) -> Floats:
        top = np.maximum(self.height_m, 2.0 * self.over.top_m)
        return wind_factor(
            from_m=from_m,
            to_m=self.height_m,
            of=of,
            over=self.over,
            blending_m=blending_height(layer_m=self.layer_m, top_m=top, obukhov_m=lengths),
            obukhov_m=lengths,
        )


def above_canopy(plan: FarmArrays, height_m: Floats) -> WindPlace:
    """Return the place at a height [S] above the canopy of each field. [F, S, 1]"""

    def of_field(values: Floats) -> Floats:
        return values[:, None, None]

    surface = plan.surface
    over = Surface(
        of_field(surface.displacement_m), of_field(surface.roughness_m), of_field(surface.top_m)
    )
    return WindPlace(
        of_field(plan.canopy_m) + height_m[None, :, None], over, of_field(plan.layer_m)
    )


@dataclass(frozen=True)
class BoomWind:
    """Wind where the drops leave the nozzles, and its band. [F, S, T]"""

    wind_m_s: Floats
    gust_m_s: Floats
    band: NDArray[np.int8]
    doubt_m_s: Floats
    """Standard deviation that both have from being brought there."""
    wind_bound: Bound | None = None
    """Between what the wind lies where it is not exactly known; None where it always is."""
    gust_bound: Bound | None = None


def boom_wind(plan: FarmArrays, series: WeatherSeries, obukhov_m: Floats) -> BoomWind:
    """Bring the wind from its sensor to each field's and setup's boom. ``obukhov_m`` [T]"""
    share = above_canopy(plan, plan.boom_m).wind_share(series.site, obukhov_m)
    wind = share * series.wind_m_s
    gust = gust_at_height(wind_m_s=series.wind_m_s, gust_m_s=series.gust_m_s, there_m_s=wind)
    wind_bound = gust_bound = None
    if "wind_m_s" in series.bounds:
        least, most = series.bounds["wind_m_s"]
        wind_bound = share * least, share * most
    if "gust_m_s" in series.bounds:
        least, most = (
            gust_at_height(wind_m_s=series.wind_m_s, gust_m_s=side, there_m_s=wind)
            for side in series.bounds["gust_m_s"]
        )
        gust_bound = least, most
    doubt = doubt_of(share, wind, obukhov_m)
    return BoomWind(wind, gust, _band(plan, wind, wind_bound), doubt, wind_bound, gust_bound)


def doubt_of(share: Floats, wind_m_s: Floats, obukhov_m: Floats) -> Floats:
    """Return the standard deviation of a wind that was multiplied by a share. Broadcasts, m/s

    None where it was measured where it is asked for.
    """
    return np.where(share == 1.0, 0.0, uncertainty_of(obukhov_m) * wind_m_s)


def _band(plan: FarmArrays, wind: Floats, bound: Bound | None) -> NDArray[np.int8]:
    low, high = _boom_bounds(plan)
    calm = high * plan.farm.config.judging.calm_share
    band = np.full(wind.shape, Band.CALM, dtype=np.int8)
    band[wind < low] = Band.STILL
    # A wind of just that share of the bound is calm, however its units round.
    band[wind > calm * (1.0 + 1e-9)] = Band.MARGINAL
    band[wind > high] = Band.WINDY
    band[np.isnan(wind)] = Band.UNKNOWN
    if bound is not None:
        given = ~(np.isnan(bound[0]) & np.isnan(bound[1]))
        windy = bound[0] > high
        band = np.where(given, np.where(windy, Band.WINDY, Band.UNKNOWN), band).astype(np.int8)
    return band


def calm_to(plan: FarmArrays, field: int, setup: int) -> float:
    """Return the wind at the boom above which it is in the upper part of its range. [m/s]"""
    one = plan.only([plan.fields[field]])
    high = _boom_bounds(one)[1][0, setup, 0]
    return float(high * plan.farm.config.judging.calm_share)


def _boom_bounds(plan: FarmArrays) -> tuple[Floats, Floats]:
    """The tightest bounds of window and rules as they are at the boom. [F, S, 1] each, m/s

    What is calm follows from them, also where rules alone bound the wind.
    """
    bounds, shape = plan.bounds[Limit.WIND], (len(plan.fields), len(plan.setups), 1)
    low = np.broadcast_to(bounds.low[:, None, None], shape).copy()
    high = np.broadcast_to(bounds.high[:, None, None], shape).copy()
    booms = above_canopy(plan, plan.boom_m)
    for row, rules in enumerate(plan.rules):
        boom = booms.of_field(row)
        for _, rule in rules:
            if isinstance(rule, WindRule) and rule.force is not Force.ADVICE:
                at = heights(rule)
                low[row] = np.fmax(low[row], _at_boom(boom, rule.low, at["low"]))
                high[row] = np.fmin(high[row], _at_boom(boom, rule.high, at["high"]))
    return low, high


def _at_boom(boom: WindPlace, bound_m_s: float | None, height_m: float | None) -> Floats:
    """A bound brought from its height down to the booms; NaN without one. [S, 1]"""
    if bound_m_s is None:
        return np.full(boom.height_m.shape, np.nan)
    if height_m is None:
        return np.full(boom.height_m.shape, bound_m_s)
    down = bound_m_s * boom.bound_share(height_m)
    return np.where(np.isnan(down), bound_m_s, np.minimum(down, bound_m_s))
