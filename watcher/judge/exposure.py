"""What of the spray may land at each neighbour, against what the neighbour stands."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from watcher.judge.limits import Checked, bounded
from watcher.judge.plan import Plan
from watcher.judge.status import Limit
from watcher.weather.drift import (
    REFERENCE_WIND_HEIGHT_M,
    Deposit,
    Strength,
    exposure,
    strength,
)
from watcher.weather.series import WeatherSeries
from watcher.weather.wind import wind_at_height


@dataclass(frozen=True)
class Drift:
    """How hard each setup drifts, and how exposed each field's neighbours lie, at each time.

    Deposits factor: a pair's deposit is its exposure [P, T] times its field's strength [F, S, T].
    """

    strength: Strength
    at_reference: Deposit


def drift(plan: Plan, series: WeatherSeries) -> Drift:
    """Work out strengths and exposures for every field, setup, pair and time."""
    canopy = plan.canopy_m[:, None, None]
    wind = wind_at_height(
        wind_m_s=series.wind_m_s,
        from_m=series.site.wind_height_m,
        to_m=REFERENCE_WIND_HEIGHT_M + canopy,
        canopy_m=canopy,
    )
    return Drift(
        strength=strength(
            wind_m_s=wind,
            boom_height_m=plan.boom_m[None, :, None],
            speed_m_s=plan.speed_m_s[None, :, None],
            drift_reduction=plan.drift_reduction[None, :, None],
        ),
        at_reference=exposure(
            along=plan.along,
            wind_from_deg=series.wind_from_deg,
            spread_deg=plan.spread_deg(series),
        ),
    )


def deposit_limit(plan: Plan, drifting: Drift) -> Iterator[Checked]:
    """Yield the upper estimate at the worst exposed neighbour as a share of what it stands."""
    minding = np.flatnonzero(np.isfinite(plan.pair_tolerance_pct))
    if not minding.size:
        return
    share = drifting.at_reference.upper_pct[minding] / plan.pair_tolerance_pct[minding, None]
    worst = np.zeros((len(plan.fields), share.shape[1]))
    np.maximum.at(worst, plan.reach.pair_field[minding], share)
    # A field without such a neighbour has nothing to mind, whatever is known of the wind.
    beside = np.zeros(len(plan.fields), dtype=bool)
    beside[plan.reach.pair_field[minding]] = True
    value = np.where(beside[:, None, None], worst[:, None, :] * drifting.strength.upper, 0.0)
    one = np.asarray(1.0)
    yield bounded(
        Limit.DEPOSIT,
        value,
        low=np.asarray(-np.inf),
        high=one,
        scale=one,
        margin=np.asarray(plan.farm.told.judging.margin),
    )
