"""How old the weather is and who says so."""

import math

from watcher.alerts.wording.words import ago, name, span
from watcher.judge.outlook import Outlook, Spoken


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
    foretold = _forecast(outlook)
    if foretold is None:
        return (wind_line(outlook), "No forecast to rely on for the hours ahead.")
    ahead = f"Hours ahead: {name(str(foretold.source))}, fetched {ago(foretold.age_s)}."
    # Addresses and licence in full stand where there is room: on the pages and the command line.
    credit = name(outlook.attribution.partition(" (")[0], 80)
    return (wind_line(outlook), f"{ahead} {credit}." if credit else ahead)


def _forecast(outlook: Outlook) -> Spoken | None:
    """Whoever speaks for a quantity no station measures; rain is asked first."""
    asked = [outlook.spoken["rain_mm_h"], *outlook.spoken.values()]
    return next((s for s in asked if s.source is not None and not s.measured), None)
