"""The same steps on every surface: a tap on a page, a call of the API, a command."""

import re
from collections.abc import Awaitable, Callable
from html import unescape
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from tests.support.visiting import CALM, NOON, PROGRAM, Visited, visited
from watcher.cli import job as job_commands
from watcher.cli.app import app
from watcher.jobs.steps import StepName
from watcher.store import jobs

Taker = Callable[[StepName, dict[str, str], str], Awaitable[bool]]
"""Takes a step of job 1 with a key; whether the surface says it is so."""

Asker = Callable[[], Awaitable[list[str]]]
"""Starts a job that is asked about, says yes, and returns what was told against it."""
Standing = Callable[[Visited], None]
"""Lets commands be given beside a running service."""

STEPS: list[tuple[StepName, dict[str, str]]] = [
    (StepName.START, {"field": "hill", "setup": "coarse"}),
    (StepName.PAUSE, {"note": "gusts"}),
    (StepName.RESUME, {}),
    (StepName.SETUP, {"setup": "fine"}),
    (StepName.READING, {"wind": "6 mph", "temperature": "70 degF"}),
    (StepName.CHANGE, {"boom": "15 in", "retardant": "guar", "rate": "2 oz/acre"}),
    (StepName.FINISH, {"note": "rain", "done": "40 %"}),
    (StepName.ABANDON, {}),  # no longer applies
]


def tapping(v: Visited) -> Taker:
    async def take(name: StepName, asked: dict[str, str], key: str) -> bool:
        v.log_in()
        to = "/jobs" if name is StepName.START else f"/jobs/1/{name}"
        answer = await v.send("/more", to, key=key, **asked)
        if answer.status_code == 409:
            assert "finished, 11:06, by grower" in unescape(answer.text)
            return False
        assert (answer.status_code, answer.headers["location"]) == (303, "/jobs/1")
        return True

    return take


def calling(v: Visited) -> Taker:
    async def take(name: StepName, asked: dict[str, str], key: str) -> bool:
        headers = {"Authorization": f"Bearer {PROGRAM}", "Idempotency-Key": f'"{key}"'}
        to = "/api/v1/jobs" if name is StepName.START else f"/api/v1/jobs/1/{name}"
        within = {StepName.READING: "measured", StepName.CHANGE: "changed"}.get(name)
        content = {within: asked} if within else asked
        answer = await v.web.post(to, json=content, headers=headers)
        if answer.status_code == 409:
            assert "finished, 11:06, by robot" in answer.json()["wrong"]
            return False
        assert answer.json()["outcome"] == "done", answer.text
        return True

    return take


def commanding(v: Visited) -> Taker:
    async def take(name: StepName, asked: dict[str, str], key: str) -> bool:
        given = {k: text for k, text in asked.items() if k not in {"field", "setup"}}
        options = [text for k in given for text in (f"--{k}", given[k])]
        match name:
            case StepName.START:
                named = ["hill", "--setup", asked["setup"]]
            case StepName.SETUP:
                named = ["1", asked["setup"]]
            case _:
                named = ["1"]
        answer = CliRunner().invoke(app, ["job", name.value, *named, *options, "--key", key])
        if answer.exit_code == 2:
            assert "finished, 11:06, by operator" in answer.output
            return False
        assert answer.exit_code == 0, answer.output
        return True

    return take


@pytest.fixture
def at_the_command_line(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Standing:
    def stand(v: Visited) -> None:
        monkeypatch.setenv("WATCHER_STATE_DIR", str(tmp_path))
        monkeypatch.setattr(
            job_commands, "open_farm", lambda _path: v.service.watch.transactions.plan.farm
        )
        monkeypatch.setattr(job_commands.getpass, "getuser", lambda: "operator")
        monkeypatch.setattr(job_commands.time, "time", lambda: float(v.service.clock.at))

    return stand


@pytest.mark.parametrize("surface", [tapping, calling, commanding])
async def test_the_list_of_steps_is_the_same_on_every_surface(
    tmp_path: Path, at_the_command_line: Standing, surface: Callable[[Visited], Taker]
) -> None:
    async with visited(tmp_path) as v:
        at_the_command_line(v)
        take, taken = surface(v), []
        for n, (name, asked) in enumerate(STEPS):
            v.service.clock.at = NOON + 60 * n
            for _tap in range(2):  # a double tap is answered as the first
                taken.append(await take(name, asked, f"key {n}"))
        assert taken == [True] * 14 + [False] * 2
        with v.service.watch.transactions.store.reading() as session:
            job = jobs.job(session, 1)
            kept = [
                (e.at - NOON, e.what, {k: d for k, d in e.detail.items() if k != "by"})
                for e in jobs.events(session, 1)
                if e.what != "wind strays"
            ]
        assert (job.state, job.setup, job.paused_s) == ("finished", "fine", 60)
        assert (job.note, job.done_share) == ("rain", 0.4)
        assert kept == [
            (0, "started", {"setup": "coarse", "sprayer": "boom"}),
            (60, "paused", {"why": "gusts"}),
            (120, "resumed", {}),
            (180, "setup changed", {"from": "coarse", "to": "fine"}),
            (
                240,
                "measured by hand",
                {
                    "said": {"wind": "6 mph", "temperature": "70 degF"},
                    "measured": {
                        "wind_m_s": pytest.approx(2.68, abs=0.01),
                        "temp_c": pytest.approx(21.1, abs=0.1),
                    },
                },
            ),
            (
                300,
                "rig changed",
                {
                    "said": {"boom": "15 in", "retardant": "guar", "rate": "2 oz/acre"},
                    "changed": {
                        "boom_height_m": pytest.approx(0.381),
                        "retardant": {"adjuvant": "guar", "additives": []},
                    },
                },
            ),
            (360, "finished", {"note": "rain", "done_share": 0.4}),
        ]


async def test_a_tap_that_was_kept_on_the_device_counts_from_then(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        v.log_in()
        await v.send("/fields/hill", "/jobs", field="hill", setup="coarse")
        v.service.clock.at += 1200
        await v.send("/jobs/1", "/jobs/1/pause", key="kept", ago="900")
        await v.send("/jobs/1", "/jobs/1/pause", key="kept", ago="930")
        with v.service.watch.transactions.store.reading() as session:
            assert jobs.job(session, 1).paused_at == NOON + 300


async def test_a_tap_that_says_no_time_is_refused(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        v.log_in()
        answer = await v.send("/fields/hill", "/jobs", field="hill", setup="coarse", ago="-4")
        assert answer.status_code == 422


async def test_every_form_of_a_step_has_a_key_of_its_own(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        v.log_in()
        await v.send("/fields/hill", "/jobs", field="hill", setup="coarse")
        page = (await v.web.get("/jobs/1")).text
        keys = re.findall(r'name="key" value="([^"]+)"', page)
        assert len(keys) == page.count('<form method="post" action="/jobs/')
        assert len(set(keys)) == len(keys)


async def test_a_program_may_say_when(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        v.web.headers["Authorization"] = f"Bearer {PROGRAM}"
        asked = {"field": "hill", "setup": "coarse", "at": NOON - 600}
        assert (await v.web.post("/api/v1/jobs", json=asked)).json()["started_at"] == NOON - 600
        early = await v.web.post("/api/v1/jobs/1/pause", json={"at": NOON - 13 * 3600})
        assert early.status_code == 422
        assert "12 h" in early.json()["wrong"]


async def test_a_key_of_another_step_is_refused(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        v.web.headers["Authorization"] = f"Bearer {PROGRAM}"
        v.web.headers["Idempotency-Key"] = '"one"'
        await v.web.post("/api/v1/jobs", json={"field": "hill", "setup": "coarse"})
        answer = await v.web.post("/api/v1/jobs/1/pause")
        assert answer.status_code == 422
        assert "used for another step" in answer.json()["wrong"]


GUSTY = CALM | {"wind": "12 mph", "gust": "20 mph"}
TOLD = "gust 20 mph, at most 15 mph"


def asking_on_a_page(v: Visited) -> Asker:
    async def start() -> list[str]:
        v.log_in()
        field = {"field": "hill", "setup": "coarse"}
        answer = await v.send("/fields/hill", "/jobs", **field)
        page = unescape(answer.text)
        assert answer.status_code == 409
        assert "Not started yet" in page
        agreed = re.findall(r'name="confirm" value="([^"]+)"', page)
        lines = re.findall(r"<li><b>(.*?)</b></li>", page)
        started = await v.web.post(
            "/jobs", data={"form_token": v.form_token(answer.text), "confirm": agreed[0]} | field
        )
        assert started.headers["location"] == "/jobs/1"
        assert "answered with yes" in (await v.web.get("/jobs/1")).text
        return lines

    return start


def asking_a_program(v: Visited) -> Asker:
    async def start() -> list[str]:
        headers = {"Authorization": f"Bearer {PROGRAM}"}
        asked: dict[str, Any] = {"field": "hill", "setup": "coarse"}
        answer = await v.web.post("/api/v1/jobs", json=asked, headers=headers)
        assert answer.status_code == 409
        assert answer.headers["content-type"] == "application/problem+json"
        content = answer.json()
        assert (content["status"], content["title"]) == (409, "a plain yes is needed first")
        assert [one["origin"] for one in content["against"]] == ["own", "label"]
        asked["confirm"] = [one["confirm"] for one in content["against"]]
        started = await v.web.post("/api/v1/jobs", json=asked, headers=headers)
        assert started.status_code == 201, started.text
        [event] = (await v.web.get("/api/v1/jobs/1", headers=headers)).json()["events"]
        assert event["against"] == [one["sentence"] for one in content["against"]]
        return event["against"]

    return start


def asking_at_the_command_line(v: Visited) -> Asker:
    async def start() -> list[str]:
        command = ["job", "start", "hill", "--setup", "coarse"]
        answer = CliRunner().invoke(app, command)
        assert answer.exit_code == 2
        assert 'add --confirm "gust broken" --confirm "wind broken"' in answer.output
        agreed = ["--confirm", "gust broken", "--confirm", "wind broken"]
        assert CliRunner().invoke(app, [*command, *agreed]).exit_code == 0
        return [line[2:] for line in answer.output.splitlines() if line.startswith("- ")]

    return start


@pytest.mark.parametrize(
    "surface", [asking_on_a_page, asking_a_program, asking_at_the_command_line]
)
async def test_a_start_against_a_limit_asks_first_on_every_surface(
    tmp_path: Path, at_the_command_line: Standing, surface: Callable[[Visited], Asker]
) -> None:
    async with visited(tmp_path, calm=False) as v:
        at_the_command_line(v)
        await v.service.post(**GUSTY)
        await v.service.judged()
        gust, wind = await surface(v)()
        assert gust.lower().startswith(TOLD)
        assert wind.rstrip(".").lower() == "wind 12 mph, at most 10 mph (label): 2 mph over"
        with v.service.watch.transactions.store.reading() as session:
            event, *_ = jobs.events(session, 1)  # the watch may have noted one of its own since
        assert [found["limit"] for found in event.detail["against"]] == ["gust", "wind"]


async def test_a_kept_tap_that_needs_a_yes_says_what_became_of_it(tmp_path: Path) -> None:
    async with visited(tmp_path, calm=False) as v:
        await v.service.post(**GUSTY)
        await v.service.judged()
        v.log_in()
        kept = {"field": "hill", "setup": "coarse", "key": "kept", "ago": "600"}
        answer = await v.send("/fields/hill", "/jobs", **kept)
        [said] = re.findall(r'role="alert">(hill[^<]+)<', unescape(answer.text))
        assert said.startswith(f"hill was not started, a plain yes is needed first: {TOLD}")
        with v.service.watch.transactions.store.reading() as session:
            assert jobs.open_jobs(session) == []
