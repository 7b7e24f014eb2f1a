"""Keys of sources: filled in from where secrets are kept, and told by nothing."""

from collections.abc import Mapping
from typing import Any

import httpx
import pytest
from pydantic import SecretStr

from tests.support.farms import build, watched_tables
from tests.support.visiting import NOON
from watcher.service.source_factory import polled_sources
from watcher.sources.base import SourceError
from watcher.sources.http import FeedClient

MAPPED: Mapping[str, Any] = {
    "kind": "mapped_json",
    "gives": "observations",
    "url": "https://weather.example/now?lat=41&appid={key}",
    "every": "5 min",
    "silent_after": "20 min",
    "times": "time",
    "measures": ["wind"],
    "quantities": {"wind": {"at": "wind", "unit": "m/s"}},
}
METAR: Mapping[str, Any] = {
    "kind": "metar",
    "station": "KXYZ",
    "url": "https://weather.example/now?lat=41&appid={key}",
    "measures": ["wind"],
}


@pytest.mark.parametrize("entry", [MAPPED, METAR])
async def test_a_key_is_filled_into_the_address_and_told_by_no_error(
    entry: Mapping[str, Any],
) -> None:
    tables = watched_tables()
    tables["sources"] |= {"paid": entry}
    asked = []

    def answer(request: httpx.Request) -> httpx.Response:
        asked.append(request.url)
        return httpx.Response(200, json={"time": 0, "wind": 3.0})

    async with FeedClient(
        contact="me@farm.example", transport=httpx.MockTransport(answer), clock=lambda: NOON
    ) as client:
        sources = polled_sources(build(tables), client, {"paid": SecretStr("hush & more")})
        with pytest.raises(SourceError) as wrong:
            await sources["paid"].poll(NOON)
    assert asked[0].params["appid"] == "hush & more"
    assert "hush" not in str(wrong.value)
