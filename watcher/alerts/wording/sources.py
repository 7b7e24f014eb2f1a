"""What is said of the sources of weather."""

import math
from collections.abc import Iterable, Sequence

from watcher.alerts.source_sight import SourceSight
from watcher.alerts.wording.reasons import Speaker
from watcher.alerts.wording.words import Text, clock, headline, name, span

DISTRUSTED = "failed the checks too often in the last day and is not believed until it improves"
_DO = "Fields that hang on it are unknown until it is mended: rely on a hand-held reading."
_QUANTITIES = {
    "wind_m_s": "wind",
    "gust_m_s": "gust",
    "wind_from_deg": "wind direction",
    "wind_spread_deg": "spread of the direction",
    "temp_c": "temperature",
    "temp_upper_c": "upper temperature",
    "humidity_pct": "humidity",
    "dew_point_c": "dew point",
    "pressure_pa": "pressure",
    "rain_mm_h": "rain",
    "rain_chance_pct": "chance of rain",
    "cloud_pct": "cloud",
    "solar_w_m2": "sunshine",
    "net_w_m2": "net radiation",
}
_WORDS = {
    "source silent": "silent",
    "source stuck": "stuck",
    "source implausible": "implausible",
    "source clock ahead": "clock ahead",
    "source distrusted": "not believed",
    "source disagrees": "disagrees",
}


def wrong(speaker: Speaker, found: Sequence[tuple[str, SourceSight]], now: int) -> Text:
    """Say what is wrong with which source; ``found`` are kinds of conditions and the sources."""
    items = [f"{name(source.name, 16)} {_WORDS[kind]}" for kind, source in found]
    lines = [_line(speaker, kind, source, now) for kind, source in found]
    return Text(title=headline("Weather:", items), lines=(*lines, _DO))


def quantity_names(quantities: Iterable[str]) -> str:
    """Return quantities as a grower calls them."""
    return ", ".join(_QUANTITIES[quantity] for quantity in quantities)


def back(names: Sequence[str]) -> Text:
    """Say which sources are well again."""
    return Text(
        title=headline("Weather back:", [name(n, 20) for n in names]),
        lines=tuple(f"{name(n)} is well again." for n in names),
    )


def _line(speaker: Speaker, kind: str, source: SourceSight, now: int) -> str:
    who = name(source.name)
    if kind == "source silent":
        return f"{who} {_silence(speaker, source, now)}"
    if kind == "source clock ahead":
        return f"{who} sends readings from the future: its clock runs ahead. They are not used."
    quantities = {
        "source stuck": source.stuck,
        "source implausible": source.implausible,
        "source distrusted": source.distrusted,
        "source disagrees": source.disagrees,
    }[kind]
    what = quantity_names(quantities) or "nothing any more"
    said = {
        "source stuck": "stands still and is not used",
        "source implausible": "says what cannot be; it is not used",
        "source distrusted": f"{DISTRUSTED}; the next source speaks, or nobody",
        "source disagrees": "is far from the forecast for this hour: one of them is wrong",
    }[kind]
    return f"{who}: {what} {said}."


def _silence(speaker: Speaker, source: SourceSight, now: int) -> str:
    why = f" ({name(source.why, 120)})" if source.why else ""
    if source.age_s is None or math.isnan(source.age_s):
        return f"has not given anything yet{why}."
    last = clock(now - source.age_s, now, speaker.farm.zone)
    return f"has been silent for {span(source.age_s)}, since {last}{why}."
