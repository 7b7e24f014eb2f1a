"""Warnings of what is coming, each with what it rests on."""

import math
from dataclasses import dataclass

from watcher.alerts.wording.reasons import Speaker
from watcher.judge.reasons import Reason
from watcher.units import Kind, show
from watcher.weather.nowcast import Nowcast


@dataclass(frozen=True)
class Coming:
    """One warning: how a title says it, what to do, and the evidence as one sentence."""

    head: str
    title: str
    do: str
    evidence: str


def front(speaker: Speaker, nowcast: Nowcast) -> Coming:
    """Say which signs of a gust front were seen."""
    found, system = nowcast.front, speaker.system
    kelvins, pascals = float(found.cooling_k[-1]), float(found.pressure_rise_pa[-1])
    turn, rise = float(found.turn_deg[-1]), float(found.wind_rise_m_s[-1])
    signs = (
        (found.wind_rose, f"wind up {show(rise, Kind.SPEED, system)}"),
        (found.wind_turned, f"wind turned {turn:.0f}°"),
        (found.air_cooled, f"air {show(kelvins, Kind.TEMPERATURE_STEP, system)} cooler"),
        (found.pressure_rose, f"pressure up {pascals / 100:.1f} hPa"),
    )
    seen = ", ".join(said for moved, said in signs if moved[-1])
    return Coming(
        "Gust front",
        "stop now",
        "Stop before it is here: signs of a gust front.",
        f"Within minutes: {seen}.",
    )


def rising(speaker: Speaker, nowcast: Nowcast, wind: Reason) -> Coming:
    """Say how fast the wind rises and when it will pass its bound."""
    slope, until = float(nowcast.trend.slope_m_s_per_min[-1]), float(nowcast.trend.expected_s[-1])
    bound = show(wind.high, Kind.SPEED, speaker.system)
    minutes = f"{until / 60:.0f} min" if math.isfinite(until) else "10 min"
    faster = show(slope * 10, Kind.SPEED, speaker.system)
    return Coming(
        "Rising",
        f"{bound} in {minutes}",
        "Finish the pass and be ready to stop.",
        f"The wind has been rising by {faster} in ten minutes; its mean passes the bound of "
        f"{bound} in about {minutes}.",
    )


def gusts(speaker: Speaker, nowcast: Nowcast, gust: Reason) -> Coming:
    """Say how likely a gust over the bound is."""
    found, system = nowcast.gust_chance, speaker.system
    bound = show(gust.high, Kind.SPEED, system)
    chance = f"{float(found.chance[-1]):.0%}"
    mean = show(float(found.mean_m_s[-1]), Kind.SPEED, system)
    spread = show(float(found.spread_m_s[-1]), Kind.SPEED, system, 1)
    return Coming(
        "Gusts",
        f"{chance} over {bound}",
        "Be ready to stop.",
        f"{chance} chance of a gust over {bound} in the next ten minutes: the last ten had a mean "
        f"of {mean} and a spread of {spread} at the sensor.",
    )
