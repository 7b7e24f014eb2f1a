"""The sun: where it stands, when it rises and sets, and how much a clear sky would give.

Sunrise and sunset are asked for relative to an instant (the last one before it, the next one after
it), never of a calendar day: east and west of Greenwich the calendar day of UTC is not the day of
the field, and no date is needed to know how long the sun has been up.

``times`` are epoch seconds (UTC), latitude and longitude degrees north and east; all broadcast.
Valid for the years 1950 to 2100. NaN, or a place off the globe, gives NaN. Rise and set are of the
upper limb with standard refraction at a level horizon: centre of the disc 0.833 degrees below it.
In polar day and polar night there is none: NaN, and ``day_length`` tells which of the two it is.

Source: J. Meeus, Astronomical Algorithms, 2nd ed., chapter 25 (low accuracy, 0.01 degree) and 12.
"""

from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

SET_ELEVATION_DEG = -0.833
_SINE_AT_SET = float(np.sin(np.radians(SET_ELEVATION_DEG)))

_J2000_S = 946_728_000.0  # 2000-01-01 12:00 UTC
# Terrestrial less universal time; 64 s in 2000, 69 s in 2020 and slowly growing. Ten seconds move
# the sun by 0.0001 degree.
_DELTA_T_S = 69.0
_DAY_S, _HOUR_S = 86_400.0, 3600.0
_S_PER_DEGREE = 240.0
_RISE, _NOON, _SET = -1.0, 0.0, 1.0
# Near polar day the sun rises tens of minutes later than the day before; one longer ago than this
# belongs to a day of its own.
_LONGEST_WAIT_S = 25.0 * 3600.0


def elevation(*, times: ArrayLike, latitude: ArrayLike, longitude: ArrayLike) -> Floats:
    """Return the sun's elevation above the horizon, degrees, of its centre without refraction."""
    declination, hour_angle, lat = _local(times, latitude, longitude)
    across = np.cos(lat) * np.cos(declination)
    sine = np.sin(lat) * np.sin(declination) + across * np.cos(hour_angle)
    above: Floats = np.degrees(np.arcsin(np.minimum(np.maximum(sine, -1.0), 1.0)))
    return above


def azimuth(*, times: ArrayLike, latitude: ArrayLike, longitude: ArrayLike) -> Floats:
    """Return the bearing of the sun, degrees from true north clockwise, [0, 360)."""
    declination, hour_angle, lat = _local(times, latitude, longitude)
    westward = np.sin(hour_angle)
    southward = np.cos(hour_angle) * np.sin(lat) - np.tan(declination) * np.cos(lat)
    bearing: Floats = (np.degrees(np.arctan2(westward, southward)) + 180.0) % 360.0
    return bearing


def solar_noon(*, times: ArrayLike, longitude: ArrayLike) -> Floats:
    """Return solar noon, epoch seconds, of the mean solar day that each time lies in."""
    return _event(_day_number(times, longitude), 0.0, longitude, _NOON)


def day_length(*, times: ArrayLike, latitude: ArrayLike, longitude: ArrayLike) -> Floats:
    """Return the hours from sunrise to sunset, from the declination at ``solar_noon``.

    24 tells a polar day and 0 a polar night, both exactly.
    """
    noon = solar_noon(times=times, longitude=longitude)
    declination, _, lat = _local(noon, latitude, longitude)
    cosine = np.minimum(np.maximum(_cosine_at_set(declination, lat), -1.0), 1.0)
    return np.degrees(np.arccos(cosine)) * 2.0 / 15.0


def previous_sunrise(*, times: ArrayLike, latitude: ArrayLike, longitude: ArrayLike) -> Floats:
    """Return the last sunrise at or before each time, epoch seconds; NaN if over 25 h ago."""
    return _previous(times, latitude, longitude, _RISE)


def previous_sunset(*, times: ArrayLike, latitude: ArrayLike, longitude: ArrayLike) -> Floats:
    """Return the last sunset at or before each time, epoch seconds; NaN if over 25 h ago."""
    return _previous(times, latitude, longitude, _SET)


def next_sunrise(*, times: ArrayLike, latitude: ArrayLike, longitude: ArrayLike) -> Floats:
    """Return the next sunrise after each time, epoch seconds; NaN if over 25 h ahead."""
    return _next(times, latitude, longitude, _RISE)


def next_sunset(*, times: ArrayLike, latitude: ArrayLike, longitude: ArrayLike) -> Floats:
    """Return the next sunset after each time, epoch seconds; NaN if over 25 h ahead."""
    return _next(times, latitude, longitude, _SET)


def hours_since_sunrise(*, times: ArrayLike, latitude: ArrayLike, longitude: ArrayLike) -> Floats:
    """Return the hours since the last sunrise, also at night; NaN in polar day and night."""
    rise = previous_sunrise(times=times, latitude=latitude, longitude=longitude)
    return (np.asarray(times, dtype=np.float64) - rise) / _HOUR_S


def hours_to_sunset(*, times: ArrayLike, latitude: ArrayLike, longitude: ArrayLike) -> Floats:
    """Return the hours until the next sunset, also at night; NaN in polar day and night."""
    sunset = next_sunset(times=times, latitude=latitude, longitude=longitude)
    return (sunset - np.asarray(times, dtype=np.float64)) / _HOUR_S


def clear_sky_w_m2(*, elevation_deg: ArrayLike) -> Floats:
    """Return the global radiation under a clear sky, W/m2, 0 with the sun down.

    Haurwitz (1945, J. Meteor. 2:154-166; constants as fitted in 1946): sea level, mid-latitude
    haze; a real clear sky is commonly within 10 % of it (value from memory).
    """
    sine = np.sin(np.radians(np.asarray(elevation_deg, dtype=np.float64)))
    up = np.where(sine > 0, sine, np.where(np.isnan(sine), np.nan, 1.0))
    return np.where(sine <= 0, 0.0, 1098.0 * up * np.exp(-0.059 / up))


def _sun(times: Floats) -> tuple[Floats, Floats]:
    """Return the apparent sun's declination and Greenwich hour angle, radians."""
    days = (times - _J2000_S) / _DAY_S
    t = (days + _DELTA_T_S / _DAY_S) / 36_525.0
    anomaly = np.radians(357.52911 + t * (35_999.05029 - 0.0001537 * t))
    node = np.radians(125.04 - 1934.136 * t)
    centre = (
        (1.914602 - t * (0.004817 + 0.000014 * t)) * np.sin(anomaly)
        + (0.019993 - 0.000101 * t) * np.sin(2.0 * anomaly)
        + 0.000289 * np.sin(3.0 * anomaly)
    )
    true_longitude = 280.46646 + t * (36_000.76983 + 0.0003032 * t) + centre
    nutation = -0.00478 * np.sin(node)
    longitude = np.radians(true_longitude - 0.00569 + nutation)
    obliquity = np.radians(23.439291 - 0.0130042 * t + 0.00256 * np.cos(node))
    ascension = np.arctan2(np.cos(obliquity) * np.sin(longitude), np.cos(longitude))
    declination = np.arcsin(np.sin(obliquity) * np.sin(longitude))
    sidereal = 280.46061837 + 360.98564736629 * days + nutation * np.cos(obliquity)
    return declination, np.radians(sidereal % 360.0) - ascension


def _local(
    times: ArrayLike, latitude: ArrayLike, longitude: ArrayLike
) -> tuple[Floats, Floats, Floats]:
    """Return declination, local hour angle and latitude, radians, NaN off the globe."""
    lat, lon = np.asarray(latitude, dtype=np.float64), np.asarray(longitude, dtype=np.float64)
    lat = np.where(np.abs(lat) <= 90.0, lat, np.nan)
    lon = np.where(np.abs(lon) <= 360.0, lon, np.nan)
    declination, greenwich = _sun(np.asarray(times, dtype=np.float64))
    return declination, greenwich + np.radians(lon), np.radians(lat)


def _hour_angle_at_set(declination: Floats, lat: Floats) -> Floats:
    """Return the hour angle of sunset, radians: NaN in polar day and night."""
    cosine = _cosine_at_set(declination, lat)
    angle: Floats = np.arccos(np.where(np.abs(cosine) <= 1.0, cosine, np.nan))
    return angle


def _cosine_at_set(declination: Floats, lat: Floats) -> Floats:
    """Return the cosine of that hour angle; over 1 in polar night, under -1 in polar day."""
    across: Floats = np.cos(lat) * np.cos(declination)
    return (_SINE_AT_SET - np.sin(lat) * np.sin(declination)) / across


def _event(day: Floats, latitude: ArrayLike, longitude: ArrayLike, side: float) -> Floats:
    """Return the rise (side -1), noon (0) or set (1) of a mean solar day, see ``_day_number``.

    Starts at mean noon and corrects by the hour angle still missing, with the sun's place of that
    moment; three corrections leave less than a second away from the edge of polar day.
    """
    moment = (day + 0.5 - np.asarray(longitude, dtype=np.float64) / 360.0) * _DAY_S
    for _ in range(3):
        declination, hour_angle, lat = _local(moment, latitude, longitude)
        wanted = side * _hour_angle_at_set(declination, lat) if side else 0.0
        missing = np.degrees(wanted - hour_angle)
        moment = moment + ((missing + 180.0) % 360.0 - 180.0) * _S_PER_DEGREE
    return moment


def _day_number(times: ArrayLike, longitude: ArrayLike) -> Floats:
    """Return the number of the mean solar day, from midnight to midnight at that longitude."""
    lon = np.asarray(longitude, dtype=np.float64)
    return np.floor(np.asarray(times, dtype=np.float64) / _DAY_S + lon / 360.0)


def _events_around(
    times: ArrayLike, latitude: ArrayLike, longitude: ArrayLike, side: float
) -> Floats:
    """Return the events of the day before, the day itself and the day after each time, [3, ...]."""
    day = _day_number(times, longitude)
    if np.ndim(latitude) == np.ndim(longitude) == 0:
        # One place: a year of hours has only 366 sunrises to work out.
        days, index = np.unique(day, return_inverse=True)
        place = np.asarray(latitude).item(), np.asarray(longitude).item()
        events = _events_of_days(tuple(days.tolist()), *place, side)
        return events[:, index]
    return np.stack([_event(day + step, latitude, longitude, side) for step in (-1, 0, 1)])


@lru_cache(maxsize=64)
def _events_of_days(
    days: tuple[float, ...], latitude: float, longitude: float, side: float
) -> Floats:
    """Return the same of whole days at one place, remembered: they are asked for every minute."""
    around = np.array(days) + np.array([[-1.0], [0.0], [1.0]])
    events = _event(around, latitude, longitude, side)
    events.flags.writeable = False
    return events


def _previous(times: ArrayLike, latitude: ArrayLike, longitude: ArrayLike, side: float) -> Floats:
    now = np.asarray(times, dtype=np.float64)
    events = _events_around(times, latitude, longitude, side)
    near = (events <= now) & (now - events <= _LONGEST_WAIT_S)
    last: Floats = np.fmax.reduce(np.where(near, events, np.nan))
    return last


def _next(times: ArrayLike, latitude: ArrayLike, longitude: ArrayLike, side: float) -> Floats:
    now = np.asarray(times, dtype=np.float64)
    events = _events_around(times, latitude, longitude, side)
    near = (events > now) & (events - now <= _LONGEST_WAIT_S)
    first: Floats = np.fmin.reduce(np.where(near, events, np.nan))
    return first
