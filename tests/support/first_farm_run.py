"""A first visit on a port, and the watch that runs on the farm it wrote: from nothing to a message.

``Hand`` goes through the screens as a grower's hand would, and counts its taps and keys.
"""

import asyncio
import time
from collections.abc import AsyncIterator, Mapping
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from pathlib import Path

from playwright.async_api import Locator, Page, expect
from pydantic import SecretStr

from tests.support.new_log import new_log
from tests.support.receiver import Receiver
from tests.support.running import TOKEN, Running, SetClock, put_forecast, running
from watcher.farm.load import load
from watcher.service.first_farm import FirstFarm
from watcher.service.kept_secrets import SecretKind, Secrets
from watcher.web.app import Keys
from watcher.web.auth.authenticator import Authenticator
from watcher.web.auth.sessions import SessionStore
from watcher.web.auth.users import Role, User, Users
from watcher.web.first_visit.app import create_first_visit
from watcher.web.first_visit.visit import FirstVisit
from watcher.web.listening import listen
from watcher.web.server import Server

DAWN = 1_781_087_400  # 2026-06-10 05:30 in Chicago's zone
STATION = {
    "dateutc": "2026-06-10T10:29:00Z",
    "windspeedmph": 5.1,
    "windgustmph": 7.2,
    "winddir": 5,
    "tempf": 62.1,
    "humidity": 70,
}
"""What an invented station posts, in its own names."""
SPRAYER: Mapping[str, str] = {
    "Width of the boom": "90 ft",
    "Height of the boom": "20 in",
    "Speed": "6 mph",
    "What the tank holds": "1000 gal",
    "Share of the time": "65 %",
    "From leaving the row": "20 min",
    "Spray volume": "15 gal/acre",
}


@dataclass
class FromNothing:
    """A first visit, and what comes after it."""

    url: str
    link: str
    visit: FirstVisit
    file: Path
    folder: Path
    receiver: Receiver

    @asynccontextmanager
    async def watching(self) -> AsyncIterator[Running]:
        """Run the watch on the farm that was written, at dawn, with its forecast and station."""
        store = new_log(self.folder / "watch.db")
        put_forecast(store, DAWN, source="forecast", wind_m_s=3.5, gust_m_s=5.0)
        clock, sessions = SetClock(DAWN), self.visit.auth.sessions
        try:
            async with running(
                load(self.file),
                store,
                clock,
                urls=dict(self.visit.addresses),
                keys=Keys(sessions, pushes=self.visit.pushes),
                farm_file=self.file,
            ) as service:
                yield service
        finally:
            store.close()


@asynccontextmanager
async def from_nothing(folder: Path) -> AsyncIterator[FromNothing]:
    """Serve the screens where there is no farm file yet."""
    sessions, written = SessionStore(folder / "door.db"), asyncio.Event()
    file, receiver = folder / "farm" / "farm.toml", Receiver()
    visit = FirstVisit(
        FirstFarm(folder / "first.json", file),
        Authenticator(sessions, Users(), SetClock(DAWN)),
        lambda _farm: (),
        written,
        tokens={"mast": SecretStr(TOKEN)},
        tokens_in_settings=frozenset({"mast"}),
        secrets=Secrets(None, {SecretKind.PUSH: {"grower": receiver.url()}}),
    )
    server = Server(create_first_visit(visit))
    link = sessions.make_link(User("owner", Role.ADMINISTER), DAWN)
    [listening] = listen("127.0.0.1", 0)
    with listening:
        serving = asyncio.create_task(server.serve(sockets=[listening]))
        async with asyncio.timeout(20):
            while not server.started:  # noqa: ASYNC110
                await asyncio.sleep(0.01)
        url = f"http://127.0.0.1:{listening.getsockname()[1]}"
        yield FromNothing(url, f"{url}/login/{link}", visit, file, folder, receiver)
        server.should_exit = True
        await serving
    sessions.close()
    receiver.close()


async def weighed(page: Page) -> list[float]:
    """Return a list that grows by the bytes of each answer as it comes over the line.

    Answers that lead on are counted too.
    """
    line = await page.context.new_cdp_session(page)
    await line.send("Network.enable")
    came: list[float] = []

    def asked(event: Mapping[str, Mapping[str, float]]) -> None:
        if led_on := event.get("redirectResponse"):
            came.append(led_on["encodedDataLength"])

    line.on("Network.requestWillBeSent", asked)
    line.on("Network.loadingFinished", lambda e: came.append(e["encodedDataLength"]))
    return came


@dataclass
class Hand:
    """A hand on a page: what it taps and types is counted, and how long the program kept it."""

    page: Page
    taps: int = 0
    keys: int = 0
    waited_s: float = 0.0
    screens: list[str] = field(default_factory=list)

    async def tap(self, what: Locator, **where: object) -> None:
        await what.click(**where)  # type: ignore[arg-type]
        self.taps += 1

    async def type(self, label: str, text: str) -> None:
        """Tap a field and type; what the phone's keyboard offers nobody counts on."""
        await self.page.get_by_label(label).first.fill(text)
        self.taps += 1
        self.keys += len(text)

    async def choose(self, label: str, value: str) -> None:
        """Open a list and tap one of it."""
        await self.page.get_by_label(label, exact=True).select_option(value)
        self.taps += 2

    async def go(self, name: str) -> None:
        """Tap a button that leads to the next page, and wait for it."""
        begun, self.screens = time.perf_counter(), [*self.screens, self.page.url]
        async with self.page.expect_navigation():
            await self.page.get_by_role("button", name=name, exact=True).click()
        self.waited_s += time.perf_counter() - begun
        self.taps += 1

    async def press(self, name: str) -> None:
        """Tap a button that stays on its page."""
        await self.tap(self.page.get_by_role("button", name=name, exact=True))

    async def open(self, address: str) -> None:
        """Open an address that is at hand, such as that of a code."""
        begun = time.perf_counter()
        await self.page.goto(address)
        self.waited_s += time.perf_counter() - begun
        self.taps += 1


async def enter(hand: Hand, start: FromNothing) -> None:
    """From the link to the screen of the first field."""
    await hand.open(start.link)
    await hand.go("Begin")
    await hand.type("Latitude and longitude", "41.6250, -96.9450")
    await hand.type("What the farm is called", "Invented")
    await hand.go("Next")


async def draw(hand: Hand) -> None:
    """Four corners tapped on the grid: 600 m each way."""
    await hand.type("Name of the field", "Hill")
    grid = hand.page.locator("#grid")
    box = await grid.bounding_box()
    assert box is not None
    for x, y in ((0.2, 0.8), (0.8, 0.8), (0.8, 0.2), (0.2, 0.2)):
        await hand.tap(grid, position={"x": box["width"] * x, "y": box["height"] * y})


async def tell_the_rest(hand: Hand, *, field: str = "hill") -> None:
    """Everything after the field, the shortest honest way: what must be told, and a station."""
    await hand.go("Next")
    await hand.type("Crop", "soybeans")
    await hand.type("Height of the crop", "12 in")
    await hand.choose("Weeds", "clean")
    await hand.choose("Weeds to kill", "mixed")
    await hand.go("Next")
    assert field in hand.page.url, hand.page.url
    await hand.choose("To the south", "tolerant")
    await hand.page.get_by_label("What grows or lives there").nth(2).fill("corn")
    hand.taps, hand.keys = hand.taps + 1, hand.keys + len("corn")
    await hand.go("Next")
    for label, value in SPRAYER.items():
        await hand.type(label, value)
    await hand.choose("Nozzles", "air induction")
    await hand.choose("Droplets, from the nozzle's chart at your pressure", "coarse")
    await hand.go("Next")
    for name, value in (("wind:low", "3 mph"), ("wind:high", "10 mph"), ("gust:high", "15 mph")):
        await hand.page.locator(f"[id='f-{name}']").fill(value)
        hand.taps, hand.keys = hand.taps + 1, hand.keys + len(value)
    await hand.go("Next")
    await hand.choose("Forecast", "met_norway")
    await hand.go("Next")


async def tell_the_station(hand: Hand, start: FromNothing) -> None:
    """Look at what the station has posted meanwhile, and say how high its sensor is."""
    headers = {"Authorization": f"Bearer {TOKEN}"}
    api = hand.page.context.request
    sent = await api.post(f"{start.url}/stations/mast/readings", data=STATION, headers=headers)
    assert sent.status == 202, await sent.text()
    await hand.go("Look at what came")
    await hand.type("Height of its wind sensor", "10 ft")
    await hand.go("Next")


async def tell_the_phone(hand: Hand, start: FromNothing) -> None:
    """Try the push address, and keep who is told."""
    await hand.go("Send a test to grower")
    assert start.receiver.wait_for(1)[-1].title == "Test of the weather watch"
    await hand.go("Next")


async def to_the_message(hand: Hand, start: FromNothing, field: str) -> str:
    """Start the watch, and see the field in the day's brief and on the page.

    Returns the brief's title.
    """
    await hand.go("Start watching")
    assert start.visit.written.is_set()
    async with start.watching() as service:
        sent = await service.http.post("/stations/mast/readings", json=STATION)
        assert sent.status_code == 200, sent.text
        service.clock.at += 120
        await service.judged()
        begun = time.perf_counter()
        got = await asyncio.to_thread(start.receiver.wait_for, 2)
        hand.waited_s += time.perf_counter() - begun
        await hand.open(str(service.http.base_url))
        await expect(hand.page.locator(f'a[href="/fields/{field}"]').first).to_be_visible()
        await hand.page.goto("about:blank")  # which ends its stream of events
    return got[1].title
