"""Tiles fetched within a provider's terms, from one host, and nothing else."""

import asyncio
import io
import time
from collections.abc import Callable, Sequence
from contextlib import closing
from pathlib import Path
from typing import Any

import httpx
import pytest
import respx
from PIL import Image
from pydantic import SecretStr
from structlog.testing import capture_logs

from tests.support.tile_server import tile_png
from watcher.sources import tiles as module
from watcher.sources.base import SourceError
from watcher.sources.body_process import BodyProcess
from watcher.sources.tile_address import MapPictures
from watcher.sources.tiles import TileClient, TooManyTilesError, fresh_s, picture_type
from watcher.web_mercator import Tile

XYZ = MapPictures("https://ground.example/{z}/{x}/{y}.png", "Invented", 18)
PUBLIC = "192.31.196.7"
"""Of a network that is used for nothing else and yet public (RFC 7535)."""
ONE = Tile(14, 3822, 6141)
PNG = tile_png()


async def found(_host: str, _port: int) -> Sequence[str]:
    return [PUBLIC]


def client(
    answer: Callable[[httpx.Request], httpx.Response], pictures: MapPictures = XYZ, **more: Any
) -> TileClient:
    given: dict[str, Any] = {"lookup": found, "network": httpx.MockTransport(answer)} | more
    return TileClient(pictures, contact="a@b.example", **given)


def ok(**headers: str) -> httpx.Response:
    body = {"content-type": "image/png"} | {k.replace("_", "-"): v for k, v in headers.items()}
    return httpx.Response(200, content=PNG, headers=body)


async def test_respx_answers_in_place_of_the_provider(respx_mock: respx.MockRouter) -> None:
    asked = respx_mock.get(f"https://{PUBLIC}/14/3822/6141.png").mock(return_value=ok())
    async with TileClient(XYZ, contact="a@b.example", lookup=found) as tiles:
        picture = await tiles.get(ONE)
    assert (picture.body, picture.media_type) == (PNG, "image/png")
    headers = asked.calls[0].request.headers
    assert headers["user-agent"] == "field-weather-watch/0.1 (a@b.example)"
    assert headers["host"] == "ground.example"


async def test_a_tile_is_asked_for_once_while_it_is_fresh() -> None:
    asked: list[httpx.Request] = []

    def answer(request: httpx.Request) -> httpx.Response:
        asked.append(request)
        return ok(cache_control="max-age=3600")

    async with client(answer) as tiles:
        first, second = await tiles.get(ONE), await tiles.get(ONE)
        await tiles.get(Tile(14, 3823, 6141))
    assert first.body == second.body
    assert len(asked) == 2


async def test_what_grew_old_is_confirmed_by_its_etag(monkeypatch: pytest.MonkeyPatch) -> None:
    now, asked = [1_781_272_800.0], []
    monkeypatch.setattr("time.time", lambda: now[0])

    def answer(request: httpx.Request) -> httpx.Response:
        asked.append(request.headers.get("if-none-match"))
        if asked[-1] == '"one"':
            return httpx.Response(304, headers={"etag": '"one"'})
        return ok(cache_control="max-age=60", etag='"one"')

    async with client(answer, clock=time.time) as tiles:
        await tiles.get(ONE)
        now[0] += 61
        again = await tiles.get(ONE)
    assert asked == [None, '"one"']
    assert again.body == PNG


async def test_what_may_not_be_kept_is_not(tmp_path: Path) -> None:
    asked = []

    def answer(request: httpx.Request) -> httpx.Response:
        asked.append(request)
        return ok(cache_control="no-store")

    async with client(answer, cache=tmp_path / "tiles.db") as tiles:
        assert (await tiles.get(ONE)).fresh_s is None
        await tiles.get(ONE)
    assert len(asked) == 2


async def test_what_is_kept_is_bounded(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "CACHE_BYTES", 2**20)
    body = PNG + b"\0" * 50_000
    found = {"cache-control": "max-age=3600"}
    cache = tmp_path / "tiles.db"
    async with client(
        lambda _r: httpx.Response(200, content=body, headers=found), cache=cache
    ) as t:
        for n in range(100):
            await t.get(Tile(14, n, 0))
    assert len(_all_in(tmp_path)) < 4 * 2**20


@pytest.mark.parametrize(
    "tile", [Tile(19, 0, 0), Tile(14, 16384, 0), Tile(14, 0, -1), Tile(10**9, 0, 0), Tile(-1, 0, 0)]
)
async def test_what_is_no_tile_is_not_asked_for(tile: Tile) -> None:
    def answer(_request: httpx.Request) -> httpx.Response:
        raise AssertionError("asked")

    async with client(answer) as tiles:
        with pytest.raises(SourceError, match="no such tile"):
            await tiles.get(tile)


@pytest.mark.parametrize("address", ["127.0.0.1", "192.168.1.9", "10.0.0.1", "::1", "fe80::1"])
async def test_a_name_that_leads_into_the_own_network_leads_nowhere(address: str) -> None:
    async def inside(_host: str, _port: int) -> Sequence[str]:
        return [PUBLIC, address]

    async with client(lambda _r: ok(), lookup=inside) as tiles:
        with pytest.raises(SourceError, match="not on the open network"):
            await tiles.get(ONE)


async def test_an_own_network_that_is_named_by_its_number_is_asked() -> None:
    pictures = MapPictures("http://192.168.1.9:8080/{z}/{x}/{y}.png", "Invented")
    asked: list[str] = []

    def answer(request: httpx.Request) -> httpx.Response:
        asked.append(str(request.url))
        return ok()

    async with client(answer, pictures) as tiles:
        await tiles.get(ONE)
    assert asked == ["http://192.168.1.9:8080/14/3822/6141.png"]


async def test_a_redirect_is_not_followed() -> None:
    asked = []

    def answer(request: httpx.Request) -> httpx.Response:
        asked.append(request)
        return httpx.Response(302, headers={"location": "https://elsewhere.example/"})

    async with client(answer) as tiles:
        with pytest.raises(SourceError, match="302"):
            await tiles.get(ONE)
    assert len(asked) == 1


def _image(side: int, form: str) -> bytes:
    body = io.BytesIO()
    Image.new("RGB", (side, side)).save(body, form)
    return body.getvalue()


@pytest.mark.parametrize(("form", "kind"), [("PNG", "png"), ("JPEG", "jpeg"), ("WEBP", "webp")])
def test_a_picture_is_known_by_what_it_is(form: str, kind: str) -> None:
    assert picture_type(_image(512, form)) == f"image/{kind}"


@pytest.mark.parametrize(
    "body",
    [b"", b"<html>no tile today</html>", PNG[:20], _image(64, "GIF"), _image(2000, "PNG")],
    ids=["empty", "page", "cut short", "another kind", "huge"],
)
async def test_what_is_no_tile_is_refused_and_not_kept(body: bytes) -> None:
    asked, ticks = [], [0.0]

    def answer(request: httpx.Request) -> httpx.Response:
        asked.append(request)
        found = {"content-type": "image/png", "cache-control": "max-age=3600"}
        return httpx.Response(200, content=body, headers=found)

    async with client(answer, ticks=lambda: ticks[0]) as tiles:
        for _ in range(2):
            with pytest.raises(SourceError):
                await tiles.get(ONE)
            ticks[0] += module.AGAIN_AFTER_S
    assert len(asked) == 2


async def test_what_did_not_come_is_left_alone_for_a_while() -> None:
    asked, ticks = [], [0.0]

    def answer(request: httpx.Request) -> httpx.Response:
        asked.append(request)
        return ok() if len(asked) > 1 else httpx.Response(500)

    async with client(answer, ticks=lambda: ticks[0]) as tiles:
        for at in (0.0, 30.0):
            ticks[0] = at
            with pytest.raises(SourceError):
                await tiles.get(ONE)
        assert len(asked) == 1
        ticks[0] = 60.0
        assert (await tiles.get(ONE)).body == PNG


async def test_too_long_a_body_is_cut_off() -> None:
    long = PNG + b"\0" * module.MOST_BYTES
    async with client(lambda _r: httpx.Response(200, content=long)) as tiles:
        with pytest.raises(SourceError, match="over 1000000 bytes"):
            await tiles.get(ONE)


async def test_so_many_a_minute_and_no_more() -> None:
    ticks = [0.0]
    async with client(lambda _r: ok(), ticks=lambda: ticks[0]) as tiles:
        for n in range(module.A_MINUTE):
            await tiles.get(Tile(14, n, 0))
        with pytest.raises(TooManyTilesError):
            await tiles.get(Tile(14, 999, 1))
        ticks[0] = 60.5
        await tiles.get(Tile(14, 999, 1))


async def test_two_at_once_and_who_waits_is_bounded() -> None:
    under_way, most, go = [0], [0], asyncio.Event()

    async def answer(_request: httpx.Request) -> httpx.Response:
        under_way[0] += 1
        most[0] = max(most[0], under_way[0])
        await go.wait()
        under_way[0] -= 1
        return ok()

    async with client(answer) as tiles:  # type: ignore[arg-type]
        waiting = [asyncio.create_task(tiles.get(Tile(14, n, 0))) for n in range(module.WAITING)]
        async with asyncio.timeout(10):
            while most[0] < module.AT_ONCE:  # noqa: ASYNC110
                await asyncio.sleep(0.001)
            await asyncio.sleep(0.01)  # for a third to begin, if it may
        with pytest.raises(TooManyTilesError):
            await tiles.get(Tile(14, 99, 1))
        go.set()
        await asyncio.gather(*waiting)
    assert most[0] == module.AT_ONCE


def _all_in(folder: Path) -> bytes:
    return b"".join(file.read_bytes() for file in folder.iterdir())


@pytest.mark.parametrize(
    "template",
    ["https://ground.example/{key}/{z}/{x}/{y}", "https://ground.example/{z}/{x}/{y}?apikey={key}"],
)
async def test_the_key_is_sent_and_shown_to_nobody(template: str, tmp_path: Path) -> None:
    pictures = MapPictures(template, "Invented", key=SecretStr("hunter 2/x"))
    asked: list[str] = []

    def answer(request: httpx.Request) -> httpx.Response:
        asked.append(str(request.url))
        return ok(cache_control="max-age=3600") if len(asked) == 1 else httpx.Response(403)

    cache = tmp_path / "tiles.db"
    with capture_logs() as logs:
        async with client(answer, pictures, cache=cache) as tiles:
            await tiles.get(ONE)
            with pytest.raises(SourceError) as caught:
                await tiles.get(Tile(14, 1, 1))
    assert "hunter%202%2Fx" in asked[0]
    assert b"hunter" not in _all_in(tmp_path)
    assert "hunter" not in f"{caught.value!r} {caught.value.__cause__!r} {logs} {pictures!r}"


async def test_a_process_apart_looks_at_what_came() -> None:
    with closing(BodyProcess()) as reader:
        big = tile_png(side=1024)
        noise = httpx.Response(200, content=big + b"\0" * 5000)
        async with client(lambda _r: noise, reader=reader) as tiles:
            assert (await tiles.get(ONE)).media_type == "image/png"


@pytest.mark.parametrize(
    ("headers", "fresh"),
    [
        ({}, 0),
        ({"cache-control": "public, max-age=600"}, 600),
        ({"cache-control": "max-age=600, no-cache"}, 0),
        ({"cache-control": "no-store, max-age=600"}, None),
        ({"cache-control": "max-age=999999999"}, 86_400),
        ({"cache-control": "max-age=600", "date": "Fri, 12 Jun 2026 13:55:00 GMT"}, 300),
        ({"expires": "Fri, 12 Jun 2026 14:10:00 GMT"}, 600),
        ({"expires": "0"}, 0),
    ],
)
def test_how_long_a_device_may_keep_it(headers: dict[str, str], fresh: int | None) -> None:
    assert fresh_s(httpx.Headers(headers), 1_781_272_800.0) == fresh
