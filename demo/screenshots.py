"""``python -m demo.screenshots``: the README's two pictures, of a moment of the demo's day.

Takes the log that ``python -m demo`` left, copies it, and opens the real service on the copy, with
its clock stopped in the calm of the morning. Needs Debian's Chromium and the extra [dev].
"""

import argparse
import asyncio
import os
import shutil
import signal
import tempfile
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, closing
from pathlib import Path

from playwright.async_api import async_playwright

from demo import day
from demo.clock import FastClock
from demo.loopback import HOST
from demo.play import FARM
from watcher.delivery.worker import DeliveryWorker
from watcher.farm.load import load
from watcher.limits.farm_arrays import FarmArrays
from watcher.service import logs
from watcher.service.transactions import Transactions
from watcher.service.watch import Watch
from watcher.store.database import Database
from watcher.web.app import Keys, create_app
from watcher.web.auth.sessions import SessionStore
from watcher.web.auth.users import Role, User
from watcher.web.listening import listen
from watcher.web.server import serve

AT = day.at(9.25)
HERE = Path(__file__).parent
_PORT = 8949
_ARGUMENTS = ("--no-sandbox", "--disable-gpu", "--disable-background-networking")


def main() -> None:
    """Make both pictures."""
    parser = argparse.ArgumentParser(prog="python -m demo.screenshots", description=__doc__)
    parser.add_argument("--database", type=Path, default=HERE / "day.db", help="the day's log")
    parser.add_argument("--into", type=Path, default=HERE, help="folder of the pictures")
    options = parser.parse_args()
    if not options.database.is_file():
        parser.error(f"there is no log {options.database}; python -m demo makes it")
    logs.set_up("text", "error")
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder) / "day.db"
        shutil.copy(options.database, copy)
        with closing(Database(f"sqlite:///{copy}")) as log:
            log.upgrade()
            asyncio.run(_make(log, options.into))
    print(f"Made two pictures in {options.into}.")


async def _make(log: Database, into: Path) -> None:
    async with _served(log) as (token, field), async_playwright() as playwright:
        browser = await playwright.chromium.launch(
            executable_path=shutil.which("chromium"), args=list(_ARGUMENTS)
        )
        context = await browser.new_context(
            viewport={"width": 390, "height": 844}, device_scale_factor=1.5
        )
        url = f"http://{HOST}:{_PORT}"
        await context.add_cookies([{"name": "watcher", "value": token, "url": url}])
        page = await context.new_page()
        await page.goto(url)
        await page.screenshot(path=into / "screenshot-now.png")
        await page.goto(f"{url}/fields/{field}")
        await page.locator("figure").evaluate("map => map.scrollIntoView({block: 'center'})")
        await page.screenshot(path=into / "screenshot-field.png")
        await browser.close()


@asynccontextmanager
async def _served(log: Database) -> AsyncIterator[tuple[str, str]]:
    """Run the service at the moment; yield a session's token and the first field to be sprayed."""
    farm, clock, sessions = load(FARM), FastClock(AT), SessionStore(None)
    delivery = DeliveryWorker(log, farm, {}, now=clock.now, speed=clock.speed)
    watch = Watch(Transactions(FarmArrays.of(farm), log, clock), {}, delivery)
    serving = asyncio.create_task(
        serve(watch, create_app(watch, Keys(sessions)), listen(HOST, _PORT))
    )
    async with watch.changed:
        await watch.changed.wait_for(lambda: watch.judged > 0)
    while not await _answers():  # noqa: ASYNC110  # no event tells
        await asyncio.sleep(0.05)
    snapshot = watch.snapshot
    first = next(iter(snapshot.ranking.every)) if snapshot else ""
    yield sessions.open(User("grower", Role.RUN), AT, by_link=True), first
    os.kill(os.getpid(), signal.SIGTERM)
    await serving
    sessions.close()


async def _answers() -> bool:
    try:
        _, writer = await asyncio.open_connection(HOST, _PORT)
    except OSError:
        return False
    writer.close()
    return True


if __name__ == "__main__":
    main()
