"""What the air is like: the evidence of an inversion, and what becomes of drops in it."""

import math
from collections.abc import Iterator

import numpy as np

from watcher.alerts.wording.reasons import Speaker
from watcher.alerts.wording.words import clock, span
from watcher.farm.bearings import compass_point
from watcher.judge.air_limits import wet_bulb_depression
from watcher.judge.drops_in_air import Drop, DropsInAir
from watcher.judge.judgement import Judgement
from watcher.units import Kind, System, show
from watcher.weather.inversion import Finding, Inversion, forms_and_breaks

EVIDENCE = {
    "gradient": "temperature at two heights",
    "sky": "cloud, sun and wind",
    "radiation": "radiation and wind",
    "direction": "swing of the wind",
    "clock": "hour and wind",
    "warming": "warming since the low",
}
"""The lines of evidence, as a grower would call them."""


def air_line(speaker: Speaker, judgement: Judgement, case: tuple[int, int, int]) -> str:
    """Return the weather of one case: wind at its boom, temperature, humidity, Delta T."""
    series, time = judgement.series, case[2]

    def told(value: float, kind: Kind) -> str:
        return show(float(value), kind, speaker.system) if np.isfinite(value) else "unknown"

    wind_from = series.wind_from_deg[time]
    point = compass_point(float(wind_from)) if np.isfinite(wind_from) else "nobody knows where"
    return (
        f"Wind at the boom {told(judgement.boom.wind_m_s[case], Kind.SPEED)} from {point}, "
        f"gusts {told(judgement.boom.gust_m_s[case], Kind.SPEED)}; "
        f"temperature {told(series.temp_c[time], Kind.TEMPERATURE)}, "
        f"humidity {told(series.humidity_pct[time], Kind.PERCENT)}, "
        f"Delta T {told(wet_bulb_depression(series)[time], Kind.TEMPERATURE_STEP)}."
    )


def finding_word(finding: Finding) -> str:
    """Return a finding as a word; no data is no finding."""
    return "no data" if finding is Finding.UNKNOWN else finding.name.lower()


def inversion_lines(speaker: Speaker, inversion: Inversion, time: int) -> list[str]:
    """Return what every line of evidence says at one time, and when an inversion comes or goes."""
    together = Finding(int(inversion.finding[time]))
    word = "unknown" if together is Finding.UNKNOWN else finding_word(together)
    said = [f"Inversion, taken together: {word}"]
    for line, findings in inversion.lines.items():
        said.append(f"  {EVIDENCE[line]}: {finding_word(Finding(int(findings[time])))}")
    return [*said, *_changes(speaker, inversion, time)]


def _changes(speaker: Speaker, inversion: Inversion, time: int) -> Iterator[str]:
    now = int(inversion.times[time])
    forms, breaks = (float(when[time]) for when in forms_and_breaks(inversion))
    for at, what in sorted([(forms, "One may form from"), (breaks, "It breaks by")]):
        if np.isfinite(at):
            yield f"{what} {clock(int(at), now, speaker.farm.zone)}."


def drop_lines(drops: DropsInAir, system: System) -> list[str]:
    """Return what becomes of single drops, and how much of the spray stays in the air."""
    said = [_drop(drop, system) for drop in drops.drops]
    if any(math.isnan(share) for _, share in drops.airborne):
        return [*said, "How much of the spray stays in the air is unknown."]
    still = " and ".join(
        f"{percent_of(share)} at {show(distance, Kind.LENGTH, system)}"
        for distance, share in drops.airborne
    )
    return [*said, f"Of {drops.droplets.words} drops not come down yet: {still}."]


def percent_of(share: float) -> str:
    """Return a share in percent with one decimal below ten: ``"2.1%"``, ``"14%"``."""
    return f"{share * 100:.1f}%" if share < 0.1 else f"{share:.0%}"


def _drop(drop: Drop, system: System) -> str:
    size = f"A drop of {drop.diameter_m * 1e6:.0f} µm"
    if math.isnan(drop.lasts_s) or math.isnan(drop.goes_m):
        return f"{size}: unknown, wind or humidity is missing."
    far = f"{show(drop.goes_m, Kind.LENGTH, system, 1)} downwind"
    lasts = span(drop.lasts_s)
    if not drop.lands:
        return f"{size} dries up within {lasts}, {far}."
    dries = "never dries up" if math.isinf(drop.lasts_s) else f"would dry up in {lasts}"
    return f"{size} lands {far}; it {dries}."
