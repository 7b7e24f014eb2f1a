"""A warning of what is likely soon: the chance itself, and what was seen beside it."""

import math
from collections.abc import Iterator
from dataclasses import dataclass

from watcher.i18n.message import Message, Number, ShownQuantity, WallTime, joined, say
from watcher.judge.reasons import Reason
from watcher.messages.chances import tenths
from watcher.messages.reasons import Speaker
from watcher.units import Kind, System
from watcher.weather.fronts import Front
from watcher.weather.nowcast import Nowcast


@dataclass(frozen=True)
class JobWarning:
    """One warning: how a title says it, what to do, and the evidence."""

    titles: tuple[Message, ...]
    """What a title says of it, longest first."""
    do: Message
    evidence: tuple[Message, ...]


def likely(speaker: Speaker, nowcast: Nowcast, wind: Reason, gust: Reason | None) -> JobWarning:
    """Say how likely the wind passes its bound, and what else was seen and may come of it."""
    evidence = [likely_line(speaker, nowcast, wind), *_signs(nowcast.front, speaker.system)]
    if gust is not None:
        evidence += _gusts(nowcast, gust, speaker.system)
    odds = tenths(float(nowcast.mean_ahead.chance[-1]))
    bound = ShownQuantity(wind.high, Kind.SPEED, speaker.system)
    return JobWarning(
        (
            say("wind {odds} over {bound}", odds=odds, bound=bound),
            say("too windy, {odds}", odds=odds),
            say("too windy soon"),
        ),
        say("Finish the pass and be ready to stop."),
        tuple(evidence),
    )


def likely_line(speaker: Speaker, nowcast: Nowcast, wind: Reason) -> Message:
    """Return the chance that the wind passes its bound."""
    return say(
        "The wind passes {bound} within ten minutes with a chance of {odds}.",
        bound=ShownQuantity(wind.high, Kind.SPEED, speaker.system),
        odds=tenths(float(nowcast.mean_ahead.chance[-1])),
    )


def ending(speaker: Speaker, field: str, by: Reason, at: int, now: int) -> JobWarning:
    """Say which limit is going to end the job before it is done, and when."""
    clock = WallTime(at, now, speaker.farm.zone)
    return JobWarning(
        (say("{limit} from {clock}", limit=speaker.side(by), clock=clock), speaker.side(by)),
        say("Finish the pass and be ready to stop."),
        (say("From {clock}: {reason}.", clock=clock, reason=speaker.reason(field, by)),),
    )


def usual_gusts_line(
    speaker: Speaker, *, factor: float, gust_m_s: float, bound_m_s: float
) -> Message:
    """Return what gusts this wind usually brings at the boom."""
    gaps: dict[str, Message] = {
        "factor": Number(f"{factor:.1f}"),
        "gust": ShownQuantity(gust_m_s, Kind.SPEED, speaker.system),
        "bound": ShownQuantity(bound_m_s, Kind.SPEED, speaker.system),
    }
    if gust_m_s > bound_m_s:
        return say(
            "Gusts are usually {factor} times the wind at the station: about {gust} at the boom in "
            "this wind, over the limit of {bound}.",
            **gaps,
        )
    return say(
        "Gusts are usually {factor} times the wind at the station: about {gust} at the boom in "
        "this wind, within the limit of {bound}.",
        **gaps,
    )


def _signs(front: Front, system: System) -> Iterator[Message]:
    """Say which signs of a gust front were seen, where enough of them were."""
    if not front.warns[-1]:
        return
    kelvins, pascals = float(front.cooling_k[-1]), float(front.pressure_rise_pa[-1])
    turn, rise = float(front.turn_deg[-1]), float(front.wind_rise_m_s[-1])
    signs = (
        (front.wind_rose, say("wind up {speed}", speed=ShownQuantity(rise, Kind.SPEED, system))),
        (front.wind_turned, say("wind turned {angle}", angle=f"{turn:.0f}°")),
        (
            front.air_cooled,
            say("air {step} cooler", step=ShownQuantity(kelvins, Kind.TEMPERATURE_STEP, system)),
        ),
        (
            front.pressure_rose,
            say("pressure up {pressure}", pressure=Number(f"{pascals / 100:.1f} hPa")),
        ),
    )
    seen = joined(sign for moved, sign in signs if moved[-1])
    yield say("Signs of a gust front within minutes: {signs}.", signs=seen)


def _gusts(nowcast: Nowcast, gust: Reason, system: System) -> Iterator[Message]:
    found = nowcast.gust_chance
    if found.unknown[-1] or not math.isfinite(gust.high):
        return
    yield say(
        "A gust over {bound} comes with a chance of {odds}.",
        bound=ShownQuantity(gust.high, Kind.SPEED, system),
        odds=tenths(float(found.chance[-1])),
    )
