"""What somebody measured by hand at boom height, put in place of what the station tells there.

A reading counts for twenty minutes. It moves with the station meanwhile: what the station has
changed by since is added to it, only never to less wind or gust than was measured, so that no lull
at the mast clears what was measured at the boom. What was not read stays as it was, known or not.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from watcher.judge.timeline import ByHand, Spoken, Timeline
from watcher.limits.boom_wind import boom_wind
from watcher.limits.farm_arrays import FarmArrays
from watcher.weather.inversion import assess

COUNTS_S = 20 * 60
"""How long a reading counts. [s]"""
BY_HAND = "by hand"
"""Who speaks for what no station tells, and somebody measured."""
_NEVER_LESS = ("wind_m_s", "gust_m_s")
_STEPS = 8
"""Of the search for the wind at the mast that makes the measured one at the boom; it is nearly
proportional, so that a few are exact."""


@dataclass(frozen=True)
class HandReading:
    """What was measured at boom height over a field, for the setup that sprays it. SI."""

    field: str
    setup: str
    at: int
    values: Mapping[str, float]


def corrected(
    plan: FarmArrays, timeline: Timeline, then: Timeline, reading: HandReading
) -> Timeline:
    """Return the timeline of the reading's field with what was measured in it at its moment.

    ``then`` is what the stations reported at the time of the reading.
    """
    index, series = timeline.now_index, timeline.series
    read = dict(reading.values)
    if "wind_m_s" in read:
        read |= _at_the_mast(plan, timeline, reading)
    arrays = series.quantities()
    station = {name: float(arrays[name][index]) for name in read}
    before = {name: float(getattr(then.series, name)[then.now_index]) for name in read}
    changed = {name: np.array(arrays[name]) for name in read}
    for name, value in read.items():
        now = _moved(name, value, before[name], station[name])
        changed[name][index] = now
        if name == "temp_c":  # two thermometers tell of an inversion by their difference
            changed["temp_upper_c"] = np.array(series.temp_upper_c)
            changed["temp_upper_c"][index] += now - station[name]
    if "gust_m_s" not in read and "wind_m_s" in read:
        changed["gust_m_s"] = np.array(series.gust_m_s)
        known = changed["gust_m_s"][index]
        changed["gust_m_s"][index] = known if np.isnan(known) else max(known, read["wind_m_s"])
    here = np.arange(len(series)) == index
    age_s = float(timeline.now - reading.at)
    return replace(
        timeline,
        series=series.having(**changed).unbounded(tuple(changed), here),
        spoken=dict(timeline.spoken)
        | {
            name: Spoken(BY_HAND, age_s, measured=True)
            for name in read
            if timeline.spoken[name].source is None or not timeline.spoken[name].measured
        },
        fields=(reading.field,),
        others=(),
        by_hand=ByHand(
            age_s, COUNTS_S - age_s, {name: float(arrays[name][index]) for name in changed}
        ),
    )


def _moved(name: str, value: float, before: float, now: float) -> float:
    """A reading, changed by what the station has changed by since, where it reported both."""
    change = now - before
    if not np.isfinite(change):
        return value
    if name in _NEVER_LESS:
        return value + max(0.0, change)
    if name == "wind_from_deg":
        return (value + change) % 360.0
    return float(np.clip(value + change, 0.0, 100.0)) if name == "humidity_pct" else value + change


def _at_the_mast(plan: FarmArrays, timeline: Timeline, reading: HandReading) -> dict[str, float]:
    """The wind and gust at the height of the series that are the measured ones at the boom."""
    case = plan.fields.index(reading.field), plan.setups.index(reading.setup), 0
    at_now = slice(timeline.now_index, timeline.now_index + 1)
    now = timeline.series.at(at_now).bounded({})
    layering = assess(timeline.series, expects=timeline.expects).obukhov_m[at_now]
    wanted = reading.values["wind_m_s"], reading.values.get("gust_m_s", np.nan)
    wind, gust = wanted
    for _ in range(_STEPS):
        given = now.having(wind_m_s=np.array([wind]), gust_m_s=np.array([gust]))
        boom = boom_wind(plan, given, layering)
        at = float(boom.wind_m_s[case]), float(boom.gust_m_s[case])
        wind *= wanted[0] / at[0] if at[0] > 0 else 1.0
        gust *= wanted[1] / at[1] if at[1] > 0 else 1.0
    found = {"wind_m_s": wind}
    return found | ({"gust_m_s": gust} if np.isfinite(gust) else {})
