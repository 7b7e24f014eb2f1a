"""One plan: the page, the brief, programs, the calendar and the command say the same of it."""

import asyncio
import re
import tempfile
from datetime import UTC
from html import unescape
from pathlib import Path

import icalendar
import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from typer.testing import CliRunner

from tests.support.planned_day import later, plan_anew, plan_of, planned_day
from tests.support.visiting import LOOKER, PROGRAM, Visited
from watcher.cli import plan as plan_command
from watcher.cli.app import app
from watcher.i18n.language import ENGLISH
from watcher.limits.status import Status
from watcher.messages.brief import morning_brief
from watcher.web.auth.users import Role, User

API = {"Authorization": f"Bearer {LOOKER}"}
STEP = re.compile(
    r'class="place">\d+</span><div>\n<p class="row-head"><a href="/fields/(\w+)">'
    r"<strong>[^<]*</strong></a> (?:now|[^<]*?) to ([^<]*?) <span"
)
_NO_SHRINKING = tuple(set(Phase) - {Phase.shrink, Phase.explain})
_PLAN = re.compile(r"(\d) ([a-z ]+?) (now|\d\d:\d\d|tomorrow \d\d:\d\d) to")

histories = st.lists(
    st.one_of(
        st.tuples(st.just("sky"), st.sampled_from(["7 mph", "19 mph", "30 mph"])),
        st.tuples(st.just("first"), st.sampled_from(["hill", "creek_side"])),
        st.tuples(st.just("not today"), st.sampled_from(["hill", "creek_side"])),
        st.tuples(st.just("start"), st.sampled_from(["hill", "creek_side"])),
        st.tuples(st.just("accept"), st.just("")),
        st.tuples(st.just("hours"), st.sampled_from(["0.5", "3"])),
    ),
    min_size=1,
    max_size=4,
)


@settings(max_examples=2, phases=_NO_SHRINKING)
@given(histories)
def test_all_surfaces_have_one_plan_after_any_history(history: list[tuple[str, str]]) -> None:
    asyncio.run(_agree(history))


@pytest.mark.long
@settings(max_examples=40, phases=_NO_SHRINKING)
@given(histories)
def test_all_surfaces_have_one_plan_over_many_histories(history: list[tuple[str, str]]) -> None:
    asyncio.run(_agree(history))


async def _agree(history: list[tuple[str, str]]) -> None:
    with tempfile.TemporaryDirectory() as folder, pytest.MonkeyPatch.context() as patch:
        async with planned_day(Path(folder)) as v:
            patch.setenv("WATCHER_STATE_DIR", folder)
            patch.setenv("COLUMNS", "240")
            farm = v.service.watch.transactions.plan.farm
            patch.setattr(plan_command, "open_farm", lambda _path: farm)
            patch.setattr(plan_command.time, "time", lambda: float(v.service.clock.at))
            v.log_in()
            for n, (what, about) in enumerate([("", ""), *history]):
                await _live(v, what, about, n)
                await v.quiet()
                said = await _said_everywhere(v)
                assert len({repr(steps) for steps in said.values()}) == 1, f"{what} {about}: {said}"


async def _live(v: Visited, what: str, about: str, n: int) -> None:
    if what == "sky":
        await later(v, gust=about)
    elif what == "hours":
        await later(v, int(float(about) * 3600))
    elif what == "start":
        await v.send("/plan", "/jobs", field=about, setup="coarse", key=f"start {n}")
    elif what == "accept":
        await v.send("/plan", "/plan/accept", plan=str(plan_of(v).kept.number), key=f"yes {n}")
    elif what:
        await v.send("/plan", "/plan/wish", wish=what, field=about, key=f"wish {n}")
    if what != "hours" or about != "3":  # after so long the plan is old, unless it is made anew
        await v.service.judged()
        await plan_anew(v)


async def _said_everywhere(v: Visited) -> dict[str, list[str]]:
    """Return the fields each surface says are to be sprayed, in order."""
    plan, snapshot = plan_of(v), v.service.watch.snapshot
    assert snapshot is not None
    said = {"log": [step.field for step in plan.steps]}
    page = unescape((await v.web.get("/plan")).text)
    said["page"] = [field for field, _ in STEP.findall(page)]
    if len(set(said["page"])) == len(said["page"]):
        said["page"] = sorted(said["page"], key=said["log"].index)
    body = (await v.web.get("/api/v1/plan", headers=API)).json()
    said["api"] = [step["field"] for step in body["steps"]]
    assert body["state"] == ("old" if plan.old else body["state"])
    feed = icalendar.Calendar.from_ical((await v.web.get("/plan.ics")).content)
    events = list(feed.walk("VEVENT"))
    said["calendar"] = [str(event["SUMMARY"]).split(":")[0].replace(" ", "_") for event in events]
    starts = [int(event["DTSTART"].dt.astimezone(UTC).timestamp()) for event in events]
    assert starts == [step["starts_at"] for step in body["steps"]] or plan.due
    answer = await asyncio.to_thread(CliRunner().invoke, app, ["plan"])
    assert answer.exit_code == 0, answer.output
    if not plan.old:
        said["command"] = _in_tables(answer.output, said["log"])
        _brief_agrees(v, said["log"])
    # The field to spray now is the one the plan begins now.
    due = {step.field for step in plan.due}
    every = snapshot.ranking.every
    open_due = [f for f in due if f in every and every[f].status >= Status.MARGINAL]
    assert {f.field for f in snapshot.ranking.spray[: len(open_due)]} == set(open_due)
    return said


def _in_tables(output: str, fields: list[str]) -> list[str]:
    """The steps of the command: rows that begin with two times."""
    rows = re.findall(r"│ [\w: ]*\d\d:\d\d +│ [\w: ]*\d\d:\d\d +│ (\w+) +│", output)
    return sorted(rows, key=fields.index)


def _brief_agrees(v: Visited, fields: list[str]) -> None:
    snapshot = v.service.watch.snapshot
    assert snapshot is not None
    brief = morning_brief(
        v.service.watch.transactions.post.speaker,
        snapshot.judgement,
        snapshot.ranking,
        snapshot.timeline,
        due_at=snapshot.timeline.now,
        plan=snapshot.plan,
    )
    title = brief.title.render(ENGLISH)
    lines = [match for line in brief.lines if (match := _PLAN.match(line.render(ENGLISH)))]
    if title.startswith("Plan"):
        assert [match[2].replace(" ", "_") for match in lines] == fields
        now = [match[2].replace(" ", "_") for match in lines if match[3] == "now"]
        open_now = {field.field for field in snapshot.ranking.spray}
        assert set(now) <= open_now or snapshot.plan.changed is not None
    else:
        assert not lines
        assert not fields


_ADDRESS = re.compile(r"http://127.0.0.1(/calendar/[^<]+)")


async def _new_address(v: Visited) -> str:
    await v.send("/plan", "/calendars")
    return _ADDRESS.findall((await v.web.get("/plan")).text)[-1]


async def test_a_calendar_reads_its_address_while_its_user_may_come_in(tmp_path: Path) -> None:
    async with planned_day(tmp_path) as v:
        v.log_in()
        assert _ADDRESS.findall((await v.web.get("/plan")).text) == []
        address = await _new_address(v)
        assert "never read" in (await v.web.get("/plan")).text
        v.web.cookies.clear()
        answer = await v.web.get(address)
        assert answer.status_code == 200
        assert answer.headers["content-type"] == "text/calendar; charset=utf-8"
        assert len(list(icalendar.Calendar.from_ical(answer.content).walk("VEVENT"))) == 2
        assert (await v.web.get("/plan.ics", follow_redirects=False)).status_code in {303, 401}
        wrong = address.replace("grower", "another")
        assert (await v.web.get(wrong)).status_code == 404
        [session] = v.sessions.sessions(v.service.clock.at)
        v.sessions.shut(session.number)
        assert (await v.web.get(address)).status_code == 404


async def test_an_address_of_a_calendar_is_stopped_alone(tmp_path: Path) -> None:
    async with planned_day(tmp_path) as v:
        v.log_in(Role.LOOK)
        first, second = await _new_address(v), await _new_address(v)
        assert (await v.web.get(second)).status_code == 200
        page = (await v.web.get("/plan")).text
        assert len(re.findall("never read", page)) == 1  # the watch says which one is in use
        number = first.removeprefix("/calendar/").partition(".")[0]
        answer = await v.send("/plan", f"/calendars/{number}/stop")
        assert answer.status_code == 303
        assert (await v.web.get(first)).status_code == 404
        assert (await v.web.get(second)).status_code == 200
        assert (await v.web.get("/plan")).status_code == 200  # its user is still in


async def test_nobody_stops_the_address_of_another(tmp_path: Path) -> None:
    async with planned_day(tmp_path) as v:
        v.log_in()
        address = await _new_address(v)
        token = v.sessions.open(User("mate", Role.RUN), v.service.clock.at, by_link=True)
        v.web.cookies.set("watcher", token, domain="127.0.0.1")
        assert _ADDRESS.findall((await v.web.get("/plan")).text) == []
        await v.send("/plan", f"/calendars/{address.removeprefix('/calendar/')[:8]}/stop")
        assert (await v.web.get(address)).status_code == 200


async def test_a_user_with_any_name_has_a_calendar(tmp_path: Path) -> None:
    async with planned_day(tmp_path) as v:
        token = v.sessions.open(User("my old phone", Role.LOOK), v.service.clock.at, by_link=True)
        v.web.cookies.set("watcher", token, domain="127.0.0.1")
        address = await _new_address(v)
        v.web.cookies.clear()
        assert (await v.web.get(address)).status_code == 200


async def test_a_program_accepts_once_and_asks(tmp_path: Path) -> None:
    async with planned_day(tmp_path) as v:
        v.web.headers["Authorization"] = f"Bearer {PROGRAM}"
        number = (await v.web.get("/api/v1/plan")).json()["number"]
        for _ in range(2):
            answer = await v.web.post(
                f"/api/v1/plan/{number}/accept", headers={"Idempotency-Key": '"one"'}
            )
            assert answer.json()["accepted_by"] == "robot"
        assert (await v.web.post("/api/v1/plan/99/accept")).status_code == 409
        asked = {"wish": "home by", "clock": "yesterday"}
        assert (await v.web.post("/api/v1/plan/wishes", json=asked)).status_code == 422
        asked, key = {"wish": "not today", "field": "hill"}, {"Idempotency-Key": "two"}
        for _ in range(2):
            answer = await v.web.post("/api/v1/plan/wishes", json=asked, headers=key)
            assert answer.json()["state"] in {"being worked out", "stands"}
        asked["field"] = "creek_side"
        other = await v.web.post("/api/v1/plan/wishes", json=asked, headers=key)
        assert other.status_code == 422
        figures = (await v.web.get("/metrics")).text
        assert 'watcher_plan_steps{sprayer="boom"}' in figures
