"""Figures of the weather as the newest judgement had it, by station and by field.

What is not known is NaN: it is no number, and no query finds it below a bound.
"""

from collections.abc import Iterator

import numpy as np
from prometheus_client.core import GaugeMetricFamily, Metric, StateSetMetricFamily

from watcher.judge.timeline import Timeline
from watcher.messages.air_now import AirNow, air_at
from watcher.service.snapshot import Snapshot
from watcher.weather.inversion import Finding

_OF_STATION = {
    "wind_m_s": ("wind_meters_per_second", "Mean wind of the last ten minutes", 1.0),
    "gust_m_s": ("gust_meters_per_second", "Highest gust of the last ten minutes", 1.0),
    "wind_from_deg": ("wind_from_degrees", "Where the wind comes from, clockwise from north", 1.0),
    "temp_c": ("temperature_celsius", "Temperature of the air", 1.0),
    "humidity_pct": ("humidity_ratio", "Relative humidity", 0.01),
}
_OF_FIELD = {
    "boom_wind_m_s": ("boom_wind_meters_per_second", "Mean wind at the boom of its setup", 1.0),
    "boom_gust_m_s": ("boom_gust_meters_per_second", "Gust at the boom of its setup", 1.0),
    "mast_wind_m_s": ("mast_wind_meters_per_second", "Mean wind as its sensor has it", 1.0),
    "mast_gust_m_s": ("mast_gust_meters_per_second", "Gust as its sensor has it", 1.0),
    "wind_from_deg": ("wind_from_degrees", "Where the wind comes from, clockwise from north", 1.0),
    "temp_c": ("temperature_celsius", "Temperature of the air", 1.0),
    "humidity_pct": ("humidity_ratio", "Relative humidity", 0.01),
    "delta_t_k": ("delta_t_kelvin", "Wet-bulb depression", 1.0),
}


def of_stations(snapshot: Snapshot) -> Iterator[Metric]:
    """Yield what each station reports and is believed in, and the inversion that follows."""
    found: dict[str, dict[str, float]] = {name: {} for name in _OF_STATION}
    signs: dict[str, Finding] = {}
    for look in (snapshot.timeline, *snapshot.timeline.others):
        for name, by_source in found.items():
            spoken = look.spoken[name]
            if spoken.measured and spoken.source is not None:
                by_source[spoken.source] = float(getattr(look.series, name)[look.now_index])
        speaker = look.spoken["temp_c"].source
        if speaker is not None and look.fields:
            signs[speaker] = _inversion(snapshot, look)
    for name, (ending, words, share) in _OF_STATION.items():
        family = GaugeMetricFamily(f"watcher_station_{ending}", words, labels=["source"])
        for source, value in sorted(found[name].items()):
            family.add_metric([source], value * share)
        yield family
    words = "Signs of an inversion, by who tells the temperature"
    states = StateSetMetricFamily("watcher_inversion", words, labels=["source"])
    for source, sign in sorted(signs.items()):
        states.add_metric([source], {one.name.lower(): one is sign for one in Finding})
    yield states


def of_fields(snapshot: Snapshot) -> Iterator[Metric]:
    """Yield the air over each field at the boom of its setup."""
    judgement = snapshot.judgement
    airs: dict[str, AirNow] = {}
    for field, seen in snapshot.ranking.every.items():
        if seen.setup is None:
            continue
        look = snapshot.timeline.of(field)
        airs[field] = air_at(judgement, look, look.now, field, seen.setup)
    for name, (ending, words, share) in _OF_FIELD.items():
        family = GaugeMetricFamily(f"watcher_field_{ending}", words, labels=["field"])
        for field, air in airs.items():
            family.add_metric([field], float(getattr(air, name)) * share)
        yield family


def margins(snapshot: Snapshot) -> Iterator[Metric]:
    """Yield the margin left to each field's limits, and to the one that binds."""
    words = "Room to a limit as a share of its scale, negative when broken, NaN when unknown"
    every = GaugeMetricFamily("watcher_field_margin_ratio", words, labels=["field", "limit"])
    words = "Room to the limit that binds; NaN while that one is unknown"
    least = GaugeMetricFamily("watcher_field_least_margin_ratio", words, labels=["field"])
    for field, seen in snapshot.ranking.every.items():
        for reason in seen.reasons:
            every.add_metric([field, reason.limit.value], reason.headroom)
        least.add_metric([field], seen.binding.headroom)
    yield from (every, least)


def _inversion(snapshot: Snapshot, look: Timeline) -> Finding:
    judgement = snapshot.judgement
    field = judgement.plan.fields.index(look.fields[0])
    inversion = judgement.of_field(field).inversion
    return Finding(int(inversion.finding[np.searchsorted(inversion.times, look.now)]))
