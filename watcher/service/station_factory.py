"""From what the farm file says of a station that is asked to the thing that asks it."""

from collections.abc import Mapping
from pathlib import Path

from pydantic import SecretStr

from watcher.farm import Farm
from watcher.farm.stations import (
    CsvStation,
    MetarStation,
    ModbusStation,
    MqttStation,
    NmeaStation,
    SensorthingsStation,
    SunspecStation,
)
from watcher.service.sites import site_of
from watcher.sources.base import PolledSource
from watcher.sources.body_reader import BodyReader
from watcher.sources.http import FeedClient
from watcher.sources.stations import csv_station, sensorthings
from watcher.sources.stations.csv_rows import Layout
from watcher.sources.stations.growing_files import GrowingFiles
from watcher.sources.stations.local_times import LocalTimes, zone_of
from watcher.weather.measures import Measure
from watcher.written_secrets import with_key


def speaks_by_itself(farm: Farm) -> bool:
    """Whether any station of the farm is listened to over a line kept open."""
    speaking = MqttStation | ModbusStation | SunspecStation | NmeaStation
    return any(isinstance(entry, speaking) for entry in farm.config.sources.values())


def polled_stations(
    farm: Farm, client: FeedClient, api_keys: Mapping[str, SecretStr]
) -> dict[str, PolledSource]:
    """Build every station of the farm that is asked; what they say is read as ``client`` does."""
    built: dict[str, PolledSource] = {}
    for name, entry in farm.config.sources.items():
        match entry:
            case CsvStation():
                built[name] = _csv(name, entry, farm, client.reader)
            case MetarStation():
                built[name] = _metar(name, entry, farm, client, api_keys.get(name))
            case SensorthingsStation():
                built[name] = sensorthings.SensorthingsSource(
                    name=name,
                    client=client,
                    url=entry.url,
                    datastreams={
                        quantity: sensorthings.Datastream(mapped.datastream, mapped.unit)
                        for quantity, mapped in entry.quantities.items()
                    },
                    every_s=entry.every,
                    site=site_of(farm, entry),
                    clock_ahead_s=entry.clock_ahead,
                )
    return built


def csv_layout(entry: CsvStation) -> Layout:
    """Return how a station's files are written."""
    return Layout(
        times=LocalTimes(entry.time_format, zone_of(entry.time_zone)),
        time=entry.time,
        quantities={
            q: (t.column, Measure.of(q, t.unit, t.reported_as)) for q, t in entry.quantities.items()
        },
        delimiter=entry.delimiter,
        decimal=entry.decimal,
        encoding=entry.encoding,
        names_row=entry.names_row,
        missing=entry.missing,
        clock_ahead_s=entry.clock_ahead,
    )


def _csv(name: str, entry: CsvStation, farm: Farm, reader: BodyReader) -> PolledSource:
    files = GrowingFiles(entry.files, header_rows=entry.header_rows, whole=entry.whole_files)
    return csv_station.CsvSource(
        name=name,
        files=files,
        layout=csv_layout(entry),
        every_s=entry.every,
        site=site_of(farm, entry),
        reader=reader,
    )


def _metar(
    name: str, entry: MetarStation, farm: Farm, client: FeedClient, key: SecretStr | None
) -> PolledSource:
    # Its decoder takes a tenth of a second to import, and most farms have no use for it.
    from watcher.sources.stations import metar  # noqa: PLC0415

    texts: metar.Texts = metar.FromFile(Path(entry.file or ""))
    if entry.url is not None:
        url = with_key(entry.url, key.get_secret_value() if key else None)
        texts = metar.FromAddress(client, url)
    return metar.MetarSource(
        name=name,
        station=entry.station,
        texts=texts,
        every_s=entry.every,
        site=site_of(farm, entry),
        reader=client.reader,
    )
