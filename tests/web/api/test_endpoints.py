"""The API: what it says agrees with the judgement, and its steps do what they say."""

import csv
import io
from pathlib import Path

import pytest
from prometheus_client.parser import text_string_to_metric_families

from tests.support.visiting import CALM, LOOKER, NOON, PROGRAM, Visited, visited
from watcher.limits.status import Status


def _as(v: Visited, token: str) -> None:
    v.web.headers["Authorization"] = f"Bearer {token}"


async def test_nobody_reads_it_without_a_token(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        for address in ("/api/v1/ranking", "/api/v1/jobs", "/metrics", "/api/v1/health"):
            answer = await v.web.get(address)
            assert answer.status_code == 401
            assert answer.headers["www-authenticate"] == "Bearer"


async def test_the_ranking_is_the_judgements(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        _as(v, LOOKER)
        answer = (await v.web.get("/api/v1/ranking")).json()
        snapshot = v.service.watch.snapshot
        assert snapshot is not None
        assert [f["field"] for f in answer["spray"]] == [f.field for f in snapshot.ranking.spray]
        every = {f["field"]: f["status"] for f in answer["spray"] + answer["rest"]}
        assert every == {n: f.status.word for n, f in snapshot.ranking.every.items()}
        assert answer["old"] is False


async def test_reasons_tell_every_limit_the_binding_one_first(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        _as(v, LOOKER)
        answer = (await v.web.get("/api/v1/fields/hill/reasons")).json()
        snapshot = v.service.watch.snapshot
        assert snapshot is not None
        reasons = snapshot.ranking.every["hill"].reasons
        assert [limit["limit"] for limit in answer["limits"]] == [r.limit.value for r in reasons]


async def test_the_forecast_begins_now_and_reaches_the_horizon(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        _as(v, LOOKER)
        hours = (await v.web.get("/api/v1/fields/hill/forecast?setup=fine")).json()["hours"]
        assert hours[0]["at"] == NOON
        assert hours[-1]["at"] >= NOON + 47 * 3600
        words = {status.word for status in Status}
        assert {hour["status"] for hour in hours} <= words


async def test_a_job_is_run_by_a_program(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        _as(v, PROGRAM)
        asked = {"field": "hill", "setup": "coarse"}
        started = await v.web.post("/api/v1/jobs", json=asked)
        assert started.status_code == 201
        number = started.json()["id"]
        again = await v.web.post("/api/v1/jobs", json=asked)
        assert (again.json()["outcome"], again.json()["id"]) == ("already", number)
        asked["setup"] = "old_coarse"
        assert (await v.web.post("/api/v1/jobs", json=asked)).status_code == 409
        v.service.clock.at += 600
        paused = await v.web.post(f"/api/v1/jobs/{number}/pause", json={"note": "wind"})
        assert (paused.json()["state"], paused.json()["sprayed_s"]) == ("paused", 600.0)
        assert (await v.web.post(f"/api/v1/jobs/{number}/resume")).json()["state"] == "running"
        done = await v.web.post(f"/api/v1/jobs/{number}/finish", json={"note": "done"})
        assert done.json()["state"] == "finished"
        events = (await v.web.get(f"/api/v1/jobs/{number}")).json()["events"]
        steps = [event["what"] for event in events if event["what"] != "stood"]
        assert steps == ["started", "paused", "resumed", "finished"]


async def test_a_program_that_may_only_look_starts_nothing(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        _as(v, LOOKER)
        asked = {"field": "hill", "setup": "coarse"}
        assert (await v.web.post("/api/v1/jobs", json=asked)).status_code == 403


async def test_a_browsers_cookie_does_no_step_of_the_api(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        v.log_in()
        asked = {"field": "hill", "setup": "coarse"}
        assert (await v.web.post("/api/v1/jobs", json=asked)).status_code == 401
        assert (await v.web.get("/api/v1/ranking")).status_code == 200


async def test_the_log_comes_out_as_it_went_in(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        _as(v, LOOKER)
        v.service.clock.at += 2 * 86_400
        await v.service.post(**CALM | {"wind": "6 mph"})
        span = {"source": "mast", "start": str(NOON), "end": str(NOON + 3 * 86_400)}
        answer = await v.web.get("/api/v1/log.csv", params=span)
        rows = list(csv.DictReader(io.StringIO(answer.text)))
        assert [row["time (UTC)"] for row in rows] == [
            "2026-06-10T16:00:00Z",
            "2026-06-12T16:00:00Z",
        ]
        # One mile an hour is 0.44704 m/s exactly.
        wind = next(name for name in rows[0] if name.startswith("wind") and "m/s" in name)
        assert float(rows[1][wind]) == pytest.approx(6 * 0.44704)


async def test_metrics_are_what_monitoring_systems_read(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        _as(v, LOOKER)
        judged = v.service.watch.judged
        text = (await v.web.get("/metrics")).text
        found = {
            (sample.name, *sample.labels.values()): sample.value
            for family in text_string_to_metric_families(text)
            for sample in family.samples
        }
        snapshot = v.service.watch.snapshot
        assert snapshot is not None
        hill = float(snapshot.ranking.every["hill"].status)
        assert found["watcher_field_status", "hill"] == hill
        binding = snapshot.ranking.every["hill"].binding
        assert found["watcher_field_limit", "hill", binding.limit.value] == binding.stand
        assert found["watcher_source_stale", "mast"] == 0.0
        # It goes on judging while it is asked.
        assert judged <= found["watcher_judgements_total",] <= v.service.watch.judged


async def test_the_hours_say_why_by_every_limit(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        v.log_in()
        first = await v.web.get("/api/v1/fields/hill/hours?limit=5")
        rest = await v.web.get(first.links["next"]["url"])
        now = (await v.web.get("/api/v1/fields/hill/reasons")).json()
        forecast = (await v.web.get("/api/v1/fields/hill/forecast")).json()["hours"]
    hours = first.json() + rest.json()
    assert len(hours) == 10
    assert hours[0]["limits"] == now["limits"]
    assert [(h["at"], h["status"]) for h in hours] == [
        (h["at"], h["status"]) for h in forecast[:10]
    ]


async def test_a_season_adds_up_to_its_hours(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        v.log_in()
        span = {"start": NOON - 48 * 3600, "end": NOON - 24 * 3600}
        answer = (await v.web.get("/api/v1/season", params=span)).json()
        future = await v.web.get("/api/v1/season", params=span | {"end": NOON + 3600})
    by_status = ("suitable", "marginal", "unsuitable", "unknown")
    assert [sum(field[s] for s in by_status) for field in answer["fields"]] == [24.0, 24.0]
    assert {field["unknown"] for field in answer["fields"]} == {24.0}, "the log has no weather then"
    assert future.status_code == 422


async def test_what_is_known_already_is_not_sent_again(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        v.log_in()
        first = await v.web.get("/api/v1/ranking")
        known = {"If-None-Match": first.headers["etag"]}
        same = await v.web.get("/api/v1/ranking", headers=known)
        await v.service.post(**CALM | {"wind": "30 mph", "gust": "35 mph"})
        await v.service.judged()
        other = await v.web.get("/api/v1/ranking", headers=known)
    assert (same.status_code, same.content) == (304, b"")
    assert other.status_code == 200


async def test_every_kind_of_error_is_told_as_problem_details(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        v.log_in()
        program = {"Authorization": f"Bearer {LOOKER}"}
        asked = [
            (404, v.web.get("/api/v1/nothing")),
            (404, v.web.get("/api/v1/fields/nowhere/reasons")),
            (404, v.web.get("/api/v1/jobs/9")),
            (405, v.web.delete("/api/v1/jobs")),
            (422, v.web.get("/api/v1/jobs?limit=0")),
            (403, v.web.post("/api/v1/jobs", json={"field": "a", "setup": "b"}, headers=program)),
            (413, v.web.post("/api/v1/jobs", content=b" " * 400_000)),
            (401, v.web.post("/api/v1/jobs", json={})),
        ]
        for status, waiting in asked:
            answer = await waiting
            body = answer.json()
            assert answer.status_code == body["status"] == status
            assert answer.headers["content-type"] == "application/problem+json"
            assert body["type"] == "about:blank"
            assert body["title"]
            assert body["detail"]
