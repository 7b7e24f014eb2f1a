"""From what the farm file says of a station that speaks by itself to the line that is kept open.

A module of its own: the protocols' libraries take memory, and most farms speak none of them.
"""

from collections.abc import Callable, Mapping
from pathlib import Path

from aiomqtt import ProtocolVersion
from pydantic import SecretStr

from watcher.farm import Farm
from watcher.farm.stations import (
    ModbusStation,
    MqttStation,
    NmeaStation,
    SampledStation,
    SunspecStation,
)
from watcher.service.sites import site_of
from watcher.sources.base import StreamedSource
from watcher.sources.body_reader import BodyReader
from watcher.sources.stations import modbus, mqtt, nmea, sunspec
from watcher.sources.stations.mqtt_payload import Mapped, MappedValue, PostedPayload, Reader
from watcher.sources.stations.nmea_sentences import Sentences
from watcher.sources.stations.post_mapping import Key, PostMapping, times_of
from watcher.sources.stations.samples import Samples
from watcher.weather.measures import Measure
from watcher.weather.quantities import in_unit

_MQTT_PORTS = {False: 1883, True: 8883}
_VERSIONS = {"3.1.1": ProtocolVersion.V311, "5": ProtocolVersion.V5}
_POSTED = {
    "senml": "application/senml+json",
    "senml-cbor": "application/senml+cbor",
    "readings": "application/json",
}


def streamed_sources(
    farm: Farm,
    clock: Callable[[], int],
    broker_passwords: Mapping[str, SecretStr],
    bodies: BodyReader | None = None,
) -> dict[str, StreamedSource]:
    """Build every source of the farm that speaks by itself over a line kept open."""
    built: dict[str, StreamedSource] = {}
    for name, entry in farm.config.sources.items():
        match entry:
            case MqttStation():
                password = broker_passwords.get(name)
                built[name] = _mqtt(name, entry, farm, clock, password=password, bodies=bodies)
            case ModbusStation() | SunspecStation():
                built[name] = _modbus(name, entry, farm, clock)
            case NmeaStation():
                built[name] = nmea.NmeaSource(
                    name=name,
                    port=nmea.port_of(entry.address, entry.baud),
                    sentences=Sentences(
                        entry.mast_points,
                        {called: quantity for quantity, called in entry.transducers.items()},
                    ),
                    samples=_samples(entry),
                    site=site_of(farm, entry),
                    clock=clock,
                )
    return built


def _mqtt(
    name: str,
    entry: MqttStation,
    farm: Farm,
    clock: Callable[[], int],
    *,
    password: SecretStr | None,
    bodies: BodyReader | None,
) -> StreamedSource:
    broker = mqtt.Broker(
        host=entry.host,
        port=entry.port or _MQTT_PORTS[entry.tls],
        tls=entry.tls,
        ca_file=Path(entry.ca_file) if entry.ca_file else None,
        user=entry.user,
        password=password.get_secret_value() if password else None,
        version=_VERSIONS[entry.version],
        session=entry.session,
    )
    return mqtt.MqttSource(
        name=name,
        broker=broker,
        reader=_reader(entry),
        site=site_of(farm, entry),
        clock=clock,
        bodies=bodies,
    )


def _reader(entry: MqttStation) -> Reader:
    if entry.payload != "mapped":
        keys: dict[str, tuple[str, Measure]] = {
            q: (m.at, Measure.of(q, m.unit, m.reported_as)) for q, m in entry.quantities.items()
        }
        mapping = PostMapping.of(keys) if keys else None
        return PostedPayload([entry.topic], _POSTED[entry.payload], entry.clock_ahead, mapping)
    values = [
        MappedValue.of(
            q, topic=m.topic or entry.topic, at=m.at, unit=m.unit, reported_as=m.reported_as
        )
        for q, m in entry.quantities.items()
    ]
    time = None if entry.time is None else Key.of("time", entry.time)
    times = times_of(entry.time_format, entry.time_zone)
    return Mapped(values, time, entry.clock_ahead, times)


def _modbus(
    name: str, entry: ModbusStation | SunspecStation, farm: Farm, clock: Callable[[], int]
) -> StreamedSource:
    map_: modbus.Map = sunspec.SunspecMap()
    step_m_s = sunspec.WIND_STEP_M_S
    if isinstance(entry, ModbusStation):
        map_, step_m_s = _registers(entry), 0.0
    return modbus.ModbusSource(
        name=name,
        port=modbus.ModbusAddress(entry.host, entry.port, entry.device),
        map_=map_,
        samples=_samples(entry, step_m_s),
        every_s=entry.every,
        site=site_of(farm, entry),
        clock=clock,
    )


def _samples(entry: SampledStation, step_m_s: float = 0.0) -> Samples:
    gusts = entry.gusts_from_samples
    return Samples(every_s=round(entry.interval), gusts=gusts, step_m_s=step_m_s)


def _registers(entry: ModbusStation) -> modbus.RegisterMap:
    return modbus.RegisterMap(
        [
            modbus.MappedRegister(
                measure=in_unit(quantity, mapped.unit),
                address=mapped.address,
                table=mapped.table,
                type=mapped.type,
                words=mapped.words,
                scale=mapped.scale,
                offset=mapped.offset,
                missing=mapped.missing,
            )
            for quantity, mapped in entry.registers.items()
        ]
    )
