"""From the farm file to what listens: every kind of source is built once, as it was told."""

import json
from collections.abc import AsyncIterator, Iterator
from pathlib import Path
from typing import Any, get_args

import pytest
from aiomqtt import Client
from pydantic import SecretStr

from tests.support.ear import listening
from tests.support.farms import build, tables
from tests.support.mosquitto import Mosquitto
from tests.support.new_log import new_log
from watcher.farm import Farm
from watcher.farm.feeds import Source
from watcher.service.source_factory import polled_sources, posting_stations
from watcher.service.stream_factory import streamed_sources
from watcher.sources.http import FeedClient
from watcher.sources.stations.mqtt import MqttSource
from watcher.store import weather
from watcher.store.database import Database

NOW = 1_781_272_800


def farm_of(**sources: dict[str, Any]) -> Farm:
    config: dict[str, Any] = tables()
    config["sources"] = sources
    return build(config)


ONE_OF_EACH: dict[str, dict[str, Any]] = {
    "nws": {"kind": "nws"},
    "met_norway": {"kind": "met_norway"},
    "open_meteo": {"kind": "open_meteo"},
    "mapped_json": {
        "kind": "mapped_json",
        "gives": "observations",
        "url": "https://station.example/latest.json",
        "every": "5 min",
        "silent_after": "20 min",
        "times": "time",
        "quantities": {"wind": {"at": "wind", "unit": "km/h"}},
    },
    "push": {"kind": "push"},
    "mqtt": {"kind": "mqtt", "host": "broker.example", "topic": "farm/mast"},
    "modbus": {
        "kind": "modbus",
        "host": "192.0.2.10",
        "registers": {"wind": {"address": 10, "unit": "m/s"}},
    },
    "sunspec": {"kind": "sunspec", "host": "192.0.2.11"},
    "csv": {
        "kind": "csv",
        "files": "/srv/station/*.csv",
        "time": ["time"],
        "quantities": {"wind": {"column": "wind", "unit": "m/s"}},
    },
    "metar": {"kind": "metar", "station": "KXYZ", "file": "/srv/kxyz.txt"},
    "sensorthings": {
        "kind": "sensorthings",
        "url": "https://sta.example/v1.1",
        "quantities": {"wind": {"datastream": 42}},
    },
    "nmea": {"kind": "nmea", "address": "tcp://192.0.2.12:10110"},
}


@pytest.fixture
async def client() -> AsyncIterator[FeedClient]:
    async with FeedClient(contact="a@b.example") as made:
        yield made


def test_the_list_here_has_every_kind() -> None:
    models = get_args(get_args(Source)[0])
    kinds = [get_args(model.model_fields["kind"].annotation) for model in models]
    assert sorted(kind for (kind,) in kinds) == sorted(ONE_OF_EACH)


async def test_every_kind_of_source_is_built_exactly_once(client: FeedClient) -> None:
    farm = farm_of(**ONE_OF_EACH)
    built = [
        *polled_sources(farm, client, {}),
        *streamed_sources(farm, lambda: NOW, {}),
        *posting_stations(farm),
    ]
    assert sorted(built) == sorted(ONE_OF_EACH)


async def test_a_source_bears_the_name_the_farm_gives_it(client: FeedClient) -> None:
    farm = farm_of(**ONE_OF_EACH)
    sources = polled_sources(farm, client, {}) | streamed_sources(farm, lambda: NOW, {})
    assert all(source.name == name for name, source in sources.items())


@pytest.mark.parametrize(
    ("station", "port"), [({}, 1883), ({"tls": True}, 8883), ({"tls": True, "port": 1}, 1)]
)
def test_a_broker_is_sought_where_brokers_listen(station: dict[str, Any], port: int) -> None:
    farm = farm_of(mast=ONE_OF_EACH["mqtt"] | station | {"user": "watch"})
    source = streamed_sources(farm, lambda: NOW, {"mast": SecretStr("word")})["mast"]
    assert isinstance(source, MqttSource)
    assert (source._broker.port, source._broker.password) == (port, "word")


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Mosquitto]:
    running = Mosquitto(tmp_path).start()
    yield running
    running.kill()


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Database]:
    log = new_log(tmp_path / "watch.db")
    yield log
    log.close()


@pytest.fixture
def retained(broker: Mosquitto) -> tuple[Mosquitto, Farm, str]:
    """A broker, a farm that hears a station through it, and a pack of a minute ago."""
    station = {"kind": "mqtt", "host": "127.0.0.1", "port": broker.port, "topic": "farm/mast"}
    station |= {"place": [41.01, -96.02], "heights": {"wind": "10 ft"}}
    body = json.dumps([{"bn": "urn:dev:1:", "n": "wind", "u": "m/s", "v": 3.0, "bt": NOW - 60}])
    return broker, farm_of(mast=station), body


async def test_a_message_that_comes_again_changes_nothing_in_the_log(
    retained: tuple[Mosquitto, Farm, str], store: Database
) -> None:
    broker, farm, body = retained
    async with Client("127.0.0.1", broker.port) as client:
        await client.publish("farm/mast", body, qos=1, retain=True)
        async with listening(streamed_sources(farm, lambda: NOW, {})["mast"]) as ear:
            await ear.until(heard=1)
            await client.publish("farm/mast", body, qos=1)
            await ear.until(heard=2)
    with store.writing() as session:
        new = [weather.add_observations(session, heard, NOW) for heard in ear.heard]
    assert new == [1, 0]
    with store.reading() as session:
        kept = weather.observations(session, "mast", NOW - 3600, NOW).series
    assert (kept.times.tolist(), kept.wind_m_s.tolist()) == ([NOW - 60], [3.0])
    assert (kept.site.latitude, kept.site.longitude) == (41.01, -96.02)
    assert kept.site.wind_height_m == pytest.approx(3.048)


def test_one_column_of_the_time_need_not_be_a_list() -> None:
    config = tables()
    config["sources"] = {"mast": ONE_OF_EACH["csv"] | {"time": "stamp"}}
    assert build(config).config.sources["mast"].time == ("stamp",)
