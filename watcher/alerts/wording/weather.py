"""How old the weather is and who says so."""

import math
from collections.abc import Iterator

from watcher.alerts.wording.words import ago, name, span
from watcher.judge.outlook import Outlook, Spoken
from watcher.weather.quantities import BY_NAME

_ASKED_FOR = ("wind_m_s", "gust_m_s", "wind_from_deg", "temp_c", "humidity_pct", "rain_mm_h")
"""What is missed where nobody tells it."""


def wind_line(outlook: Outlook) -> str:
    """Return who speaks for the wind now, and how old that is."""
    wind = outlook.spoken["wind_m_s"]
    if wind.source is None:
        last = f" for {span(wind.age_s)}" if math.isfinite(wind.age_s) else ""
        return f"Nobody has told the wind{last}."
    if wind.measured:
        return f"Wind measured by {name(wind.source)} {ago(wind.age_s)}."
    return f"Wind only forecast, by {name(wind.source)}, fetched {ago(wind.age_s)}."


def source_lines(outlook: Outlook) -> tuple[str, ...]:
    """Return who speaks for the wind now and for the hours ahead."""
    winds = (wind_line(outlook), *_elsewhere(outlook))
    foretold = _forecast(outlook)
    if foretold is None:
        return (*winds, "No forecast to rely on for the hours ahead.")
    ahead = f"Hours ahead: {name(str(foretold.source))}, fetched {ago(foretold.age_s)}."
    # Addresses and licence in full stand where there is room: on the pages and the command line.
    credit = name(outlook.attribution.partition(" (")[0], 80)
    return (*winds, f"{ahead} {credit}." if credit else ahead)


def _elsewhere(outlook: Outlook) -> Iterator[str]:
    """Yield who speaks for the wind of fields that other stations stand nearer to."""
    for other in outlook.others:
        if other.spoken["wind_m_s"].source != outlook.spoken["wind_m_s"].source:
            yield f"For {', '.join(map(name, other.fields))}: {wind_line(other)}"


def spoken_lines(outlook: Outlook) -> Iterator[str]:
    """Yield, source by source, what each is relied on for now, and what nobody told."""
    for by, what in _by_source(outlook).items():
        told = ", ".join(what).replace("_", " ")
        if by is None:
            yield f"Nobody tells {told}."
        else:
            oldest = max(outlook.spoken[BY_NAME[q].series].age_s for q in what)
            measured = outlook.spoken[BY_NAME[what[0]].series].measured
            yield f"{'Measured' if measured else 'Forecast'} by {name(by)} {ago(oldest)}: {told}."


def _by_source(outlook: Outlook) -> dict[str | None, list[str]]:
    """The names of quantities as the farm file has them, by who speaks for them."""
    found: dict[str | None, list[str]] = {}
    for quantity in BY_NAME.values():
        who = outlook.spoken[quantity.series]
        if who.source is not None or who.measured or quantity.series in _ASKED_FOR:
            found.setdefault(who.source, []).append(quantity.name)
    return found


def _forecast(outlook: Outlook) -> Spoken | None:
    """Whoever speaks for a quantity no station measures; rain is asked first."""
    asked = [outlook.spoken["rain_mm_h"], *outlook.spoken.values()]
    return next((s for s in asked if s.source is not None and not s.measured), None)
