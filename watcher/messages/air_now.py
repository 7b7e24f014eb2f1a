"""The air as it is now over a field: wind at mast and boom apart, gust, heat and moisture."""

from dataclasses import dataclass
from math import isfinite

import numpy as np

from watcher.farm.geometry.bearings import compass_point
from watcher.i18n.message import Message, Number, ShownQuantity, joined, say
from watcher.judge.judgement import Judgement
from watcher.judge.timeline import Timeline
from watcher.limits.air import wet_bulb_depression
from watcher.messages.vocabulary import POINTS
from watcher.units import Kind, System


@dataclass(frozen=True)
class AirNow:
    """The air at a moment over a field, at the boom of a setup. NaN where nobody tells."""

    wind_from_deg: float
    boom_wind_m_s: float
    boom_gust_m_s: float
    mast_wind_m_s: float
    mast_gust_m_s: float
    temp_c: float
    humidity_pct: float
    delta_t_k: float


def air_at(judgement: Judgement, look: Timeline, at: int, field: str, setup: str) -> AirNow:
    """Return the air at a time of the series. Raises ValueError for no such field or setup.

    ``look`` is what speaks for the field: where somebody has measured over it by hand, the mast's
    own values are kept there.
    """
    plan = judgement.plan
    case = plan.fields.index(field), plan.setups.index(setup)
    own = judgement.of_field(case[0])
    series, now = own.series, int(np.searchsorted(own.series.times, at))
    mast = look.by_hand.station if look.by_hand else {}
    drying = np.asarray(wet_bulb_depression(series.at(slice(now, now + 1))))
    return AirNow(
        wind_from_deg=float(series.wind_from_deg[now]),
        boom_wind_m_s=float(judgement.boom.wind_m_s[(*case, now)]),
        boom_gust_m_s=float(judgement.boom.gust_m_s[(*case, now)]),
        mast_wind_m_s=mast.get("wind_m_s", float(series.wind_m_s[now])),
        mast_gust_m_s=mast.get("gust_m_s", float(series.gust_m_s[now])),
        temp_c=float(series.temp_c[now]),
        humidity_pct=float(series.humidity_pct[now]),
        delta_t_k=float(drying.reshape(-1)[0]),
    )


def shown(value: float, kind: Kind, system: System) -> Message:
    """Return a value as a grower reads it; what nobody tells is not known."""
    return ShownQuantity(value, kind, system) if isfinite(value) else say("not known")


def wind_from(bearing: float) -> Message:
    """Return where the wind comes from: the point of the compass and the bearing."""
    point: Message = say("nobody knows where")
    if isfinite(bearing):
        point = joined([POINTS[compass_point(bearing)], Number(f"{bearing:.0f}°")], " ")
    return say("from {point}", point=point)


def air_line(air: AirNow, system: System) -> Message:
    """Return all of it as one sentence."""
    return say(
        "Wind {wind_from}: {boom} at the boom, gust {boom_gust}; {mast} at the mast, gust "
        "{mast_gust}. {temperature}, humidity {humidity}, Delta T {delta_t}.",
        wind_from=wind_from(air.wind_from_deg),
        boom=shown(air.boom_wind_m_s, Kind.SPEED, system),
        boom_gust=shown(air.boom_gust_m_s, Kind.SPEED, system),
        mast=shown(air.mast_wind_m_s, Kind.SPEED, system),
        mast_gust=shown(air.mast_gust_m_s, Kind.SPEED, system),
        temperature=shown(air.temp_c, Kind.TEMPERATURE, system),
        humidity=shown(air.humidity_pct, Kind.PERCENT, system),
        delta_t=shown(air.delta_t_k, Kind.TEMPERATURE_STEP, system),
    )
