"""Hours of the day as exact instants: when a rule by sun or clock opens and closes at a place."""

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from watcher.farm.rules.calendar import ClockRule
from watcher.farm.rules.day_time import DayTime
from watcher.weather.series import Floats, Seconds, Site
from watcher.weather.sun import next_sunrise, next_sunset

_DAY_START, _DAY_END = DayTime(None, clock=time(0)), DayTime(None, clock=time(0))
_SUNRISE, _SUNSET = DayTime("sunrise"), DayTime("sunset")
_MINUTE_S = 60.0


@dataclass(frozen=True)
class Openings:
    """When a rule is open, one span a day in order; NaN on a day without the sun's event. [N]"""

    opens: Floats
    closes: Floats

    def headroom(self, times: Seconds) -> tuple[Floats, Floats]:
        """Return when the span that each time lies in closes, and how far outside a time is. [T]

        ``closes`` is NaN outside every span. ``outside`` is 0 inside, the time to the next opening
        outside, NaN where that is not known. [epoch s], [s]
        """
        t = times.astype(np.float64)[:, None]
        inside = (self.opens <= t) & (t < self.closes)
        closes = np.where(inside, self.closes, np.nan)
        with np.errstate(invalid="ignore"):
            later = np.where(self.opens > t, self.opens - t, np.inf)
        unknown = (np.isnan(self.opens) | np.isnan(self.closes)).any()
        outside = np.where(inside.any(axis=1), 0.0, later.min(axis=1))
        if unknown:
            outside = np.where(outside > 0, np.nan, outside)
        return np.fmax.reduce(closes, axis=1), outside


def openings(rule: ClockRule, times: Seconds, site: Site, zone: ZoneInfo) -> Openings:
    """Return the spans of a rule over the days of some times, rounded inward to whole minutes."""
    first = datetime.fromtimestamp(int(times[0]), zone).date() - timedelta(days=1)
    last = datetime.fromtimestamp(int(times[-1]), zone).date() + timedelta(days=1)
    days = [first + timedelta(days=n) for n in range((last - first).days + 1)]
    opens, closes = _sides(rule)
    start = np.ceil(_instants(opens, days, site, zone) / _MINUTE_S) * _MINUTE_S
    next_day = _crosses(opens, closes)
    ends = [day + timedelta(days=1) for day in days] if next_day else days
    end = np.floor(_instants(closes, ends, site, zone) / _MINUTE_S) * _MINUTE_S
    with np.errstate(invalid="ignore"):
        end = np.where(end < start, start, end)  # nothing is left of that day
    return Openings(start, end)


def _sides(rule: ClockRule) -> tuple[DayTime, DayTime]:
    """Both sides; one left out is that of the sun for a time by the sun, else midnight."""
    opens, closes = rule.opens, rule.closes
    if opens is None:
        opens = _SUNRISE if closes is not None and closes.event else _DAY_START
    if closes is None:
        closes = _SUNSET if opens.event else _DAY_END
    return opens, closes


def _crosses(opens: DayTime, closes: DayTime) -> bool:
    """Whether what is open closes on the next day."""
    if opens.clock is not None and closes.clock is not None:
        return closes.clock <= opens.clock
    return closes.in_the_morning and not opens.in_the_morning


def _instants(at: DayTime, days: list[date], site: Site, zone: ZoneInfo) -> Floats:
    if at.clock is not None:
        local = [datetime.combine(day, at.clock, zone) for day in days]
        return np.array([moment.timestamp() for moment in local])
    event = next_sunrise if at.event == "sunrise" else next_sunset
    # From the local midnight on: the day's own event at any place whose clock goes by the sun.
    midnight = [datetime.combine(day, time(0), zone).timestamp() for day in days]
    found: Floats = event(times=midnight, latitude=site.latitude, longitude=site.longitude)
    same_day = found < np.array(midnight) + 86_400.0
    return np.where(same_day, found, np.nan) + at.after_s
