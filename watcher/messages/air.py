"""What the air is like: the evidence of an inversion, and what becomes of drops in it."""

import math
from collections.abc import Iterator

import numpy as np

from watcher.farm.geometry.bearings import compass_point
from watcher.i18n.message import Message, Number, ShownQuantity, WallTime, all_of, joined, say
from watcher.judge.drops_in_air import Drop, DropsInAir
from watcher.judge.judgement import Judgement
from watcher.limits.air import wet_bulb_depression
from watcher.messages.reasons import Speaker
from watcher.messages.vocabulary import DROPLET_WORDS, FINDING_WORDS, POINTS
from watcher.messages.words import span
from watcher.units import Kind, System
from watcher.weather.drift import TREATED_WIDTH_M
from watcher.weather.inversion import Finding, Inversion, forms_and_breaks

EVIDENCE: dict[str, Message] = {
    "gradient": say("temperature at two heights"),
    "sky": say("cloud, sun and wind"),
    "radiation": say("radiation and wind"),
    "direction": say("swing of the wind"),
    "clock": say("hour and wind"),
    "warming": say("warming since the low"),
}
"""The lines of evidence, as a grower would call them."""


def air_line(speaker: Speaker, judgement: Judgement, case: tuple[int, int, int]) -> Message:
    """Return the weather of one case: wind at its boom, temperature, humidity, Delta T."""
    series, time = judgement.series, case[2]

    def shown(value: float, kind: Kind) -> Message:
        if not np.isfinite(value):
            return say("unknown")
        return ShownQuantity(float(value), kind, speaker.system)

    wind_from = series.wind_from_deg[time]
    known = np.isfinite(wind_from)
    return say(
        "Wind at the boom {wind} from {point}, gusts {gust}; temperature {temperature}, "
        "humidity {humidity}, Delta T {delta_t}.",
        wind=shown(judgement.boom.wind_m_s[case], Kind.SPEED),
        point=POINTS[compass_point(float(wind_from))] if known else say("nobody knows where"),
        gust=shown(judgement.boom.gust_m_s[case], Kind.SPEED),
        temperature=shown(series.temp_c[time], Kind.TEMPERATURE),
        humidity=shown(series.humidity_pct[time], Kind.PERCENT),
        delta_t=shown(wet_bulb_depression(series)[time], Kind.TEMPERATURE_STEP),
    )


def inversion_lines(speaker: Speaker, inversion: Inversion, time: int) -> list[Message]:
    """Return what every line of evidence says at one time, and when an inversion comes or goes."""
    together = Finding(int(inversion.finding[time]))
    word = say("unknown") if together is Finding.UNKNOWN else FINDING_WORDS[together]
    lines: list[Message] = [say("Inversion, taken together: {finding}", finding=word)]
    for line, findings in inversion.lines.items():
        finding = FINDING_WORDS[Finding(int(findings[time]))]
        lines.append(joined(["  ", joined([EVIDENCE[line], finding], ": ")], ""))
    return [*lines, *_changes(speaker, inversion, time)]


def _changes(speaker: Speaker, inversion: Inversion, time: int) -> Iterator[Message]:
    now = int(inversion.times[time])
    forms, breaks = (float(when[time]) for when in forms_and_breaks(inversion))
    for at, breaking in sorted([(forms, False), (breaks, True)]):
        if not np.isfinite(at):
            continue
        clock = WallTime(int(at), now, speaker.farm.zone)
        if breaking:
            yield say("It breaks by {clock}.", clock=clock)
        else:
            yield say("One may form from {clock}.", clock=clock)


def drop_lines(drops: DropsInAir, system: System) -> list[Message]:
    """Return what becomes of single drops, and how much of the spray stays in the air."""
    lines = [_drop(drop, system) for drop in drops.drops]
    if math.isnan(drops.dries_up) or any(math.isnan(share) for _, share in drops.airborne):
        return [*lines, say("How much of the spray stays in the air is unknown.")]
    still = all_of(
        [
            say(
                "{share} at {distance}",
                share=percent_of(share),
                distance=ShownQuantity(distance, Kind.LENGTH, system),
            )
            for distance, share in drops.airborne
        ]
    )
    size = DROPLET_WORDS[drops.droplets]
    return [
        *lines,
        say(
            "Of the outer {width} sprayed with {size} drops, still in the air downwind: {still}; "
            "up to {gone} dries up before it lands.",
            width=ShownQuantity(TREATED_WIDTH_M, Kind.LENGTH, system),
            size=size,
            still=still,
            gone=percent_of(drops.dries_up),
        ),
    ]


def percent_of(share: float) -> Message:
    """Return a share in percent with one decimal below ten: ``"2.1%"``, ``"14%"``."""
    return Number(f"{share * 100:.1f}%" if share < 0.1 else f"{share:.0%}")


def _drop(drop: Drop, system: System) -> Message:
    size = f"{drop.diameter_m * 1e6:.0f} µm"
    if math.isnan(drop.lasts_s) or math.isnan(drop.goes_m):
        return say("A drop of {size}: unknown, wind or humidity is missing.", size=size)
    far, lasts = ShownQuantity(drop.goes_m, Kind.LENGTH, system, 1), drop.lasts_s
    if not drop.lands:
        return say(
            "A drop of {size} dries up within {span}, {distance} downwind.",
            size=size,
            span=span(lasts),
            distance=far,
        )
    if math.isinf(lasts):
        return say(
            "A drop of {size} lands {distance} downwind; it never dries up.",
            size=size,
            distance=far,
        )
    return say(
        "A drop of {size} lands {distance} downwind; it would dry up in {span}.",
        size=size,
        distance=far,
        span=span(lasts),
    )
