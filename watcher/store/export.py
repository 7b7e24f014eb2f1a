"""Readings as a table other programs read: comma-separated, SI, UTC."""

import csv
from collections.abc import Iterable, Mapping
from datetime import UTC, datetime
from typing import TextIO

from sqlalchemy import select
from sqlalchemy.orm import Session

from watcher.sources.base import Flag
from watcher.store.tables import Observation
from watcher.weather.series import QUANTITIES

HEADINGS = {
    "wind_m_s": "wind (m/s)",
    "gust_m_s": "gust (m/s)",
    "wind_from_deg": "wind from (deg true)",
    "wind_spread_deg": "wind direction standard deviation (deg)",
    "temp_c": "temperature (degC)",
    "temp_upper_c": "temperature at upper height (degC)",
    "humidity_pct": "relative humidity (%)",
    "dew_point_c": "dew point (degC)",
    "pressure_pa": "station pressure (Pa)",
    "rain_mm_h": "rain rate (mm/h)",
    "rain_chance_pct": "chance of rain (%)",
    "cloud_pct": "cloud cover (%)",
    "solar_w_m2": "global radiation (W/m2)",
    "net_w_m2": "net radiation (W/m2)",
}
_ROWS_AT_ONCE = 1000


def write_observations(
    session: Session, sources: Iterable[str], start: int, end: int, out: TextIO
) -> int:
    """Write the readings with ``start <= time < end`` of each source; return how many.

    One line a reading, by source and time. A missing value is an empty cell; ``flags`` says which
    values quality control doubts and why. Memory does not grow with the range: read in a
    ``Log.reading`` session. A file must be opened with ``newline=""``.
    """
    lines = csv.writer(out)
    lines.writerow(["source", "time (UTC)", *(HEADINGS[name] for name in QUANTITIES), "flags"])
    written = 0
    for source in sources:
        rows = session.execute(
            select(
                Observation.time,
                Observation.flags,
                *(getattr(Observation, name) for name in QUANTITIES),
            )
            .where(Observation.source == source, Observation.time >= start, Observation.time < end)
            .order_by(Observation.time)
            .execution_options(yield_per=_ROWS_AT_ONCE)
        )
        for time, flags, *values in rows:
            lines.writerow([source, _utc(time), *values, flag_words(flags or {})])
            written += 1
    return written


def flag_words(flags: Mapping[str, int]) -> str:
    """Return findings as words: ``"wind_m_s: step, stuck; temp_c: range"``."""
    return "; ".join(
        f"{name}: {', '.join(_word(flag) for flag in Flag(bits))}" for name, bits in flags.items()
    )


def _word(flag: Flag) -> str:
    return (flag.name or str(flag.value)).lower().replace("_", " ")


def _utc(time: int) -> str:
    return datetime.fromtimestamp(time, UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
