"""Figures, dashboard and rules against a real Prometheus that collects from the running watch."""

import asyncio
import json
from pathlib import Path

import pytest

from tests.support.prometheus import (
    FILES,
    asked,
    config_for,
    needs_prometheus,
    prometheus,
    until,
)
from tests.support.visiting import CALM, LOOKER, PROGRAM, Visited, visited

pytestmark = needs_prometheus

_MAY_BE_EMPTY = ("watcher_field_chance_ratio", "watcher_source_doubted_ratio")
"""No chance is known on a farm without past forecasts, and nothing is doubted on a fair day."""


def dashboard_queries() -> list[str]:
    """Every query of the dashboard, with what the dashboard's program puts in for its variables."""
    board = json.loads((FILES / "dashboard.json").read_text())
    found = [target["expr"] for panel in board["panels"] for target in panel.get("targets", ())]
    return [q.replace("$field", ".*").replace("$__rate_interval", "1m") for q in found]


async def promtool(*arguments: str, given: str = "") -> str:
    """Run the tool; returns what it complains of."""
    process = await asyncio.create_subprocess_exec(
        "promtool",
        *arguments,
        stdin=asyncio.subprocess.PIPE,
        stdout=asyncio.subprocess.PIPE,
        stderr=asyncio.subprocess.STDOUT,
    )
    said, _ = await process.communicate(given.encode())
    return said.decode() if process.returncode else said.decode().partition("error")[1]


async def a_stopped_job(v: Visited) -> None:
    headers = {"Authorization": f"Bearer {PROGRAM}"}
    asked_for = {"field": "hill", "setup": "coarse"}
    answer = await v.web.post("/api/v1/jobs", json=asked_for, headers=headers)
    assert answer.status_code == 201
    v.service.clock.at += 60
    await v.service.post(**CALM | {"wind": "30 mph", "gust": "35 mph"})
    await v.service.judged()


async def test_the_figures_are_named_and_written_as_the_tool_asks(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        await a_stopped_job(v)
        headers = {"Authorization": f"Bearer {LOOKER}"}
        text = (await v.web.get("/metrics", headers=headers)).text
    assert await promtool("check", "metrics", given=text) == ""
    assert await promtool("check", "metrics", given="watcher_bad_total 1\n"), "it would complain"


async def test_rules_and_config_are_valid(tmp_path: Path) -> None:
    config = config_for(tmp_path, "127.0.0.1:1", LOOKER)
    assert not await promtool("check", "rules", str(FILES / "alerts.yml"))
    assert not await promtool("check", "config", str(config))


async def test_the_rules_fire_and_only_then(tmp_path: Path) -> None:
    cases = (Path(__file__).with_name("alert_cases.yml")).read_text()
    file = tmp_path / "cases.yml"
    file.write_text(cases.replace("alerts.yml", str(FILES / "alerts.yml")))
    assert not await promtool("test", "rules", str(file))


@pytest.mark.long
async def test_every_query_of_the_dashboard_and_the_rules_finds_the_running_watch(
    tmp_path: Path,
) -> None:
    async with visited(tmp_path) as v:
        await a_stopped_job(v)
        host = f"127.0.0.1:{v.web.base_url.port}"
        async with prometheus(config_for(tmp_path, host, LOOKER)) as client:
            assert await until(client, 'up{job="weather-watch"} == 1')
            await until(client, "count_over_time(watcher_works[1m]) > 3")
            empty = [query for query in dashboard_queries() if not await asked(client, query)]
            [status] = await asked(client, 'watcher_field_status{field="hill"}')
            rules = (await client.get("/api/v1/rules")).json()["data"]["groups"][0]["rules"]
    assert len(dashboard_queries()) > 20
    assert [query for query in empty if not query.startswith(_MAY_BE_EMPTY)] == []
    assert status["value"][1] == "0"
    assert {rule["health"] for rule in rules} == {"ok"}
    assert len(rules) == 9


async def test_a_token_that_is_not_known_collects_nothing(tmp_path: Path) -> None:
    async with visited(tmp_path, calm=False) as v:
        host = f"127.0.0.1:{v.web.base_url.port}"
        async with prometheus(config_for(tmp_path, host, "a-token-nobody-knows")) as client:
            assert await until(client, 'up{job="weather-watch"} == 0')
            assert await asked(client, 'ALERTS{alertname="WatchNotReached"}') is not None
            assert await asked(client, "watcher_works") == []


def test_no_panel_says_a_status_by_colour_alone() -> None:
    board = json.loads((FILES / "dashboard.json").read_text())
    for panel in board["panels"]:
        if panel["type"] in {"stat", "state-timeline"}:
            assert panel["fieldConfig"]["defaults"]["color"] == {
                "mode": "fixed",
                "fixedColor": "text",
            }, panel["title"]
    assert "green" not in json.dumps(board)
    assert len({panel["id"] for panel in board["panels"]}) == len(board["panels"])
