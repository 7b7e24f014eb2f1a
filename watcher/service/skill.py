"""What was said of jobs against what came of them, and feed against feed by lead."""

from collections.abc import Mapping
from datetime import datetime

import numpy as np
from numpy.typing import NDArray
from sqlalchemy.orm import Session

from watcher.farm import Farm
from watcher.farm.feeds import foretells, observes
from watcher.forecasts import scores
from watcher.forecasts.history import HOUR_S, PATH_H
from watcher.forecasts.scores import FEWEST_DAYS, Bar, Skill
from watcher.store import chances

LEADS_H = ((1, 6), (7, 24), (25, 48))


def skill(session: Session, farm: Farm, since: int) -> Skill:
    """Compare the chances said from a time on with what came of them."""
    known = chances.known_said(session, since)
    zone = farm.zone
    starts = [datetime.fromtimestamp(one.starts_at, zone) for one in known]
    days = np.array([start.toordinal() for start in starts], dtype=np.int64)
    found = Skill(np.unique(days).size, len(known))
    if not found.enough:
        return found
    chance = np.array([one.chance for one in known])
    came = np.array([one.outcome == "held" for one in known])
    truth = np.array([float(one.foretold_open) for one in known])
    usual = scores.past_share(
        came,
        np.array([start.hour for start in starts], dtype=np.int64),
        np.array([float(one.ends_at) for one in known]),
        np.array([float(one.said_at) for one in known]),
    )

    def against(reference: NDArray[np.float64]) -> Bar:
        return scores.by_days(
            lambda at: scores.brier_skill(chance[at], reference[at], came[at]), days
        )

    return Skill(
        found.days,
        found.count,
        float(chance.mean()),
        float(came.mean()),
        tuple(scores.reliability(chance, came, days)),
        against(usual),
        against(truth),
    )


def wind_errors(session: Session, farm: Farm, since: int) -> Mapping[str, tuple[float, ...]]:
    """Return how far each feed's wind is usually off by lead, as ``LEADS_H`` has them. [m/s]

    The root mean square against the first station that measures wind; NaN where nothing is known.
    """
    sources = farm.config.sources
    station = next((n for n, e in sources.items() if observes(e) and "wind" in e.measures), None)
    found: dict[str, tuple[float, ...]] = {}
    for feed, entry in sources.items():
        if station is None or not foretells(entry):
            continue
        pairs = [p for p in chances.pairs(session, feed, station, since) if p.measured is not None]
        off = np.array(
            [p.measured["wind_m_s"] - p.foretold["wind_m_s"] for p in pairs if p.measured]
        ).reshape(len(pairs), PATH_H.size)
        days = {p.at // (24 * HOUR_S) for p in pairs}
        if len(days) >= FEWEST_DAYS:
            found[feed] = tuple(_rms(off[:, (a <= PATH_H) & (b >= PATH_H)]) for a, b in LEADS_H)
    return found


def _rms(off: NDArray[np.float64]) -> float:
    known = off[np.isfinite(off)]
    return float(np.sqrt(np.mean(known**2))) if known.size else float("nan")
