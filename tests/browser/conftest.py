"""A real browser on the real service: Debian's Chromium, driven by Playwright."""

import os
import shutil
import tempfile
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass
from pathlib import Path

import pytest
import pytest_asyncio
from playwright.async_api import Browser, BrowserContext, Page, async_playwright

from tests.support.visiting import Visited, visited
from watcher.web.auth.users import Role

CHROMIUM = shutil.which("chromium")
_QUIETLY = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
_CONTROLLED = """
new Promise(done => {
  const look = () => navigator.serviceWorker.controller && done(true);
  navigator.serviceWorker.addEventListener("controllerchange", look);
  look();
})
"""
PHONE = {"width": 390, "height": 844}
DESK = {"width": 1280, "height": 900}


@pytest_asyncio.fixture
async def browser() -> AsyncIterator[Browser]:
    async with _launched() as browser:
        yield browser


@pytest_asyncio.fixture
async def browser_with_large_text() -> AsyncIterator[Browser]:
    """A browser whose user has set text to twice its usual size."""
    async with _launched("--blink-settings=defaultFontSize=32") as browser:
        yield browser


@asynccontextmanager
async def _launched(*arguments: str) -> AsyncIterator[Browser]:
    if CHROMIUM is None:
        pytest.skip("no chromium on this machine: apt-get install chromium")
    async with async_playwright() as playwright:
        args = [*_QUIETLY, *arguments]
        browser = await playwright.chromium.launch(executable_path=CHROMIUM, args=args)
        yield browser
        await browser.close()


@pytest.fixture(scope="session")
def axe() -> str:
    """The accessibility engine's source, as .ci/run installs it."""
    cache = Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache")
    folder = Path(os.environ.get("AXE_CORE") or cache / "field-weather-watch" / "axe-core")
    file = folder / "node_modules" / "axe-core" / "axe.min.js"
    if not file.is_file():
        pytest.skip(f"no axe-core at {file}; .ci/run installs it from the npm registry")
    return file.read_text(encoding="utf-8")


@dataclass
class Open:
    """A page that is open on a running service."""

    visited: Visited
    context: BrowserContext
    page: Page
    url: str
    wrong: list[str]
    """What the page complained of: errors of its scripts, refusals of its policy."""

    async def go(self, path: str) -> None:
        await self.page.goto(self.url + path)

    async def kept(self) -> None:
        """Wait until the service worker answers for this page.

        A promise, because the page's policy refuses the text that a polling wait evaluates anew.
        """
        await self.page.evaluate(_CONTROLLED)


@asynccontextmanager
async def opened(
    browser: Browser,
    v: Visited,
    role: Role | None = Role.ADMINISTER,
    size: dict[str, int] = PHONE,
    **context: object,
) -> AsyncIterator[Open]:
    """Open a browser window on a service, logged in unless ``role`` is None."""
    url = str(v.web.base_url).rstrip("/")
    opened_context = await browser.new_context(viewport=size, **context)  # type: ignore[arg-type]
    if role is not None:
        v.log_in(role)
        cookie = {"name": "watcher", "value": v.web.cookies["watcher"], "url": url}
        await opened_context.add_cookies([cookie])  # type: ignore[list-item]
    page = await opened_context.new_page()
    page.set_default_timeout(10_000)
    wrong: list[str] = []
    page.on("pageerror", lambda error: wrong.append(str(error)))
    page.on("console", lambda m: wrong.append(m.text) if m.type == "error" else None)
    try:
        yield Open(v, opened_context, page, url, wrong)
    finally:
        await opened_context.close()


@pytest_asyncio.fixture
async def service() -> AsyncIterator[Visited]:
    with tempfile.TemporaryDirectory() as folder:
        async with visited(Path(folder)) as v:
            yield v
