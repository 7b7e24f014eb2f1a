"""A first visit without a port: the owner's browser is let in already."""

import asyncio
import re
from collections.abc import AsyncIterator
from dataclasses import dataclass
from html import unescape
from pathlib import Path

import httpx
import pytest

from tests.support.first_visit import TOKEN
from tests.support.running import SetClock
from watcher.service.first_farm import FirstFarm
from watcher.web.auth.authenticator import Authenticator
from watcher.web.auth.sessions import SessionStore
from watcher.web.auth.station_tokens import StationTokens
from watcher.web.auth.users import Role, User, Users
from watcher.web.first_visit.app import create_first_visit
from watcher.web.first_visit.visit import FirstVisit

NOON = 1_781_107_200
_WAS = re.compile(r'<input type="hidden" name="(was:[^"]+|looked)" value="([^"]*)">')
_LONG = re.compile(r'<textarea id="f-[^"]*" name="([^"]+)"[^>]*>([^<]*)</textarea>')
_INPUT = re.compile(r'<input id="f-[^"]*" name="([^"]+)" value="([^"]*)"')


@dataclass
class Site:
    """The screens, and what comes of them."""

    web: httpx.AsyncClient
    visit: FirstVisit
    file: Path

    async def tell(self, screen: str, **given: str) -> httpx.Response:
        """Fill in a screen and send it."""
        page = (await self.web.get(f"/first/{screen}")).text
        found = TOKEN.search(page)
        assert found, page
        form = {name: unescape(value) for name, value in _WAS.findall(page)} | given
        return await self.web.post(
            f"/first/{screen}", data=form | {"form_token": unescape(found[1])}
        )

    async def tell_on(self, shown: httpx.Response, **given: str) -> httpx.Response:
        """Send on a form as it was answered, with more filled in."""
        page = shown.text
        found = TOKEN.search(page)
        assert found, page
        filled = [*_WAS.findall(page), *_LONG.findall(page), *_INPUT.findall(page)]
        form = {name: unescape(value) for name, value in filled} | given
        return await self.web.post(
            str(shown.url.path), data=form | {"form_token": unescape(found[1])}
        )


@pytest.fixture
async def site(tmp_path: Path) -> AsyncIterator[Site]:
    sessions, clock = SessionStore(tmp_path / "door.db"), SetClock(NOON)
    file = tmp_path / "config" / "farm.toml"
    visit = FirstVisit(
        FirstFarm(tmp_path / "first.json", file),
        Authenticator(sessions, Users(), clock),
        lambda _farm: [],
        asyncio.Event(),
        tokens=StationTokens({}, sessions),
    )
    transport = httpx.ASGITransport(create_first_visit(visit))
    async with httpx.AsyncClient(transport=transport, base_url="http://127.0.0.1") as web:
        token = sessions.open(User("owner", Role.ADMINISTER), NOON, by_link=True)
        web.cookies.set("watcher", token, domain="127.0.0.1")
        yield Site(web, visit, file)
    sessions.close()
