"""The two bodies of api.weather.gov that carry weather: a grid cell's forecast layers, and a
station's observations. Both say their units value by value, as WMO unit codes.
"""

import re
from collections.abc import Mapping, Sequence
from math import isfinite

import numpy as np

from watcher.sources.base import Flag, GivenValues, Observations, Statistic
from watcher.sources.feeds.body import HOUR_S, in_si, numbers, utc_epoch
from watcher.sources.json_text import Body, fit
from watcher.sources.quality.check import future_flags
from watcher.sources.stations import metar_groups
from watcher.sources.stations.rows import at_least, at_most
from watcher.units import Kind
from watcher.weather.air import humidity
from watcher.weather.series import Bound, Floats, Seconds, Site, WeatherSeries

PAST_H, AHEAD_H = 24, 240
"""Hours of the grid that are read, before and after now."""
MAX_APART_DEG = 0.1
"""How far the grid cell may lie from the place: cells are 2.5 km wide."""

_LAYERS = {
    "wind_m_s": ("windSpeed", Kind.SPEED),
    "gust_m_s": ("windGust", Kind.SPEED),
    "wind_from_deg": ("windDirection", Kind.ANGLE),
    "temp_c": ("temperature", Kind.TEMPERATURE),
    "humidity_pct": ("relativeHumidity", Kind.PERCENT),
    "dew_point_c": ("dewpoint", Kind.TEMPERATURE),
    "cloud_pct": ("skyCover", Kind.PERCENT),
    "rain_mm_h": ("quantitativePrecipitation", Kind.RAIN_RATE),
    "rain_chance_pct": ("probabilityOfPrecipitation", Kind.PERCENT),
}
_STATISTICS: Mapping[str, Statistic] = {
    "wind_m_s": "maximum",
    "gust_m_s": "maximum",
    "rain_mm_h": "sum",
    "rain_chance_pct": "probability",
}
"""What each layer tells of its intervals (the service's own description of its grid)."""
# Rain is not among them: a station's sums are of periods that vary with the report. Nor is
# pressure: barometricPressure is the altimeter setting, reduced to sea level.
_MEASURED = {
    name: _LAYERS[name]
    for name in (
        "wind_m_s",
        "gust_m_s",
        "wind_from_deg",
        "temp_c",
        "humidity_pct",
        "dew_point_c",
    )
}
_BY_REPORT = ("cloud_pct", "ceiling_m")
"""What is read from raw reports alone: the layers beside them say the same."""
_SPELLINGS = {
    "km_h-1": "km/h",
    "m_s-1": "m/s",
    "degree_(angle)": "deg",
    "mm": "mm/h",
}
_DURATION = re.compile(r"P(?:(\d{1,3})D)?(?:T(?:(\d{1,3})H)?(?:(\d{1,3})M)?)?")
_RAW = re.compile(r"\b[A-Z][A-Z0-9]{3}\s+\d{6}Z\s")
LONGEST_RAW = 1500
"""Characters of a raw report that are read; they have a tenth of it (no source)."""
_AERODROME = re.compile(r"/[KPT][A-Z]{3}$")
"""Location indicators of the United States (from memory); other networks have longer names."""
_DOUBTED = frozenset("XQB")
"""MADIS letters: failed, questioned, found bad by a person."""


class _Valued(Body):
    unitCode: str | None = None  # noqa: N815 - the feed's spelling
    value: float | None = None
    qualityControl: str = ""  # noqa: N815


class _Interval(Body):
    validTime: str  # noqa: N815
    value: float | None


class _Layer(Body):
    values: list[_Interval]
    uom: str | None = None


class _Polygon(Body):
    coordinates: list[list[list[float]]]


class _GridProperties(Body):
    updateTime: str  # noqa: N815
    elevation: _Valued = _Valued()


class _Grid(Body):
    geometry: _Polygon
    properties: _GridProperties


class _Point(Body):
    coordinates: list[float]


class _Feature(Body):
    geometry: _Point | None = None
    properties: dict[str, object]


class _Features(Body):
    features: list[_Feature] | None


class _Report(Body):
    timestamp: str
    elevation: _Valued = _Valued()


def grid_forecast(
    body: object, *, source: str, place: tuple[float, float], elevation_m: float, now: int
) -> tuple[int, WeatherSeries]:
    """Return issue time and hourly series of a grid cell; ``ValueError`` for an odd body.

    Equal hours come merged into one interval and are split again; a layer says nothing
    beyond its own intervals. Winds and gusts are the highest of their interval. Rain comes as an
    amount for several hours, mostly six: each has its mean rate, and all of it may fall in any one
    of them, which is the bound of each. ``elevation_m`` stands in where the body has none.
    """
    grid = fit(_Grid, body)
    site = _cell_site(grid, place, elevation_m)
    layers = {name: _layer(body, key) for name, (key, _) in _LAYERS.items()}
    times = _hours(layers, now)
    found = {name: _spread(layer, times, name) for name, layer in layers.items() if layer.values}
    bounds = {}
    if rain := layers["rain_mm_h"].values:
        hours, amount = _spread_hours(rain, times), found["rain_mm_h"]
        several = hours > 1.0
        found["rain_mm_h"] = amount / np.maximum(hours, 1.0)
        bounds["rain_mm_h"] = (np.where(several, 0.0, np.nan), np.where(several, amount, np.nan))
    series = WeatherSeries.of(times, site, source, found, bounds)
    return utc_epoch(grid.properties.updateTime), _trimmed(series)


def grid_as_given(body: object) -> tuple[GivenValues, ...]:
    """Return the layers of a grid cell as they are given, interval by interval."""
    found = []
    for name, (key, kind) in _LAYERS.items():
        layer = _layer(body, key)
        if not layer.values:
            continue
        spans = np.array([_interval(each) for each in layer.values], dtype=np.int64)
        values = numbers([each.value for each in layer.values], key)
        values = in_si(values, _unit(layer.uom), kind, _SPELLINGS)
        order = np.argsort(spans[:, 0], kind="stable")
        starts, ends = spans[order].T
        statistic = _STATISTICS.get(name, "instant")
        found.append(GivenValues(name, statistic, starts, ends - starts, values[order]))
    return tuple(found)


def _layer(body: object, key: str) -> _Layer:
    """Return a layer, empty when the office does not make it."""
    properties = body["properties"] if isinstance(body, Mapping) else {}
    try:
        return fit(_Layer, properties.get(key, {"values": []}))
    except ValueError as error:
        raise ValueError(f"{key}.{error}") from error


def _hours(layers: Mapping[str, _Layer], now: int) -> Seconds:
    """Return whole hours around now, and every other time at which some value begins."""
    hour = now // HOUR_S
    hours = np.arange(hour - PAST_H, hour + AHEAD_H, dtype=np.int64) * HOUR_S
    begins = {_interval(each)[0] for layer in layers.values() for each in layer.values}
    within = [begin for begin in begins if hours[0] <= begin <= hours[-1]]
    return np.union1d(hours, np.array(within, dtype=np.int64))


def _spread(layer: _Layer, times: Seconds, name: str) -> Floats:
    """Return the layer's value at each time, NaN outside its intervals; of rain the amount, or the
    rate where it is of less than an hour.
    """
    spans = np.array([_interval(each) for each in layer.values], dtype=np.int64)
    values = numbers([each.value for each in layer.values], _LAYERS[name][0])
    values = in_si(values, _unit(layer.uom), _LAYERS[name][1], _SPELLINGS)
    order = np.argsort(spans[:, 0], kind="stable")
    (starts, ends), values = spans[order].T, values[order]
    if name == "rain_mm_h":
        values = values / np.minimum((ends - starts) / HOUR_S, 1.0)
    index = np.searchsorted(starts, times, side="right") - 1
    return np.where((index >= 0) & (times < ends[index]), values[index], np.nan)


def _spread_hours(values: Sequence[_Interval], times: Seconds) -> Floats:
    """Return how long the interval is that stands at each time, NaN outside of all. [h]"""
    spans = np.array(sorted(_interval(each) for each in values), dtype=np.int64)
    starts, ends = spans.T
    index = np.searchsorted(starts, times, side="right") - 1
    within = (index >= 0) & (times < ends[index])
    return np.where(within, (ends - starts)[index] / HOUR_S, np.nan)


def _interval(each: _Interval) -> tuple[int, int]:
    """Return begin and end of ``2026-06-12T06:00:00+00:00/PT5H``. Months and years are refused."""
    start, _, duration = each.validTime.partition("/")
    match = _DURATION.fullmatch(duration)
    days, hours, minutes = (int(part or 0) for part in match.groups()) if match else (0, 0, 0)
    seconds = (days * 24 + hours) * HOUR_S + minutes * 60
    if seconds == 0:
        raise ValueError(f"validTime {each.validTime[:60]!a} is no interval of days and hours")
    begin = utc_epoch(start)
    return begin, begin + seconds


def _trimmed(series: WeatherSeries) -> WeatherSeries:
    """Return the series from its first to its last time with any value."""
    known = np.flatnonzero(
        np.any([np.isfinite(values) for values in series.quantities().values()], axis=0)
    )
    return series.at(slice(int(known[0]), int(known[-1]) + 1) if known.size else slice(0, 0))


def _cell_site(grid: _Grid, place: tuple[float, float], elevation_m: float) -> Site:
    rings = grid.geometry.coordinates
    if not rings or len(rings[0]) < 4 or any(len(corner) != 2 for corner in rings[0]):
        raise ValueError("geometry.coordinates is no polygon")
    longitude, latitude = np.mean(rings[0][:-1], axis=0).tolist()
    if max(abs(latitude - place[0]), abs(longitude - place[1])) > MAX_APART_DEG:
        raise ValueError(f"the grid cell is at {latitude:.3f}, {longitude:.3f}, not {place}")
    return Site(latitude, longitude, _metres(grid.properties.elevation, elevation_m))


def _metres(elevation: _Valued, otherwise: float) -> float:
    if elevation.value is None:
        return otherwise
    return float(in_si(np.array(elevation.value), _unit(elevation.unitCode), Kind.LENGTH, {}))


def _unit(code: str | None) -> str | None:
    """Return a unit code without its prefix (``wmoUnit:`` now, ``unit:`` in older bodies)."""
    return code.rpartition(":")[2] if code else None


def station_observations(
    body: object,
    *,
    source: str,
    place: tuple[float, float],
    elevation_m: float,
    wind_height_m: float,
    oldest: int,
    now: int,
) -> Observations:
    """Return a station's reports not before ``oldest``; ``ValueError`` for an odd body.

    Each report keeps its own time and its own gaps: a direction that is null was variable or calm.
    A value that is null is read from the raw report where that is there. A gust that is given in
    neither has, at an aerodrome, the bounds of the rules it reports by (``metar_groups``); of other
    networks it is unknown. Where the feed doubts a value it is flagged. Of two reports of one time
    the first that has a value counts: the feed sends a report again when more of it has come.
    """
    features = [f for f in fit(_Features, body).features or [] if _time(f) >= oldest]
    times = np.array(sorted({_time(feature) for feature in features}), dtype=np.int64)
    arrays, flags = {}, {}
    for name in _MEASURED:
        arrays[name], flags[name] = _column(features, times, name)
    for name in _BY_REPORT:
        arrays[name] = np.full(times.size, np.nan)
        flags[name] = np.zeros(times.size, dtype=np.uint16)
    bounds = _from_reports(features, times, arrays)
    site = _station_site(features, place, elevation_m, wind_height_m)
    for name, ahead in future_flags(times, arrays, now).items():
        flags[name] |= ahead
    found = {name: column for name, column in flags.items() if column.any()}
    series = WeatherSeries.of(times, site, source, arrays, bounds)
    for name in bounds:
        series = series.unbounded((name,), np.isfinite(arrays[name]))
    return Observations(series, found)


def _from_reports(
    features: Sequence[_Feature], times: Seconds, arrays: Mapping[str, Floats]
) -> dict[str, Bound]:
    """Fill what is missing from the raw reports; return the bounds that the reports give."""
    bounds: dict[str, Bound] = {}
    for feature in features:
        at = int(np.searchsorted(times, _time(feature)))
        raw = feature.properties.get("rawMessage")
        row = _raw_values(raw) if isinstance(raw, str) and len(raw) <= LONGEST_RAW else {}
        if not row and _is_aerodrome(feature):
            row = metar_groups.unreported_gust(float(arrays["wind_m_s"][at]))
        for name in arrays:
            if np.isnan(arrays[name][at]):
                arrays[name][at] = row.get(name, np.nan)
            for side, bound in enumerate((at_least(name), at_most(name))):
                if bound in row:
                    none = np.full(times.size, np.nan)
                    bounds.setdefault(name, (none, none.copy()))[side][at] = row[bound]
    return bounds


def _raw_values(raw: str) -> dict[str, float]:
    """Return what a raw report says, as values of a row; nothing of a text that is none."""
    if not _RAW.search(raw):
        return {}
    temp_c, dew_point_c = (np.asarray(value) for value in metar_groups.temperatures(raw))
    row = (
        metar_groups.wind(raw)
        | metar_groups.cloud(raw)
        | {
            "temp_c": float(temp_c),
            "dew_point_c": float(dew_point_c),
            "humidity_pct": float(humidity(temp_c=temp_c, dew_point_c=dew_point_c)),
        }
    )
    return {name: value for name, value in row.items() if isfinite(value)}


def _is_aerodrome(feature: _Feature) -> bool:
    station = feature.properties.get("station")
    return isinstance(station, str) and bool(_AERODROME.search(station))


def _time(feature: _Feature) -> int:
    return utc_epoch(fit(_Report, feature.properties).timestamp)


def _column(
    features: Sequence[_Feature], times: Seconds, name: str
) -> tuple[Floats, np.ndarray[tuple[int], np.dtype[np.uint16]]]:
    values, flags = np.full(times.size, np.nan), np.zeros(times.size, dtype=np.uint16)
    key, kind = _MEASURED[name]
    for feature in features:
        measured = feature.properties.get(key)
        if measured is None:
            continue
        reading = fit(_Valued, measured)
        at = int(np.searchsorted(times, _time(feature)))
        if reading.value is not None and np.isnan(values[at]):
            values[at] = in_si(np.array(reading.value), _unit(reading.unitCode), kind, _SPELLINGS)
            letter = reading.qualityControl.rpartition(":")[2]
            flags[at] = Flag.SUSPECT_SOURCE if letter in _DOUBTED else Flag.GOOD
    return values, flags


def _station_site(
    features: Sequence[_Feature],
    place: tuple[float, float],
    elevation_m: float,
    wind_height_m: float,
) -> Site:
    if not features:
        return Site(*place, elevation_m, wind_height_m)
    latitude, longitude = place
    if (point := features[0].geometry) is not None:
        if len(point.coordinates) < 2:
            raise ValueError("geometry.coordinates is no point")
        longitude, latitude = point.coordinates[:2]
    report = fit(_Report, features[0].properties)
    return Site(latitude, longitude, _metres(report.elevation, elevation_m), wind_height_m)
