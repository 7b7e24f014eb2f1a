"""From the link to the first message: taps, keys, and the time the program takes of it."""

import shutil
from pathlib import Path

import pytest
from playwright.async_api import async_playwright

from tests.support.first_farm_run import (
    Hand,
    draw,
    enter,
    from_nothing,
    tell_the_phone,
    tell_the_rest,
    tell_the_station,
    to_the_message,
    weighed,
)

pytestmark = pytest.mark.bench

CHROMIUM = shutil.which("chromium")


async def test_from_the_link_to_the_first_message(tmp_path: Path) -> None:
    """The shortest honest way: everything that must be told, a station, and who is told.

    A list counts two taps, a field one and a key a letter; the program's time is from each tap
    that leads on to the next page being there, and from the start to the message. How long the
    grower thinks, walks and looks at the label is not in it, nor the start of the process.
    """
    if CHROMIUM is None:
        pytest.skip("no chromium on this machine: apt-get install chromium")
    async with async_playwright() as playwright, from_nothing(tmp_path) as start:
        browser = await playwright.chromium.launch(
            executable_path=CHROMIUM, args=["--no-sandbox", "--disable-gpu"]
        )
        page = await browser.new_page(viewport={"width": 360, "height": 640}, locale="en-US")
        hand, fetched = Hand(page), await weighed(page)
        await enter(hand, start)
        await draw(hand)
        await tell_the_rest(hand)
        await tell_the_station(hand, start)
        await tell_the_phone(hand, start)
        weight = sum(fetched)
        title = await to_the_message(hand, start, "hill")
        await browser.close()
    print(
        f"\nfrom the link to “{title}”: {hand.taps} taps, {hand.keys} keys, "
        f"{len(hand.screens)} screens; the program took {hand.waited_s:.1f} s of it; "
        f"{weight / 1000:.1f} kB over the line until the watch starts"
    )
    assert "hill" in title
    assert hand.taps < 120
    assert hand.keys < 300
