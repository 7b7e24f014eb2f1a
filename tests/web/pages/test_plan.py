"""The page of the plan: what it tells, wishes and the yes as steps that count once."""

import re
from dataclasses import replace
from datetime import datetime
from html import unescape
from pathlib import Path

import numpy as np
import pytest

from tests.support.farms import tables
from tests.support.planned_day import later, plan_anew, plan_of, planned_day
from tests.support.visiting import NOON, PROGRAM, Visited, farm, visited
from watcher.planning.day_plan import NotPlanned
from watcher.web.auth.users import Role

HOUR = 3600
STEP = re.compile(
    r'<li><span class="place">(\d+)</span><div>\n<p class="row-head"><a href="/fields/(\w+)">'
)


def fields_of(page: str) -> list[str]:
    """The fields of the plan on a page, in their order."""
    return [field for _, field in STEP.findall(page)]


async def page_of(v: Visited) -> str:
    return unescape((await v.web.get("/plan")).text)


async def ask(v: Visited, **asked: str) -> int:
    answer = await v.send("/plan", "/plan/wish", **asked)
    return answer.status_code


async def test_each_step_has_its_hours_chance_loads_and_what_ends_it(tmp_path: Path) -> None:
    async with planned_day(tmp_path) as v:
        v.log_in()
        page, plan = await page_of(v), plan_of(v)
        assert fields_of(page) == [step.field for step in plan.steps]
        assert f"now to {clock(v, plan.steps[0].ends_at)}" in page
        assert f"{clock(v, plan.steps[1].starts_at)} to" in page
        assert len(re.findall(r'class="odds">\d in 10|class="odds">9 in 10 or better', page)) == 2
        # 16.02 ha are 39.6 acre; at 15 gal/acre these are 594 gal, half a tank of 1200 gal.
        assert page.count("One load of 594 gal.") == 2
        assert 'class="plan-strip"' in page
        assert "If you do creek side first" in page or "If you do hill first" in page
        assert "Made at 11:01; chances mostly general experience." in page
        assert "Guidance only." in page


def clock(v: Visited, at: int) -> str:
    zone = v.service.watch.transactions.plan.farm.zone
    return f"{datetime.fromtimestamp(at, zone):%H:%M}"


async def test_the_first_page_links_to_it_with_its_next_steps(tmp_path: Path) -> None:
    async with planned_day(tmp_path) as v:
        v.log_in()
        page = unescape((await v.web.get("/")).text)
        first = plan_of(v).steps[0]
        assert f'<a href="/plan">Plan of the day: {first.field.replace("_", " ")} now' in page
        assert page.index("can wait for") > page.index('<b class="place">2</b>')
        assert 'href="/plan"' in (await v.web.get("/more")).text


async def test_a_plan_that_no_longer_stands_says_so(tmp_path: Path) -> None:
    async with planned_day(tmp_path) as v:
        v.log_in()
        await ask(v, wish="not today", field="hill")
        page = await page_of(v)
        if plan_of(v).changed is not None:
            assert "being worked out anew. What you ask of it has changed since." in page
        v.service.clock.at += 3 * HOUR
        page = await page_of(v)
        assert "Old, of 11:01: do not go by it." in page
        assert fields_of(page) == []
        assert "Accept this plan" not in page


async def test_a_plan_put_together_at_once_says_so_and_is_not_accepted(tmp_path: Path) -> None:
    async with planned_day(tmp_path) as v:
        v.log_in()
        keeper = v.service.watch.plans
        assert keeper is not None
        quick = replace(plan_of(v).kept, quick=True)
        await v.service.watch.run_and_rejudge(lambda: keeper.keep(quick))
        page = await page_of(v)
        assert "put together at once; a better order is being looked for." in page
        assert fields_of(page) == [step.field for step in quick.plan.steps]
        assert "Accept this plan" not in page


async def test_no_plan_is_not_taken_for_nothing_to_do(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        v.log_in()
        assert "No plan is worked out here." in await page_of(v)
        assert "Plan of the day:" not in (await v.web.get("/")).text


async def test_who_drives_is_shown_everywhere(tmp_path: Path) -> None:
    fields = {name: entry | {"setups": ["coarse"]} for name, entry in tables()["fields"].items()}
    of = farm(fields=fields, drivers={"driver": {}})
    async with planned_day(tmp_path, of=of) as v:
        v.log_in()
        assert {step.driver for step in plan_of(v).steps} == {"driver"}
        page = await page_of(v)
        assert page.count("Driven by driver") == 2
        told_ = (
            await v.web.get("/api/v1/plan", headers={"Authorization": f"Bearer {PROGRAM}"})
        ).json()
        assert [step["driver"] for step in told_["steps"]] == ["driver", "driver"]
        assert "driven by driver" in (await v.web.get("/plan.ics")).text.replace("\r\n ", "")


async def test_a_wish_is_kept_and_taken_back(tmp_path: Path) -> None:
    async with planned_day(tmp_path) as v:
        v.log_in()
        first, second = (step.field for step in plan_of(v).steps)
        assert await ask(v, wish="first", field=second) == 303
        await v.service.judged()
        await plan_anew(v)
        assert plan_of(v).steps[0].field == second
        page = await page_of(v)
        assert f"{second.replace('_', ' ')} first" in page
        assert await ask(v, wish="first", field=second, back="yes") == 303
        assert await ask(v, wish="not today", field=first) == 303
        await v.service.judged()
        await plan_anew(v)
        plan = plan_of(v)
        tomorrow = NOON + 13 * HOUR  # 11:00 is thirteen hours before midnight
        assert all(s.starts_at >= tomorrow for s in plan.steps if s.field == first)
        assert plan.kept.wishes.first is None


async def test_home_by_bars_only_the_rest_of_the_day(tmp_path: Path) -> None:
    async with planned_day(tmp_path) as v:
        v.log_in()
        await ask(v, wish="home by", clock="11:30")
        await v.service.judged()
        await plan_anew(v)
        steps = plan_of(v).steps
        assert all(s.ends_at <= NOON + HOUR / 2 or s.starts_at >= NOON + 13 * HOUR for s in steps)
        assert await ask(v, wish="home by", clock="10:00") == 422
        assert await ask(v, wish="home by", clock="soon") == 422


async def test_a_wish_that_stands_in_the_way_is_named_once(tmp_path: Path) -> None:
    only_today = np.where(np.arange(-30, 80) < 7, 3.0, 14.0)
    sky = {"wind_m_s": only_today, "gust_m_s": 1.4 * only_today}
    async with planned_day(tmp_path, forecast=sky) as v:
        v.log_in()
        assert plan_of(v).steps
        await ask(v, wish="home by", clock="11:10")
        await ask(v, wish="first", field="hill")
        await v.service.judged()
        await plan_anew(v)
        page = await page_of(v)
        said = "hill cannot be first: your wish “home by” stands in the way."
        assert page.count(said) == 1
        assert "hill</b></a>: its hours are after you want to be home" in page


async def test_a_sprayer_without_a_setup_for_a_field_is_no_wish(tmp_path: Path) -> None:
    async with planned_day(tmp_path) as v:
        v.log_in()
        asked = {"wish": "only with", "field": "hill", "sprayer": "old_boom"}
        answer = await v.send("/plan", "/plan/wish", **asked)
        assert answer.status_code == 422
        assert "old boom has no setup for hill" in unescape(answer.text)


async def test_a_tap_accepts_once_whatever_it_is_sent(tmp_path: Path) -> None:
    async with planned_day(tmp_path) as v:
        v.log_in()
        number = str(plan_of(v).kept.number)
        for _ in range(2):
            answer = await v.send("/plan", "/plan/accept", plan=number, key="one tap")
            assert answer.status_code == 303
        accepted = plan_of(v).accepted
        assert accepted is not None
        assert (accepted.plan.number, accepted.by) == (int(number), "grower")
        assert "Accepted by grower, 11:01." in await page_of(v)
        other = await v.send("/plan", "/plan/accept", plan="999", key="one tap")
        assert other.status_code == 422
        gone = await v.send("/plan", "/plan/accept", plan="999", key="another")
        assert gone.status_code == 409


async def test_a_tap_that_was_kept_on_the_phone_counts_from_its_own_time(tmp_path: Path) -> None:
    async with planned_day(tmp_path) as v:
        v.log_in()
        number, tapped = str(plan_of(v).kept.number), v.service.clock.at
        v.service.clock.at += 300
        tap = {"plan": number, "key": "one tap", "ago": "300"}
        assert (await v.send("/plan", "/plan/accept", **tap)).status_code == 303
        accepted = plan_of(v).accepted
        assert accepted is not None
        assert accepted.at == tapped
        refused = await v.send("/plan", "/plan/accept", **tap | {"key": "other", "ago": "soon"})
        assert refused.status_code == 422


async def test_who_may_only_look_changes_nothing(tmp_path: Path) -> None:
    async with planned_day(tmp_path) as v:
        v.log_in(Role.LOOK)
        page = await page_of(v)
        assert "Accept this plan" not in page
        assert fields_of(page)
        token = v.form_token((await v.web.get("/more")).text)
        refused = await v.web.post("/plan/accept", data={"form_token": token, "plan": "1"})
        assert refused.status_code == 403


async def test_what_is_left_out_says_why(tmp_path: Path) -> None:
    async with planned_day(tmp_path) as v:
        v.log_in()
        await later(v, gust="30 mph")
        await plan_anew(v)
        plan, page = plan_of(v), await page_of(v)
        for field, why in plan.kept.plan.left_out.items():
            assert why in NotPlanned
            assert f'href="/fields/{field}"' in page[page.index("Left out") :]


@pytest.mark.parametrize("language", ["es"])
async def test_it_is_read_in_spanish(tmp_path: Path, language: str) -> None:
    async with planned_day(tmp_path) as v:
        v.log_in()
        v.web.headers["Accept-Language"] = language
        page = await page_of(v)
        assert "<h1>Plan del día</h1>" in page
        assert "Una carga de 594 gal." in page
        assert "Aceptar este plan" in page
