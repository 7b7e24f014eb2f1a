"""Every feed that forecasts, its documented body spoiled in every way a feed has been seen to lie:
hours that are spoiled are never suitable, and a good issue before them stands.
"""

import copy
from collections.abc import AsyncIterator, Callable
from typing import Any

import httpx
import numpy as np
import pytest

from tests.sources.conftest import Feed
from tests.support.farms import LATITUDE, LONGITUDE, build, tables
from tests.support.forecast_feeds import FORECAST_FEEDS, HOUR, PAST_H, Hours, fair_hours
from tests.support.running import SetClock
from watcher.farm import Farm
from watcher.limits.farm_arrays import FarmArrays
from watcher.limits.status import Status
from watcher.service.snapshot import Snapshot
from watcher.service.transactions import Transactions
from watcher.sources.base import Observations, SourceError
from watcher.sources.http import FeedClient
from watcher.store import health
from watcher.store.database import Database
from watcher.weather.series import Site, WeatherSeries

pytestmark = pytest.mark.long

NOON = 1_781_107_200  # 2026-06-10 11:00 in Chicago's zone
SPOILED = slice(PAST_H, PAST_H + 5)
"""Where only some hours lie: from now on."""

Fault = Callable[[Hours], Any]


def everywhere(name: str, change: Callable[[np.ndarray], np.ndarray]) -> Fault:
    def spoil(hours: Hours) -> None:
        hours[name] = change(hours[name])

    return spoil


def somewhere(name: str, change: Callable[[np.ndarray], np.ndarray]) -> Fault:
    def spoil(hours: Hours) -> None:
        hours[name][SPOILED] = change(hours[name][SPOILED])

    return spoil


def together(*faults: Fault) -> Fault:
    def spoil(hours: Hours) -> None:
        for fault in faults:
            fault(hours)

    return spoil


def winds(times: float) -> Fault:
    scaled = [everywhere(name, lambda v: v * times) for name in ("wind_m_s", "gust_m_s")]
    return together(*scaled)


def degrees(change: Callable[[np.ndarray], np.ndarray]) -> Fault:
    return together(everywhere("temp_c", change), everywhere("dew_point_c", change))


NULL = np.nan
CANNOT_BE = {
    "a wind of 1e300 m/s": somewhere("wind_m_s", lambda v: v * 0 + 1e300),
    "a wind below nothing": somewhere("wind_m_s", lambda v: v * 0 - 5.0),
    "a gust below nothing": somewhere("gust_m_s", lambda v: v * 0 - 5.0),
    "a direction of 720 degrees": somewhere("wind_from_deg", lambda v: v * 0 + 720.0),
    "a direction below nothing": somewhere("wind_from_deg", lambda v: v * 0 - 10.0),
    "a humidity of 400 %": somewhere("humidity_pct", lambda v: v * 0 + 400.0),
    "a humidity as a fraction": everywhere("humidity_pct", lambda v: v / 100.0),
    "a temperature in kelvin": degrees(lambda v: v + 273.15),
    "a temperature of no sensor": somewhere("temp_c", lambda v: v * 0 - 999.0),
    "a dew point over the temperature": somewhere("dew_point_c", lambda v: v * 0 + 34.0),
    "gusts under the wind": somewhere("gust_m_s", lambda v: v * 0 + 0.5),
    "gusts under the wind in every hour": everywhere("gust_m_s", lambda v: v / 3.6),
    "no wind": somewhere("wind_m_s", lambda v: v * NULL),
    "no gust": somewhere("gust_m_s", lambda v: v * NULL),
    "no temperature": somewhere("temp_c", lambda v: v * NULL),
    "nothing at all": lambda hours: [v.fill(NULL) for v in hours.values()],
    "degrees Fahrenheit": degrees(lambda v: v * 1.8 + 32.0),
}
OTHER_UNITS = {
    "km/h as m/s": winds(3.6),
    "mph as m/s": winds(1 / 0.44704),
    "kt as m/s": winds(3600 / 1852),
    "m/s as km/h": winds(1 / 3.6),
    "m/s as mph": winds(0.44704),
    "m/s as kt": winds(1852 / 3600),
    "degrees Fahrenheit": degrees(lambda v: v * 1.8 + 32.0),
    "degrees Celsius as Fahrenheit": degrees(lambda v: (v - 32.0) / 1.8),
}
LATER = 3 * 24 * HOUR
"""After so long nothing said before counts: one log serves for many faults."""


@pytest.fixture(params=sorted(FORECAST_FEEDS))
def kind(request: pytest.FixtureRequest) -> str:
    return str(request.param)


@pytest.fixture
def farm(kind: str) -> Farm:
    """Forecast only: no station stands in the way of what a feed makes suitable."""
    config: dict[str, Any] = tables()
    config["sources"] = {"feed": FORECAST_FEEDS[kind].entry}
    return build(config)


@pytest.fixture
async def client() -> AsyncIterator[FeedClient]:
    async def no_sleep(seconds: float) -> None:
        del seconds

    feed = Feed()
    transport = httpx.MockTransport(feed)
    async with FeedClient(contact="a@b.example", transport=transport, sleep=no_sleep) as client:
        client.feed = feed  # type: ignore[attr-defined]
        yield client


class Polling:
    """A watch that polls one feed."""

    def __init__(self, farm: Farm, log: Database, client: FeedClient, kind: str) -> None:
        self.clock = SetClock(NOON)
        self.transactions = Transactions(FarmArrays.of(farm), log, self.clock)
        self.log, self.client, self.kind = log, client, FORECAST_FEEDS[kind]

    async def poll(self, fault: Fault | None = None, shift: int = 0) -> bool:
        """Poll the feed; returns whether it counts as answering."""
        times, hours = fair_hours(self.clock.at)
        if fault is not None:
            fault(hours)
        bodies = self.kind.bodies(times + shift, copy.deepcopy(hours), self.clock.at - 900)
        self.client.feed.bodies = bodies  # type: ignore[attr-defined]
        try:
            polled = await self.kind.source(self.client).poll(self.clock.at)
        except SourceError as error:
            self.transactions.source_failed("feed", str(error))
        else:
            self.transactions.take_polled("feed", polled)
        return self.health().state == "answering"

    def health(self) -> Any:
        with self.log.reading() as session:
            return health.all_sources(session)[0]

    def suitable(self) -> np.ndarray:
        """Whether any field is suitable by any setup, from the hour of now on. [T]"""
        return suitable(self.transactions.judge())


def suitable(snapshot: Snapshot) -> np.ndarray:
    creek_side = snapshot.judgement.instant[0]  # beside the orchard: it hangs on the direction, too
    return (creek_side[..., snapshot.timeline.now_index :] == Status.SUITABLE).any(axis=0)


@pytest.fixture
def polling(farm: Farm, log: Database, client: FeedClient, kind: str) -> Polling:
    return Polling(farm, log, client, kind)


async def test_the_good_body_makes_hours_suitable(polling: Polling) -> None:
    assert await polling.poll()
    assert polling.suitable()[:5].all()
    assert polling.health().why is None


async def test_spoiled_hours_are_never_suitable(polling: Polling) -> None:
    for fault, spoil in CANNOT_BE.items():
        polling.clock.at += LATER
        await polling.poll(spoil)
        assert not polling.suitable()[:4].any(), fault
        assert fault.startswith("no ") or polling.health().why, fault


async def test_a_good_issue_stands_or_the_spoiled_hours_are_unknown(polling: Polling) -> None:
    for day, (fault, spoil) in enumerate((CANNOT_BE | OTHER_UNITS).items()):
        polling.clock.at = NOON + day * LATER
        assert await polling.poll(), fault
        polling.clock.at += HOUR
        before = polling.suitable()
        assert before[:3].all()
        if await polling.poll(spoil):
            assert not polling.suitable()[:3].any(), fault
        else:
            np.testing.assert_array_equal(polling.suitable(), before, fault)
        assert fault.startswith("no ") or polling.health().why, fault


async def test_another_unit_than_the_issue_before_is_refused_by_its_name(polling: Polling) -> None:
    for day, (fault, spoil) in enumerate(OTHER_UNITS.items()):
        polling.clock.at = NOON + day * LATER
        assert await polling.poll()
        polling.clock.at += HOUR
        assert not await polling.poll(spoil), fault
        assert "taken for" in polling.health().why, fault


async def test_an_issue_that_is_refused_is_not_refused_once_it_is_mended(polling: Polling) -> None:
    assert await polling.poll()
    polling.clock.at += HOUR
    assert not await polling.poll(OTHER_UNITS["km/h as m/s"])
    polling.clock.at += HOUR
    assert await polling.poll()
    assert polling.suitable().any()


@pytest.mark.parametrize("shift", [2 * HOUR, 200 * HOUR])
async def test_hours_that_do_not_cover_now_are_refused(
    polling: Polling, shift: int, kind: str
) -> None:
    if FORECAST_FEEDS[kind].tells_the_past and shift == 2 * HOUR:
        shift += PAST_H * HOUR
    assert await polling.poll()
    polling.clock.at += HOUR
    before = polling.suitable()
    assert not await polling.poll(shift=shift)
    assert "do not cover now" in polling.health().why
    np.testing.assert_array_equal(polling.suitable(), before)


async def test_an_issue_that_knows_far_less_does_not_take_the_place_of_a_good_one(
    polling: Polling,
) -> None:
    def forgets(hours: Hours) -> None:
        hours["wind_m_s"][PAST_H + 8 :] = NULL

    assert await polling.poll()
    polling.clock.at += HOUR
    before = polling.suitable()
    assert not await polling.poll(forgets)
    assert "of the coming 24 hours" in polling.health().why
    np.testing.assert_array_equal(polling.suitable(), before)


async def test_once_the_good_issue_is_too_old_nothing_is_suitable(polling: Polling) -> None:
    assert await polling.poll()
    polling.clock.at += 4 * HOUR
    assert not await polling.poll(CANNOT_BE["nothing at all"])
    assert not polling.suitable().any()


async def test_another_unit_from_the_start_is_found_by_the_farms_own_readings(
    log: Database, client: FeedClient, kind: str
) -> None:
    """Where a feed tells of the past day, at once; else once it has foretold enough hours."""
    of_farm: dict[str, Any] = tables()
    feed = FORECAST_FEEDS[kind]
    mast = {"kind": "push", "heights": {"wind": "10 m"}}
    of_farm["sources"] = {"mast": mast, "feed": feed.entry}
    polling = Polling(build(of_farm), log, client, kind)
    site = Site(LATITUDE, LONGITUDE, wind_height_m=10.0)

    def blow(hours: Hours) -> None:
        """So that no sensor stands still; the same at each hour of the day, whoever tells it."""
        at = np.arange(hours["wind_m_s"].size) + polling.clock.at // HOUR
        for name in ("wind_m_s", "gust_m_s"):
            hours[name] = hours[name] * (1.0 + 0.3 * np.sin(at * 1.3))

    for day, (fault, spoil) in enumerate(OTHER_UNITS.items()):
        first = NOON + day * LATER
        polling.clock.at = first + 10 * HOUR
        times, hours = fair_hours(polling.clock.at)
        blow(hours)
        readings = Observations(WeatherSeries.of(times, site, "mast", hours))
        polling.transactions.take_in(readings.at(slice(PAST_H + 1)))
        for hour in () if feed.tells_the_past else range(10):
            polling.clock.at = first + hour * HOUR
            await polling.poll(together(blow, spoil))
        polling.clock.at = first + 10 * HOUR
        assert not await polling.poll(together(blow, spoil)), fault
        assert "taken for" in polling.health().why, fault
