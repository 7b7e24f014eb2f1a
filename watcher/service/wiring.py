"""From what the farm file says of a source to the thing that is asked, or the site that posts."""

from collections.abc import Mapping
from typing import assert_never

from pydantic import SecretStr

from watcher.farm import Farm
from watcher.farm.feeds import MappedJson, MetNorway, OpenMeteo, Source, UsWeatherService
from watcher.farm.stations import PushStation, Station
from watcher.service.sites import site_of
from watcher.service.stations import polled_stations
from watcher.sources import mapped_json, met_norway, nws, open_meteo
from watcher.sources.base import PolledSource
from watcher.sources.http import FeedClient
from watcher.weather.series import Site


def polled_sources(
    farm: Farm, client: FeedClient, api_keys: Mapping[str, SecretStr]
) -> dict[str, PolledSource]:
    """Build every source of the farm that is asked."""
    feeds = {
        name: _polled(name, entry, farm, client, api_keys.get(name))
        for name, entry in farm.told.sources.items()
        if not isinstance(entry, Station)
    }
    return feeds | polled_stations(farm, client)


def _polled(
    name: str, entry: Source, farm: Farm, client: FeedClient, key: SecretStr | None
) -> PolledSource:
    latitude, longitude = farm.ground.middle
    match entry:
        case UsWeatherService():
            return nws.UsWeatherService(
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
            return met_norway.MetNorway(
                name=name,
                client=client,
                latitude=latitude,
                longitude=longitude,
                every_s=entry.every,
                base_url=entry.base_url,
            )
        case OpenMeteo():
            return open_meteo.OpenMeteo(
                name=name,
                client=client,
                latitude=latitude,
                longitude=longitude,
                every_s=entry.every,
                base_url=entry.base_url,
                api_key=key.get_secret_value() if key else None,
            )
        case MappedJson():
            return mapped_json.MappedJson(
                name=name,
                client=client,
                site=site_of(farm, entry),
                url=entry.url,
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


def station_sites(farm: Farm) -> dict[str, Site]:
    """Where each station that posts by itself stands."""
    return {
        name: site_of(farm, entry)
        for name, entry in farm.told.sources.items()
        if isinstance(entry, PushStation)
    }
