"""A service whose pages are visited: the farm, its weather, somebody logged in, forms sent."""

import re
from collections.abc import AsyncIterator, Mapping
from contextlib import asynccontextmanager
from dataclasses import dataclass, replace
from html import unescape
from pathlib import Path
from typing import Any

import httpx
from pydantic import SecretStr

from tests.support.farms import build, watched_tables
from tests.support.new_log import new_log
from tests.support.running import Running, SetClock, put_forecast, running
from watcher.delivery.acknowledgement import Links
from watcher.delivery.web_push import WebPush
from watcher.farm import Farm
from watcher.farm.load import load
from watcher.web.app import Keys
from watcher.web.auth.sessions import SessionStore
from watcher.web.auth.users import Role, User, Users, hashed

NOON = 1_781_107_200  # 2026-06-10 11:00 in Chicago's zone
CALM = {
    "wind": "5 mph",
    "gust": "7 mph",
    "wind_from": "0 deg",
    "temperature": "68 degF",
    "humidity": "55 %",
}
_CONTACT = "me@farm.example"
PASSPHRASE = "plain words that nobody guesses"
PROGRAM = "a-program's-token-long-enough"
LOOKER = "a-looker's-token-long-enough"
OWNER = "an-owner's-token-long-enough"
_FORM_TOKEN = re.compile(r'name="form_token" value="([^"]+)"')
_HASH = hashed(PASSPHRASE)


def farm(**changes: Mapping[str, Any]) -> Farm:
    """Two fields with a mast beside them and a feed; tables may be changed by name."""
    config: dict[str, Any] = watched_tables()
    for table, change in changes.items():
        config[table] = config.get(table, {}) | dict(change)
    return build(config)


@dataclass
class Visited:
    """A running service and a browser-like client without cookies."""

    service: Running
    sessions: SessionStore
    web: httpx.AsyncClient
    links: Links

    def log_in(self, role: Role = Role.RUN) -> None:
        """Let the client in, as if by a one-time link."""
        now = self.service.clock.now()
        token = self.sessions.open(User("grower", role), now, by_link=True)
        self.web.cookies.set("watcher", token, domain="127.0.0.1")

    async def quiet(self) -> None:
        """Wait until no judgement is under way or asked for."""
        watch, judged = self.service.watch, -1
        while watch.judged != judged or watch._wake.is_set():
            judged = watch.judged
            await watch.health()  # takes its turn on the log's thread behind a judgement

    async def send(self, page: str, to: str, **given: str) -> httpx.Response:
        """Fill in a form that a page shows and send it."""
        token = self.form_token((await self.web.get(page)).text)
        return await self.web.post(to, data={"form_token": token} | given)

    def form_token(self, page: str) -> str:
        """The token of a page's forms."""
        found = _FORM_TOKEN.search(page)
        assert found, f"no form on this page: {page}"
        return unescape(found[1])


def pushes(sessions: SessionStore, *, anywhere: bool = False, timeout_s: float = 10.0) -> WebPush:
    """The way to the devices of a file of sessions."""
    answers = Links(sessions.secret_for("push"), "")
    return WebPush(
        sessions,
        sessions.secret,
        _CONTACT,
        answers,
        anywhere=anywhere,
        timeout_s=timeout_s,
    )


@asynccontextmanager
async def visited(
    folder: Path,
    *,
    of: Farm | None = None,
    calm: bool = True,
    chances: bool = False,
    contact: str = _CONTACT,
    push_anywhere: bool = False,
    farm_file: Path | None = None,
    secrets_file: Path | None = None,
    urls: Mapping[str, SecretStr] | None = None,
    **keys: Any,
) -> AsyncIterator[Visited]:
    """Run the service with a user, a program and fair weather.

    With a ``farm_file`` that is the farm, and it may change.
    """
    if farm_file is not None:
        of = load(farm_file)
    store = new_log(folder / "watch.db")
    put_forecast(store, NOON)
    clock = SetClock(NOON)
    sessions = SessionStore(folder / "door.db", now=clock.now)
    links = Links(sessions.secret_for("seen"), "http://127.0.0.1/seen")
    made = Keys(
        sessions,
        access=Users(
            {"driver": SecretStr(f"run:{_HASH}"), "boss": SecretStr(f"administer:{_HASH}")},
            {
                "robot": SecretStr(f"run:{PROGRAM}"),
                "screen": SecretStr(f"look:{LOOKER}"),
                "owner": SecretStr(f"administer:{OWNER}"),
            },
        ),
        links=links,
        calendars=Links(sessions.secret_for("calendar"), "http://127.0.0.1/calendar"),
        pushes=pushes(sessions, anywhere=push_anywhere) if contact else None,
    )
    try:
        async with running(
            of or farm(),
            store,
            clock,
            keys=replace(made, **keys),
            chances=chances,
            farm_file=farm_file,
            secrets_file=secrets_file,
            urls=urls,
        ) as service:
            if calm:
                await service.post(**CALM)
                await service.judged()
            async with httpx.AsyncClient(base_url=service.http.base_url, timeout=60) as web:
                yield Visited(service, sessions, web, links)
    finally:
        sessions.close()
        store.close()
