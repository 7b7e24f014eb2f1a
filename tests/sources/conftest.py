"""A feed in the test's hands, and bodies gone wrong in every way."""

import copy
import json
from collections.abc import AsyncIterator, Callable, Iterator
from typing import Any

import httpx
import numpy as np
import pytest

from watcher.sources.base import PolledSource, SourceError
from watcher.sources.http import FeedClient
from watcher.weather.series import WeatherSeries

Json = Any
WRONG: tuple[Json, ...] = (None, "x", "", True, [], {}, [None], -1, 1e300, 10**400)


class Feed:
    """Answers each path (its end) with a body; remembers what was asked."""

    def __init__(self) -> None:
        self.bodies: dict[str, Json] = {}
        self.asked: list[httpx.Request] = []

    def __call__(self, request: httpx.Request) -> httpx.Response:
        self.asked.append(request)
        found = [body for end, body in self.bodies.items() if request.url.path.endswith(end)]
        if not found:
            return httpx.Response(404, json={"title": "Not Found", "status": 404})
        if isinstance(found[0], httpx.Response):
            reply = found[0]
            return httpx.Response(reply.status_code, headers=reply.headers, content=reply.content)
        return httpx.Response(200, content=json.dumps(found[0]).encode())


@pytest.fixture
def feed() -> Feed:
    return Feed()


@pytest.fixture
async def client(feed: Feed) -> AsyncIterator[FeedClient]:
    async def no_sleep(seconds: float) -> None:
        del seconds

    transport = httpx.MockTransport(feed)
    async with FeedClient(contact="a@b.example", transport=transport, sleep=no_sleep) as client:
        yield client


def places(body: Json, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """Every place in a JSON value; of a long list the first two and the last entries."""
    if isinstance(body, dict):
        for key in body:
            yield (*path, key)
            yield from places(body[key], (*path, key))
    elif isinstance(body, list):
        for index in sorted({0, 1, len(body) - 1} & set(range(len(body)))):
            yield (*path, index)
            yield from places(body[index], (*path, index))


def holder_of(body: Json, path: tuple[Any, ...]) -> Json:
    for step in path[:-1]:
        body = body[step]
    return body


def gone_wrong(body: Json) -> Iterator[tuple[str, Json, bool]]:
    """Yield what was done, the body, and whether a number was put in that was not there."""
    for path in places(body):
        without = copy.deepcopy(body)
        del holder_of(without, path)[path[-1]]
        yield f"without {path}", without, False
        for wrong in WRONG:
            changed = copy.deepcopy(body)
            holder_of(changed, path)[path[-1]] = wrong
            yield f"{path} = {wrong!r:.20}", changed, isinstance(wrong, int | float)


Poll = Callable[[Json], Any]


@pytest.fixture
def survives() -> Callable[..., Any]:
    """Check that no broken body gives another exception than SourceError, or a value of its own."""

    async def check(
        source: PolledSource,
        put: Callable[[Json], None],
        body: Json,
        now: int,
        series_of: Callable[[Any], WeatherSeries],
    ) -> None:
        put(body)
        good = series_of(await source.poll(now))
        broken: list[bool] = []
        for done, wrong, new_number in gone_wrong(body):
            put(wrong)
            try:
                given = series_of(await source.poll(now))
            except SourceError as error:
                broken += ["broke its reader" in str(error)]
                continue
            for name, values in given.quantities().items():
                assert not np.isinf(values).any(), f"{done}: {name}"
                if not new_number:
                    assert_known(good, given, name, done)
        assert broken
        assert not any(broken)

    return check


def assert_known(good: WeatherSeries, given: WeatherSeries, name: str, done: str) -> None:
    """Every value told is the good body's of the same time."""
    known = dict(zip(good.times.tolist(), getattr(good, name).tolist(), strict=True))
    for time, value in zip(given.times.tolist(), getattr(given, name).tolist(), strict=True):
        assert np.isnan(value) or value == known.get(time), f"{done}: {name} at {time} is {value}"
