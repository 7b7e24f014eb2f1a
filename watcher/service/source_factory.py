"""From what the farm file says of a source to the thing that is asked, or the site that posts."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import assert_never

from pydantic import SecretStr

from watcher.farm import Farm
from watcher.farm.feeds import MappedJson, MetNorway, OpenMeteo, Source, UsWeatherService
from watcher.farm.stations import MqttStation, PushStation, Station
from watcher.service.sites import site_of
from watcher.service.station_factory import polled_stations
from watcher.sources.base import PolledSource
from watcher.sources.feeds import mapped_json, met_norway, nws, open_meteo
from watcher.sources.http import FeedClient
from watcher.sources.stations.post_mapping import ARRIVAL, PostMapping
from watcher.weather.measures import Measure
from watcher.weather.series import Site
from watcher.written_secrets import with_key


def polled_sources(
    farm: Farm, client: FeedClient, api_keys: Mapping[str, SecretStr]
) -> dict[str, PolledSource]:
    """Build every source of the farm that is asked."""
    feeds = {
        name: _polled(name, entry, farm, client, api_keys.get(name))
        for name, entry in farm.config.sources.items()
        if not isinstance(entry, Station)
    }
    return feeds | polled_stations(farm, client, api_keys)


def _polled(
    name: str, entry: Source, farm: Farm, client: FeedClient, key: SecretStr | None
) -> PolledSource:
    latitude, longitude = farm.ground.middle
    match entry:
        case UsWeatherService():
            return nws.UsWeatherServiceFeed(
                name=name,
                client=client,
                latitude=latitude,
                longitude=longitude,
                station=entry.station,
                station_wind_height_m=entry.heights.wind,
                every_s=entry.every,
                base_url=entry.base_url,
            )
        case MetNorway():
            return met_norway.MetNorwayFeed(
                name=name,
                client=client,
                latitude=latitude,
                longitude=longitude,
                every_s=entry.every,
                base_url=entry.base_url,
            )
        case OpenMeteo():
            return open_meteo.OpenMeteoFeed(
                name=name,
                client=client,
                latitude=latitude,
                longitude=longitude,
                every_s=entry.every,
                base_url=entry.base_url,
                api_key=key.get_secret_value() if key else None,
            )
        case MappedJson():
            return mapped_json.MappedJsonFeed(
                name=name,
                client=client,
                site=site_of(farm, entry),
                url=with_key(entry.url, key.get_secret_value() if key else None),
                gives=entry.gives,
                times=entry.times,
                issued=entry.issued,
                quantities={q: (m.at, m.unit) for q, m in entry.quantities.items()},
                attribution=entry.attribution or "",
                every_s=entry.every,
            )
        case Station():
            raise ValueError(f"source {name!r} posts by itself; it is never asked")
        case _:
            assert_never(entry)


@dataclass(frozen=True)
class PostingStation:
    """A station that posts by itself: where it stands, and what its own names mean."""

    site: Site
    mapping: PostMapping | None


def posting_stations(farm: Farm) -> dict[str, PostingStation]:
    """Every station that posts by itself."""
    return {
        name: PostingStation(site_of(farm, entry), post_mapping(entry))
        for name, entry in farm.config.sources.items()
        if isinstance(entry, PushStation)
    }


def post_mapping(entry: PushStation | MqttStation) -> PostMapping | None:
    """What a station's own names mean, None for one that uses ours."""
    if not entry.quantities:
        return None
    posts = entry if isinstance(entry, PushStation) else None
    return PostMapping.of(
        {q: (m.at, Measure.of(q, m.unit, m.reported_as)) for q, m in entry.quantities.items()},
        time=entry.time if posts or entry.time else ARRIVAL,
        form=entry.time_format,
        zone=entry.time_zone,
        readings=posts.readings if posts else None,
        missing=posts.missing if posts else (),
        clock_ahead_s=entry.clock_ahead,
    )
