"""The hours of the issues in use, read once: every reading of a station asks for them again.

An issue's hours change only when its feed stands by it again, which moves its ``fetched_at``.
"""

from collections.abc import Callable
from typing import Any

from sqlalchemy.orm import Session

from watcher.store.tables import IssuedForecast
from watcher.weather.series import WeatherSeries

_MOST = 8
"""Issues held of one log: a farm has a feed or two, a look back asks for others."""
_KEY = "issue hours"

Held = dict[tuple[int, int], WeatherSeries]


def holding() -> dict[str, Any]:
    """Return what all sessions of one log are given, to hold hours in."""
    return {_KEY: Held()}


def held(
    session: Session, issue: IssuedForecast, read: Callable[[], WeatherSeries]
) -> WeatherSeries:
    """Return the hours of an issue, ``read`` only where the log's sessions do not hold them."""
    holds: Held = session.info.get(_KEY, {})
    key = issue.id, issue.fetched_at
    found = holds.get(key)
    if found is None:
        found = read()
        while len(holds) >= _MOST:
            holds.pop(next(iter(holds)), None)
        holds[key] = found
    return found
