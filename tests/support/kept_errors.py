"""Invented forecasts of past days with what was measured, whose errors are known."""

from collections.abc import Callable

import numpy as np
from sqlalchemy.orm import Session

from watcher.forecasts.history import DAY_S, HOUR_S, PATH_H
from watcher.store import chances
from watcher.weather.series import Floats, Seconds, Site

_EVERY_S = 3 * HOUR_S


def always(times: Seconds) -> Floats:
    """An error that never changes."""
    return np.ones(times.shape)


def keep(
    session: Session,
    pair: tuple[str, str],
    site: Site,
    now: int,
    days: int,
    *,
    off: Callable[[Seconds], Floats] = always,
) -> None:
    """Keep forecasts of a feed for a station whose wind was too high by ``off``, all else right.

    It rains 1 mm/h in every fourth hour; the feed foretells that, and as much in as many dry hours.
    """
    feed, station = pair
    over = now // _EVERY_S * _EVERY_S - 4 * DAY_S
    first = -(-(over - days * DAY_S) // DAY_S) * DAY_S
    measured = {name: np.full(PATH_H.shape, np.nan) for name in chances.KEPT}
    known = {"wind_m_s": 4.0, "gust_m_s": 6.0, "wind_from_deg": 180.0, "temp_c": 20.0}
    measured |= {name: np.full(PATH_H.shape, value) for name, value in known.items()}
    for at in range(first, first + days * DAY_S, _EVERY_S):
        hour = at // HOUR_S + PATH_H
        measured |= {"rain_mm_h": np.where(hour % 4 == 0, 1.0, 0.0)}
        wind = measured["wind_m_s"] + off(at + HOUR_S * PATH_H)
        foretold = measured | {
            "wind_m_s": wind,
            "rain_mm_h": np.where(hour % 2 == 0, 1.0, 0.0),
        }
        chances.put_foretold(session, feed, station, site, at=at, foretold=foretold)
        chances.put_measured(session, feed, station, at, measured)
