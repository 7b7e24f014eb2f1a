"""Tokens of stations, keys and passwords on a page: made or typed, shown once or never."""

import re
from collections.abc import AsyncIterator
from html import unescape
from pathlib import Path

import httpx
import pytest

from tests.support.farm_files import written
from tests.support.farms import watched_tables
from tests.support.running import TOKEN
from tests.support.visiting import CALM, Visited, visited
from watcher.service.kept_secrets import SecretKind
from watcher.web.auth.station_tokens import StationTokens
from watcher.web.auth.users import Role

pytestmark = pytest.mark.long
PAGE = "/farm/secrets"


@pytest.fixture
async def site(tmp_path: Path) -> AsyncIterator[Visited]:
    tables = watched_tables()
    tables["sources"] |= {
        "creek": {"kind": "push"},
        "paid": {"kind": "open_meteo"},
        "buoy": {"kind": "mqtt", "host": "broker.example", "topic": "farm/mast", "user": "watch"},
    }
    async with visited(tmp_path, farm_file=written(tmp_path, tables)) as v:
        v.log_in(Role.ADMINISTER)
        yield v


def word(site: Visited, kind: SecretKind, name: str) -> str | None:
    found = site.service.app.state.secrets_in_use.known.secret(kind, name)
    return None if found is None else found.get_secret_value()


async def page(site: Visited) -> str:
    return unescape((await site.web.get(PAGE)).text)


async def posted(site: Visited, token: str) -> int:
    headers = {"Authorization": f"Bearer {token}"}
    async with httpx.AsyncClient(base_url=site.web.base_url, headers=headers) as station:
        body = {"time": "2026-06-10T16:00:00Z"} | CALM
        return (await station.post("/stations/creek/readings", json=body)).status_code


async def test_a_token_made_here_is_shown_once_with_the_line_for_the_station(site: Visited) -> None:
    first = site.service.app.state.secrets_in_use.known
    assert first.secret(SecretKind.STATION, "creek") is None
    assert "posts with the token that the first visit showed for it" in await page(site)
    shown = StationTokens({}, site.sessions)["creek"].get_secret_value()
    assert await posted(site, shown) == 200
    made = await site.send(PAGE, f"{PAGE}/station_tokens/creek", make="yes")
    found = re.search(r"Authorization: Bearer ([\w-]{32})<", made.text)
    assert found
    port = site.web.base_url.port
    assert f"POST http://127.0.0.1:{port}/stations/creek/readings" in made.text
    assert made.headers["cache-control"] == "no-store"
    assert await posted(site, found[1]) == 200
    assert await posted(site, shown) == 401
    again = await page(site)
    assert found[1] not in again
    assert "set 11:00 by grower" in again
    other = await site.send(PAGE, f"{PAGE}/station_tokens/creek", make="yes")
    assert found[1] not in other.text
    assert await posted(site, found[1]) == 401


async def test_a_token_the_station_has_is_typed_and_not_shown(site: Visited) -> None:
    typed = "canary-token-of-the-station"
    answer = await site.send(PAGE, f"{PAGE}/station_tokens/creek", secret=typed)
    assert answer.status_code == 303
    assert typed not in await page(site)
    assert await posted(site, typed) == 200
    await site.send(PAGE, f"{PAGE}/station_tokens/creek/remove")
    assert await posted(site, typed) == 401


@pytest.mark.parametrize(
    ("kind", "name", "typed", "said"),
    [
        ("station_tokens", "creek", "canary", "at least 16 characters"),
        ("station_tokens", "creek", "canary with many spaces in it", "without spaces"),
        ("api_keys", "paid", "", "one line of 1 to 2000 characters"),
        ("broker_passwords", "buoy", "canary\0\n", "one line of 1 to 2000 characters"),
        ("station_tokens", "mast", "canary-that-is-long-enough", "change it there"),
    ],
)
async def test_what_cannot_be_one_is_said_in_place_without_it(
    site: Visited, kind: str, name: str, typed: str, said: str
) -> None:
    answer = await site.send(
        PAGE, f"{PAGE}/{kind}/{name}", secret=f"x\n{typed}" if "\0" in typed else typed
    )
    assert answer.status_code == 422
    assert "canary" not in answer.text
    if name != "mast":
        assert said in unescape(answer.text)
        assert f'aria-describedby="e-{kind}-{name}"' in answer.text
    assert word(site, SecretKind(kind), name) == (TOKEN if name == "mast" else None)


async def test_keys_and_passwords_are_set_replaced_and_removed(site: Visited) -> None:
    for kind, name in (("api_keys", "paid"), ("broker_passwords", "buoy")):
        for typed in ("canary-one", "canary-two"):
            answer = await site.send(PAGE, f"{PAGE}/{kind}/{name}", secret=typed)
            assert answer.status_code == 303
            assert word(site, SecretKind(kind), name) == typed
        assert "canary" not in await page(site)
        await site.send(PAGE, f"{PAGE}/{kind}/{name}/remove")
        assert word(site, SecretKind(kind), name) is None


async def test_nothing_is_kept_for_what_the_farm_does_not_name(site: Visited) -> None:
    for path in ("station_tokens/nobody", "station_tokens/paid", "push_urls/nobody"):
        answer = await site.send(PAGE, f"{PAGE}/{path}", secret="canary-long-enough-to-be-one")
        assert answer.status_code == 404
    answer = await site.send(PAGE, f"{PAGE}/users/boss", secret="canary-long-enough-to-be-one")
    assert answer.status_code == 422
