"""Datastreams of a SensorThings service, which answers here as OGC 18-088 says it does: filter,
order, $top and paging by @iot.nextLink; interval and instant times; free text for units."""

import json
import re
from collections.abc import AsyncIterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import httpx
import numpy as np
import pytest

from watcher.sources.base import Flag, Observations, SourceError
from watcher.sources.http import FeedClient
from watcher.sources.stations import sensorthings
from watcher.sources.stations.sensorthings import Datastream, SensorthingsSource
from watcher.weather.series import Site

NOW = int(datetime(2026, 6, 12, 14, 0, tzinfo=UTC).timestamp())
ROOT = "https://sta.example/v1.1"
METRES = {"name": "metre per second", "symbol": "m/s", "definition": "ucum:m/s"}
CELSIUS = {"name": "degree Celsius", "symbol": "Cel", "definition": "ucum:Cel"}


def iso(seconds: int) -> str:
    return datetime.fromtimestamp(NOW + seconds, UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def seen(start: int, result: Any, end: int | None = None) -> dict[str, Any]:
    """An observation so many seconds from now, of an instant or an interval."""
    time = iso(start) if end is None else f"{iso(start)}/{iso(end)}"
    return {"@iot.id": start, "phenomenonTime": time, "resultTime": None, "result": result}


class Service:
    """Datastreams by the path that leads to them: a unit, and observations."""

    def __init__(self) -> None:
        self.units: dict[str, Any] = {"(1)": METRES, "(2)": CELSIUS}
        self.observations: dict[str, list[dict[str, Any]]] = {"(1)": [], "(2)": []}
        self.root = ROOT
        self.page = 1000
        self.asked: list[str] = []

    def __call__(self, request: httpx.Request) -> httpx.Response:
        self.asked.append(str(request.url))
        match = re.fullmatch(r"/v1\.1/Datastreams(\(.+?\))(/Observations)?", request.url.path)
        if match is None or match[1] not in self.units:
            content = {"code": 404, "type": "error", "message": "Nothing found."}
            return httpx.Response(404, json=content)
        if match[2] is None:
            return httpx.Response(200, json={"unitOfMeasurement": self.units[match[1]]})
        return httpx.Response(200, json=self._observations(match[1], request.url.params))

    def _observations(self, stream: str, params: httpx.QueryParams) -> dict[str, Any]:
        assert params["$orderby"] == "phenomenonTime asc"
        since = re.fullmatch(r"phenomenonTime gt (\S+Z)", params["$filter"])
        assert since is not None
        later = [o for o in self.observations[stream] if o["phenomenonTime"] > since[1]]
        later.sort(key=lambda observation: observation["phenomenonTime"])
        skip, top = int(params.get("$skip", 0)), min(self.page, int(params["$top"]))
        body: dict[str, Any] = {"value": later[skip : skip + top]}
        if len(later) > skip + top:
            following = params.set("$skip", skip + top)
            body["@iot.nextLink"] = f"{self.root}/Datastreams{stream}/Observations?{following}"
        return body


@pytest.fixture
def service() -> Service:
    return Service()


@pytest.fixture
async def client(service: Service) -> AsyncIterator[FeedClient]:
    async def no_sleep(seconds: float) -> None:
        del seconds

    transport = httpx.MockTransport(service)
    async with FeedClient(contact="a@b.example", transport=transport, sleep=no_sleep) as client:
        yield client


def station(client: FeedClient, ahead_s: float = 0.0, **streams: Datastream) -> SensorthingsSource:
    return SensorthingsSource(
        name="mast",
        client=client,
        url=ROOT,
        datastreams=streams or {"wind": Datastream(1), "temperature": Datastream(2)},
        every_s=300.0,
        site=Site(41.0, -96.0),
        clock_ahead_s=ahead_s,
    )


async def poll(source: SensorthingsSource, now: int = NOW) -> Observations:
    found = (await source.poll(now)).observations
    assert found is not None
    return found


async def test_datastreams_make_one_series(service: Service, client: FeedClient) -> None:
    service.observations["(1)"] = [seen(-600, 3.1), seen(-300, 3.2)]
    service.observations["(2)"] = [seen(-300, 20.5)]
    series = (await poll(station(client))).series
    assert (series.times - NOW).tolist() == [-600, -300]
    assert series.wind_m_s.tolist() == [3.1, 3.2]
    assert np.isnan(series.temp_c[0])
    assert series.temp_c[1] == 20.5


async def test_an_interval_stands_at_its_end_and_rain_at_its_start(
    service: Service, client: FeedClient
) -> None:
    service.units["(2)"] = {"symbol": "mm/h"}
    service.observations["(1)"] = [seen(-900, 3.1, -300)]
    service.observations["(2)"] = [seen(-900, 1.5, -300)]
    series = (await poll(station(client, wind=Datastream(1), rain=Datastream(2)))).series
    assert (series.times - NOW).tolist() == [-900, -300]
    assert series.rain_mm_h[0] == 1.5
    assert series.wind_m_s[1] == 3.1


async def test_a_number_given_as_text_is_a_number(service: Service, client: FeedClient) -> None:
    service.observations["(1)"] = [seen(-300, " 3.4 ")]
    assert (await poll(station(client))).series.wind_m_s.tolist() == [3.4]


@pytest.mark.parametrize("result", ["NaN", "calm", True, [3.1], {"speed": 3.1}, "3,1", ""])
async def test_what_is_no_number_is_passed_over(
    service: Service, client: FeedClient, result: Any
) -> None:
    service.observations["(1)"] = [seen(-600, result), seen(-300, 3.2)]
    series = (await poll(station(client))).series
    assert (series.times - NOW).tolist() == [-300]


async def test_a_missing_result_is_missing_and_no_trouble(
    service: Service, client: FeedClient
) -> None:
    service.observations["(1)"] = [seen(-300, None)]
    assert (await station(client).poll(NOW)).observations is None


@pytest.mark.parametrize(
    "observation", [seen(-300, "NaN"), seen(-300, True), seen(2 * 86_400, 3.1)]
)
async def test_a_datastream_of_nothing_readable_is_told(
    service: Service, client: FeedClient, observation: Any
) -> None:
    service.observations["(1)"] = [observation]
    with pytest.raises(SourceError, match=r"Datastreams\(1\): nothing can be read"):
        await station(client).poll(NOW)


@pytest.mark.parametrize("time", ["2026-06-12T13:55:00", "today", "9"])
async def test_a_time_without_zone_or_sense_is_no_time_of_now(
    service: Service, client: FeedClient, time: str
) -> None:
    service.observations["(1)"] = [{"phenomenonTime": time, "result": 3.1}]
    with pytest.raises(SourceError):
        await station(client).poll(NOW)


async def test_only_what_is_new_is_asked_for_with_an_hour_before_it(
    service: Service, client: FeedClient
) -> None:
    source = station(client, wind=Datastream(1))
    service.observations["(1)"] = [seen(-300, 3.1)]
    await source.poll(NOW)
    assert iso(-24 * 3600) in httpx.URL(service.asked[-1]).params["$filter"]
    service.observations["(1)"].append(seen(200, 3.2))
    late = await poll(source, NOW + 300)
    assert iso(-300 - 3600) in httpx.URL(service.asked[-1]).params["$filter"]
    assert (late.series.times - NOW).tolist() == [-300, 200]


async def test_after_an_outage_all_since_the_last_is_asked_for(
    service: Service, client: FeedClient
) -> None:
    source = station(client, wind=Datastream(1))
    service.observations["(1)"] = [seen(-300, 3.1)]
    await source.poll(NOW)
    service.observations["(1)"] += [seen(3600 * hour, 3.0 + hour) for hour in range(1, 31)]
    found = await poll(source, NOW + 30 * 3600)
    assert found.series.wind_m_s.tolist() == [3.1, *(3.0 + hour for hour in range(1, 31))]


async def test_an_observation_from_ahead_is_flagged_and_hides_no_later_one(
    service: Service, client: FeedClient
) -> None:
    source = station(client, wind=Datastream(1))
    service.observations["(1)"] = [seen(20 * 3600, 9.0)]
    assert (await poll(source)).flags["wind_m_s"].tolist() == [Flag.FUTURE]
    service.observations["(1)"].append(seen(200, 3.2))
    later = await poll(source, NOW + 300)
    assert (later.series.times - NOW).tolist() == [200, 20 * 3600]


async def test_pages_are_followed(service: Service, client: FeedClient) -> None:
    service.page = 7
    service.observations["(1)"] = [seen(-60 * n, float(n)) for n in range(1, 31)]
    assert len((await poll(station(client))).series) == 30


async def test_more_pages_than_one_poll_takes_come_with_the_next(
    service: Service, client: FeedClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sensorthings, "MOST_PAGES", 2)
    service.page = 10
    service.observations["(1)"] = [seen(-3600 * n, float(n)) for n in range(1, 24)]
    source = station(client, wind=Datastream(1))
    times = [set((await poll(source)).series.times.tolist()) for _ in range(2)]
    assert times[0] | times[1] == {NOW - 3600 * n for n in range(1, 24)}


async def test_a_service_that_sends_us_elsewhere_is_not_followed(
    service: Service, client: FeedClient
) -> None:
    service.page, service.root = 1, "http://localhost:8080/v1.1"
    service.observations["(1)"] = [seen(-600, 3.1), seen(-300, 3.2)]
    with pytest.raises(SourceError, match="sends on to localhost"):
        await station(client).poll(NOW)


async def test_an_id_may_be_text(service: Service, client: FeedClient) -> None:
    service.units["('o''clock/1')"] = METRES
    service.observations["('o''clock/1')"] = [seen(-300, 3.1)]
    assert (await poll(station(client, wind=Datastream("o'clock/1")))).series.wind_m_s[0] == 3.1
    assert any("Datastreams('o''clock%2F1')" in url.replace("%27", "'") for url in service.asked)


async def test_a_datastream_that_is_not_there_is_told_in_the_services_words(
    client: FeedClient,
) -> None:
    with pytest.raises(SourceError, match=r"404.*Nothing found"):
        await station(client, wind=Datastream(99)).poll(NOW)


async def test_a_clock_that_runs_ahead_is_set_right(service: Service, client: FeedClient) -> None:
    service.observations["(1)"] = [seen(3600 - 300, 3.1)]
    series = (await poll(station(client, 3600.0, wind=Datastream(1)))).series
    assert (series.times - NOW).tolist() == [-300]


@pytest.mark.parametrize(
    ("unit", "factor"),
    [
        (METRES, 1.0),
        ({"symbol": "km/h"}, 1 / 3.6),
        ({"symbol": "kn"}, 1852 / 3600),
        ({"symbol": None, "name": "kn", "definition": None}, 1852 / 3600),
        ({"symbol": "kt?", "name": "knots", "definition": "?"}, 1852 / 3600),
        ({"symbol": "?", "name": "?", "definition": "ucum:[kn_i]"}, 1852 / 3600),
        ({"symbol": "?", "name": "?", "definition": "https://ucum:[mi_i]/h"}, 0.44704),
    ],
)
async def test_a_known_unit_is_taken_from_what_is_declared(
    service: Service, client: FeedClient, unit: Any, factor: float
) -> None:
    service.units["(1)"] = unit
    service.observations["(1)"] = [seen(-300, 10)]
    assert (await poll(station(client))).series.wind_m_s[0] == pytest.approx(10 * factor)


@pytest.mark.parametrize(
    "unit",
    [
        {"symbol": "Bft", "name": "Beaufort", "definition": "?"},
        {"symbol": None, "name": None, "definition": None},
        {},
        None,
        CELSIUS,
        {"symbol": "m", "name": "metre"},
    ],
)
async def test_an_unknown_unit_is_refused_with_the_mend(
    service: Service, client: FeedClient, unit: Any
) -> None:
    service.units["(1)"] = unit
    service.observations["(1)"] = [seen(-300, 10)]
    with pytest.raises(SourceError, match=r"Datastreams\(1\).*tell its unit, such as mph or km/h"):
        await station(client).poll(NOW)


async def test_a_unit_told_stands_where_none_is_declared(
    service: Service, client: FeedClient
) -> None:
    service.units["(1)"] = {"symbol": "?", "name": None, "definition": None}
    service.observations["(1)"] = [seen(-300, 36)]
    source = station(client, wind=Datastream(1, "km/h"))
    assert (await poll(source)).series.wind_m_s[0] == pytest.approx(10.0)


async def test_a_unit_told_that_contradicts_the_declared_one_is_refused(
    service: Service, client: FeedClient
) -> None:
    service.observations["(1)"] = [seen(-300, 36)]
    with pytest.raises(SourceError, match="'m/s', and 'km/h' is given"):
        await station(client, wind=Datastream(1, "km/h")).poll(NOW)


@pytest.mark.parametrize(
    "body", [b"<html>", b"[]", b'{"value": 3}', b'{"value": [{"result": 3}]}', b'{"value": [NaN]}']
)
async def test_a_body_that_is_not_as_documented_is_told(body: bytes) -> None:
    def answer(request: httpx.Request) -> httpx.Response:
        if request.url.path.endswith("Observations"):
            return httpx.Response(200, content=body)
        return httpx.Response(200, json={"unitOfMeasurement": METRES})

    async with FeedClient(contact="a@b.example", transport=httpx.MockTransport(answer)) as client:
        with pytest.raises(SourceError):
            await station(client, wind=Datastream(1)).poll(NOW)


async def test_units_of_a_public_servers_own_test_data(
    frost: list[dict[str, Any]], service: Service, client: FeedClient
) -> None:
    lumen, celsius = (stream["unitOfMeasurement"] for stream in frost)
    service.units |= {"(1)": lumen, "(2)": celsius}
    service.observations["(2)"] = [seen(-300, 20)]
    assert (await poll(station(client, temperature=Datastream(2)))).series.temp_c[0] == 20.0
    with pytest.raises(SourceError, match="Lumen"):
        await station(client, solar=Datastream(1)).poll(NOW)


@pytest.fixture
def frost(shared: Path) -> list[dict[str, Any]]:
    text = (shared / "feeds/sensorthings/frost_entitiesDefault.json").read_text()
    found: list[dict[str, Any]] = json.loads(text)["Datastreams"]
    return found
