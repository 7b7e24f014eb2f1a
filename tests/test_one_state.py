"""One state a job: after any history every surface says the same of it.

The service is the real one, asked over HTTP; commands are given beside it on the same log.
"""

import asyncio
import re
import tempfile
from collections.abc import AsyncIterator
from html import unescape
from pathlib import Path

import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from prometheus_client.parser import text_string_to_metric_families
from sqlalchemy import select
from typer.testing import CliRunner

from tests.support.visiting import CALM, LOOKER, Visited, visited
from watcher.cli import job as job_commands
from watcher.cli import now as now_commands
from watcher.cli.app import app
from watcher.judge.job_action import Action
from watcher.messages.job_state import ACTION_SHAPES, ACTION_WORDS
from watcher.store.tables import Outgoing

_ENGLISH = {str(ACTION_WORDS[action]): action for action in Action}
_SKIES = {
    "calm": CALM,
    "gusty": CALM | {"gust": "19 mph"},
    "windy": CALM | {"wind": "12 mph", "gust": "14 mph"},
    "nearly windy": CALM | {"wind": "9.8 mph", "gust": "12 mph"},
    "no humidity": {k: v for k, v in CALM.items() if k != "humidity"},
    "silent": {},
}
_TOLD_LAST = {
    Action.STOP: {Action.STOP},
    Action.WAIT: {Action.STOP},
    Action.CANNOT_SEE: {Action.CANNOT_SEE},
    Action.GET_READY: {Action.GET_READY},
}
"""What the newest message says of a job that nobody took in hand since; other states are silent."""
_TITLES = {"Stop": Action.STOP, "Check": Action.CANNOT_SEE, "Get ready": Action.GET_READY}

_NO_SHRINKING = tuple(set(Phase) - {Phase.shrink, Phase.explain})
"""A history takes seconds: what fails is told as it was found."""

histories = st.lists(
    st.one_of(
        st.tuples(st.sampled_from(sorted(_SKIES)), st.sampled_from([1, 3, 12])),
        st.tuples(st.sampled_from(["pause", "resume", "seen"]), st.just(0)),
    ),
    min_size=2,
    max_size=6,
)


@settings(max_examples=2, phases=_NO_SHRINKING)
@given(histories)
def test_all_surfaces_agree_at_every_step_of_a_history(history: list[tuple[str, int]]) -> None:
    asyncio.run(_agree(history))


@pytest.mark.long
@settings(max_examples=40, phases=_NO_SHRINKING)
@given(histories)
def test_all_surfaces_agree_over_many_histories(history: list[tuple[str, int]]) -> None:
    asyncio.run(_agree(history))


async def _agree(history: list[tuple[str, int]]) -> None:
    with tempfile.TemporaryDirectory() as folder, pytest.MonkeyPatch.context() as patch:
        async with visited(Path(folder)) as v:
            _stand_beside(v, Path(folder), patch)
            v.log_in()
            await v.send("/fields/hill", "/jobs", field="hill", setup="coarse", key="begin")
            async for at_step in _lived(v, history):
                await v.service.judged()  # a step just taken is judged anew at once
                said = await _said_everywhere(v)
                assert len(set(said.values())) == 1, f"after {at_step}: {said}"


async def _lived(v: Visited, history: list[tuple[str, int]]) -> AsyncIterator[str]:
    """Live a history; pause at each of its steps, whose name is given."""
    yield "the start"
    paused = False
    for n, (step, minutes) in enumerate(history):
        if step in _SKIES:
            for minute in range(minutes):
                v.service.clock.at += 60
                if sky := _SKIES[step]:  # a value that stands still would be a stuck sensor's
                    wind = float(sky["wind"].split()[0]) + minute % 3 / 10
                    await v.service.post(**sky | {"wind": f"{wind} mph"})
                await v.service.judged()
        elif step == "seen":
            await v.send("/jobs/1", "/jobs/1/seen", key=f"key {n}")
        elif paused == (step == "resume"):
            paused = not paused
            await v.send("/jobs/1", f"/jobs/1/{step}", key=f"key {n}")
        yield f"{step} {n}"


def _stand_beside(v: Visited, folder: Path, patch: pytest.MonkeyPatch) -> None:
    """Let commands be given beside the service, at its time."""
    patch.setenv("WATCHER_STATE_DIR", str(folder))
    patch.setenv("COLUMNS", "200")
    for module in (job_commands, now_commands):
        patch.setattr(module, "open_farm", lambda _path: v.service.watch.transactions.plan.farm)
        patch.setattr(module.time, "time", lambda: float(v.service.clock.at))


async def _said_everywhere(v: Visited) -> dict[str, Action]:
    """Return what each surface says of job 1."""
    said: dict[str, Action] = {}
    for page in ["/", "/?rest=1", "/jobs", "/jobs/1", "/fields/hill", "/hours"]:
        text = unescape((await v.web.get(page)).text)
        said[page] = _on_page(text)
    headers = {"Authorization": f"Bearer {LOOKER}"}
    ranking = (await v.web.get("/api/v1/ranking", headers=headers)).json()
    [job] = ranking["jobs"]
    said["api"] = Action(job["action"])
    said["figures"] = _in_figures((await v.web.get("/metrics", headers=headers)).text)
    for command in (["now"], ["job", "list"]):
        answer = await asyncio.to_thread(CliRunner().invoke, app, command)
        assert answer.exit_code == 0, answer.output
        said[" ".join(command)] = _in_words(answer.output)
    expected = _TOLD_LAST.get(said["api"])
    newest = _newest_alert(v)
    if expected is not None and newest is not None:
        assert newest in expected, (said["api"], newest)
    return said


def _on_page(text: str) -> Action:
    """The state on a page: of the cab page, or of the strip every other page begins with."""
    cab = re.search(r'data-do="(\S+) ([^.]+)\.', text)
    strip = re.search(r'class="running strip"><a href="/jobs/1">(\S+) ([^:]+): hill', text)
    found = cab or strip
    assert found, text
    return _named(found[1], found[2])


def _in_figures(text: str) -> Action:
    samples = [
        sample
        for family in text_string_to_metric_families(text)
        for sample in family.samples
        if sample.name == "watcher_job_action" and sample.value
    ]
    [sample] = samples
    assert sample.labels["field"] == "hill"
    return Action(sample.labels["watcher_job_action"])


def _in_words(text: str) -> Action:
    [found] = re.findall(rf"(\S+) ({'|'.join(_ENGLISH)})\b", text)
    return _named(*found)


def _named(shape: str, word: str) -> Action:
    action = _ENGLISH[word]
    assert ACTION_SHAPES[action] == shape
    return action


def _newest_alert(v: Visited) -> Action | None:
    """What the newest message about the job told to do; None where that was an all-clear."""
    with v.service.watch.transactions.store.reading() as session:
        newest = session.scalars(
            select(Outgoing).where(Outgoing.about == "job/1").order_by(Outgoing.id.desc())
        ).first()
    if newest is None:
        return None
    return next((a for start, a in _TITLES.items() if newest.title.startswith(start)), None)
