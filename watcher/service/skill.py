"""What was said of jobs against what came of them, and feed against feed by lead."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np
from numpy.typing import NDArray
from sqlalchemy.orm import Session

from watcher.farm import Farm
from watcher.forecasts import scores, verification
from watcher.forecasts.history import DAY_S
from watcher.forecasts.rain_verification import RainOff, verified_rain
from watcher.forecasts.scores import FEWEST_DAYS, Bar, Skill
from watcher.forecasts.verification import Verified
from watcher.service.forecast_history import past
from watcher.store import chances
from watcher.weather.series import Seconds


@dataclass(frozen=True)
class FeedErrors:
    """What each feed was off by here, by its name, and by quantity which is least off.

    ``least`` has how much less its error is in the first day than that of the next best feed.
    """

    feeds: Mapping[str, Verified]
    least: Mapping[str, tuple[str, Bar]]
    rain: Mapping[str, Sequence[RainOff]]
    """By lead, by the feed's name."""


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


def feed_errors(session: Session, farm: Farm, since: int) -> FeedErrors | None:
    """Return what each feed was off by from a time on; ``None`` under ``FEWEST_DAYS`` days."""
    found = past(session, farm, since)
    if found is None:
        return None
    feeds, history = found
    if np.unique(history.at // DAY_S).size < FEWEST_DAYS:
        return None
    verified = verification.verified(history, _hours(history.times, farm))
    return FeedErrors(
        dict(zip(feeds, verified, strict=True)),
        {
            name: (feeds[best[0]], best[1])
            for name in verification.QUANTITIES
            if (best := verification.least_off(name, history)) is not None
        },
        dict(zip(feeds, verified_rain(history), strict=True)),
    )


def _hours(times: Seconds, farm: Farm) -> NDArray[np.int64]:
    """Return the hour of the farm's day of times of any shape."""
    unique, of = np.unique(times, return_inverse=True)
    hours = [datetime.fromtimestamp(time, farm.zone).hour for time in unique.tolist()]
    return np.array(hours, dtype=np.int64)[of].reshape(times.shape)
