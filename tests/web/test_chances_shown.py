"""One chance on every surface, and none over an unsuitable or unknown now."""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from html import unescape
from pathlib import Path

import pytest

from tests.support.running import put_forecast
from tests.support.visiting import CALM, NOON, PROGRAM, Visited, visited
from watcher.judge.best_starts import best_starts
from watcher.judge.ranking import FieldNow
from watcher.messages.brief import morning_brief
from watcher.messages.chances import best_start_items, holds_line, start_line

pytestmark = pytest.mark.long

API = {"Authorization": f"Bearer {PROGRAM}"}


async def judged_again(v: Visited, **reading: str) -> None:
    v.service.clock.at += 60
    await v.service.post(**CALM | reading)
    await v.service.judged()


def hill(v: Visited) -> FieldNow:
    snapshot = v.service.watch.snapshot
    assert snapshot is not None
    return snapshot.ranking.every["hill"]


@asynccontextmanager
async def foretold(folder: Path) -> AsyncIterator[Visited]:
    """A service that has worked out chances, with somebody logged in."""
    async with visited(folder, chances=True) as v:
        put_forecast(v.service.watch.transactions.store, NOON + 1, wind_m_s=3.6, gust_m_s=4.6)
        await judged_again(v)
        await v.service.watch._work_out_chances()
        await judged_again(v)
        v.log_in()
        yield v


async def test_every_surface_tells_the_same_chance(tmp_path: Path) -> None:
    async with foretold(tmp_path) as v:
        seen = hill(v)
        assert seen.chance is not None
        assert seen.chance.chance is not None
        said = str(
            holds_line(seen.chance, v.service.clock.at, v.service.watch.transactions.plan.farm.zone)
        )
        assert " in 10 until " in said
        assert "mostly general experience" in said
        assert said in (await v.web.get("/")).text
        page = (await v.web.get("/fields/hill")).text
        assert said in page
        assert str(start_line(seen.chance)) in page
        assert "the first half" in page
        answer = (await v.web.get("/api/v1/ranking", headers=API)).json()
        [field] = [f for f in answer["spray"] if f["field"] == "hill"]
        assert field["chance"]["odds"] == seen.chance.chance
        assert field["chance"]["first_half"] == seen.chance.first_half
        assert field["chance"]["sentence"] == said
        hours = (await v.web.get("/api/v1/fields/hill/forecast", headers=API)).json()["hours"]
        assert hours[0]["odds"] == seen.chance.chance
        assert sum(h["odds"] is not None for h in hours) > 12
        figures = (await v.web.get("/metrics", headers=API)).text
        assert f'watcher_field_chance_ratio{{field="hill"}} {seen.chance.chance}' in figures
        v.web.headers["Accept-Language"] = "es"
        assert " de cada 10 hasta " in (await v.web.get("/")).text


async def test_every_surface_names_the_same_best_starts_of_three_days(tmp_path: Path) -> None:
    async with foretold(tmp_path) as v:
        snapshot = v.service.watch.snapshot
        chances = v.service.watch.transactions.chances
        assert snapshot is not None
        assert chances is not None
        of = snapshot.judgement, snapshot.timeline.now_index
        days = best_starts(*of, chances, "hill")
        assert len(days) == 3
        assert days[0].best is not None
        page = unescape((await v.web.get("/fields/hill")).text)
        items = best_start_items(days, v.service.clock.at, snapshot.judgement.plan.farm.zone)
        for said in items:
            assert f"<li>{said}</li>" in page
        answer = (await v.web.get("/api/v1/fields/hill/forecast", headers=API)).json()
        assert [day["day"] for day in answer["best_starts"]] == [d.day.isoformat() for d in days]
        assert [day["known"] for day in answer["best_starts"]] == [d.known for d in days]
        best = answer["best_starts"][0]
        assert best["first_start"] == days[0].first_at == v.service.clock.at
        assert best["chance"]["odds"] == days[0].best.chance
        assert best["last_start"] == days[0].last_at
        # The grid has no better hour, and the same tenths in these.
        hours = {h["at"]: h["odds"] for h in answer["hours"]}
        assert hours[days[0].first_at] == days[0].best.chance
        speaker = v.service.watch.transactions.post.speaker
        brief = morning_brief(
            speaker,
            snapshot.judgement,
            snapshot.ranking,
            snapshot.timeline,
            due_at=NOON,
            chances=chances,
        )
        lines = [str(line) for line in brief.lines]
        assert any(line.startswith("hill, best starts: ") for line in lines)
        assert all(str(items[0]) in line for line in lines if line.startswith("hill, best"))


async def test_best_starts_are_not_known_without_chances(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        v.log_in()
        page = (await v.web.get("/fields/hill")).text
        assert "Best starts of the next three days" in page
        assert "No chances are known yet." in page
        answer = (await v.web.get("/api/v1/fields/hill/forecast", headers=API)).json()
        assert answer["best_starts"] == []


@pytest.mark.parametrize("reading", [{"gust": "30 mph"}, {"wind": "25 mph", "gust": "30 mph"}])
async def test_an_unsuitable_now_has_no_chance_anywhere(
    tmp_path: Path, reading: dict[str, str]
) -> None:
    async with visited(tmp_path, chances=True) as v:
        await v.service.watch._work_out_chances()
        await judged_again(v, **reading)
        v.log_in()
        assert hill(v).chance is None
        assert " in 10" not in (await v.web.get("/")).text
        page = (await v.web.get("/fields/hill")).text
        now, ahead = page.split("Best starts of the next three days")
        assert " in 10" not in now
        assert "<li>11:01" not in ahead  # those ahead may well be better
        answer = (await v.web.get("/api/v1/ranking", headers=API)).json()
        assert all(f["chance"] is None for f in answer["spray"] + answer["rest"])
        assert 'chance_ratio{field="hill"}' not in (await v.web.get("/metrics", headers=API)).text


async def test_an_unknown_now_has_no_chance_anywhere(tmp_path: Path) -> None:
    async with visited(tmp_path, chances=True) as v:
        await v.service.watch._work_out_chances()
        v.service.clock.at += 3600  # the mast has been silent since
        await v.service.judged()
        v.log_in()
        assert hill(v).chance is None
        assert " in 10" not in (await v.web.get("/")).text
        page = (await v.web.get("/fields/hill")).text
        assert " in 10" not in page[: page.index('id="at"')]


async def test_a_chance_that_is_not_known_says_so(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        v.log_in()
        assert "chance not known" in (await v.web.get("/")).text
        page = (await v.web.get("/fields/hill")).text
        assert "Not known how likely it holds to the end." in page
        answer = (await v.web.get("/api/v1/ranking", headers=API)).json()
        assert [f["chance"] for f in answer["spray"]] == [None, None]


async def test_chances_worked_out_long_ago_are_not_shown(tmp_path: Path) -> None:
    async with visited(tmp_path, chances=True) as v:
        await v.service.watch._work_out_chances()
        v.service.clock.at = NOON + 3 * 3600
        put_forecast(v.service.watch.transactions.store, v.service.clock.at)
        await judged_again(v)
        v.log_in()
        assert hill(v).chance is None
        assert "chance not known" in (await v.web.get("/hours")).text


async def test_the_api_tells_where_a_bound_comes_from_whatever_that_is(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        answer = (await v.web.get("/api/v1/fields/hill/reasons", headers=API)).json()
        assert {limit["origin"] for limit in answer["limits"]} <= {"label", "own", "default"}
