"""Readings taken by hand during a job: how they are written, and the one that counts now."""

from collections.abc import Mapping

from sqlalchemy.orm import Session

from watcher.judge.by_hand import COUNTS_S, HandReading
from watcher.store import jobs
from watcher.units import read
from watcher.weather.quantities import BY_NAME

MEASURED = ("wind", "gust", "wind_from", "temperature", "humidity")
"""What a meter in the hand tells, by its name in the farm file."""
EVENT = "measured by hand"


def understood(written: Mapping[str, str]) -> dict[str, float]:
    """Return written quantities by their columns, SI. Raises ValueError, saying what would do."""
    found = {}
    for name, text in written.items():
        quantity = BY_NAME[name]
        value = read(text, quantity.kind)
        within = [r for r in quantity.ranges if not r.low <= value <= r.high]
        if within:
            raise ValueError(f"{name} {text[:40]!r} cannot be; look at the meter and its unit")
        found[quantity.column] = value
    if not found:
        raise ValueError(f"nothing was measured; write one of {', '.join(MEASURED)} with its unit")
    if "gust_m_s" in found and found["gust_m_s"] < found.get("wind_m_s", float("inf")):
        raise ValueError("a gust is read with its wind, and is no less than that; write both")
    return found


def counting(session: Session, now: int) -> list[HandReading]:
    """Return the newest reading that counts then of each job that goes on. ``now``: epoch s."""
    newest = {job.id: (job, e) for job, e in jobs.noted(session, EVENT, now - COUNTS_S, now)}
    return [
        HandReading(job.field, job.setup, event.at, event.detail["measured"])
        for job, event in newest.values()
    ]
