"""A reading taken by hand counts at once, for a while, and is in the record."""

import re
from functools import partial
from html import unescape
from pathlib import Path

import pytest

from tests.support.visiting import CALM, NOON, PROGRAM, Visited, visited
from watcher.records.commands import look
from watcher.service.snapshot import compose


async def _started(v: Visited) -> None:
    v.log_in()
    await v.send("/fields/hill", "/jobs", field="hill", setup="coarse")
    await v.quiet()


async def _page(v: Visited) -> str:
    await v.service.judged()
    await v.quiet()
    return unescape((await v.web.get("/jobs/1")).text)


async def test_a_reading_over_the_bound_stops_at_once_whatever_the_mast_says(
    tmp_path: Path,
) -> None:
    async with visited(tmp_path) as v:
        await _started(v)
        # A number alone is in the unit that stands beside it.
        answer = await v.send("/jobs/1", "/jobs/1/reading", wind="12", key="r")
        assert answer.status_code == 303
        page = await _page(v)
        assert "✕ Stop" in page
        assert "Wind 12 mph, at most 10 mph (label): 2 mph over" in page
        assert "Wind measured by hand at the boom just now; it counts for 20 min more." in page
        words = " ".join(re.sub(r"<[^>]+>", " ", page).split())
        assert "At the mast 5 mph gust 7 mph" in words  # which says what it said
        v.service.clock.at += 1200
        await v.service.post(**CALM)
        assert '<p class="who">Wind measured by mast' in await _page(v)


async def test_a_reading_that_cannot_be_is_refused_with_what_would_do(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        await _started(v)
        v.web.headers["Authorization"] = f"Bearer {PROGRAM}"
        for measured, says in (
            ({"wind": "12"}, "unit"),
            ({"humidity": "400 %"}, "cannot be"),
            ({"gust": "12 mph"}, "read with its wind"),
            ({}, "nothing was measured"),
        ):
            answer = await v.web.post("/api/v1/jobs/1/reading", json={"measured": measured})
            assert answer.status_code == 422
            assert says in answer.json()["wrong"]


async def test_readings_are_in_the_record(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        await _started(v)
        await v.send("/jobs/1", "/jobs/1/reading", wind="6", humidity="50", key="r")
        v.service.clock.at = NOON + 1200
        await v.send("/jobs/1", "/jobs/1/finish", key="f")
        record = unescape((await v.web.get("/records/1")).text)
        assert "Readings taken by hand" in record
        with v.service.watch.transactions.store.reading() as session:
            plan = v.service.watch.transactions.plan
            kept = look(session, plan, partial(compose, session, plan), 1, NOON + 1200).kept
        assert kept is not None
        start = kept.moments[0]
        assert start.boom_wind_m_s == pytest.approx(6 * 0.44704)  # it was judged by that
        assert "wind 6 mph; humidity 50 %" in record
