"""Messages and lists for programs: in parts to the end, and seen by whoever may run jobs."""

from pathlib import Path

from tests.support.visiting import CALM, LOOKER, PROGRAM, Visited, visited

LOOKS, RUNS = ({"Authorization": f"Bearer {token}"} for token in (LOOKER, PROGRAM))


async def stopped(v: Visited) -> None:
    """Start a job and let the wind rise, so that messages are written."""
    asked = {"field": "hill", "setup": "coarse"}
    assert (await v.web.post("/api/v1/jobs", json=asked, headers=RUNS)).status_code == 201
    for _ in range(4):
        v.service.clock.at += 60
        await v.service.post(**CALM | {"wind": "30 mph", "gust": "35 mph"})
        await v.service.judged()


async def test_they_are_told_in_parts_until_there_are_no_more(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        await stopped(v)
        whole = (await v.web.get("/api/v1/messages", headers=LOOKS)).json()
        parts, url = [], "/api/v1/messages?limit=1"
        while url:
            answer = await v.web.get(url, headers=LOOKS)
            parts += answer.json()
            url = answer.links.get("next", {}).get("url", "")
    assert len(whole) >= 2
    assert parts == whole
    assert [one["number"] for one in whole] == sorted((m["number"] for m in whole), reverse=True)


async def test_an_after_of_no_list_is_refused(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        for odd in ("%20", "!!", "LTE", "MQ%3D%3D%3D"):
            answer = await v.web.get(f"/api/v1/messages?after={odd}", headers=LOOKS)
            assert answer.status_code == 422, odd
            assert answer.headers["content-type"] == "application/problem+json"


async def test_seen_is_noted_once_and_by_whom(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        await stopped(v)
        [one, *_] = (await v.web.get("/api/v1/messages", headers=LOOKS)).json()
        path = f"/api/v1/messages/{one['id']}/seen"
        refused = await v.web.post(path, headers=LOOKS)
        done = (await v.web.post(path, headers=RUNS)).json()
        again = (await v.web.post(path, headers=RUNS)).json()
        [then, *_] = (await v.web.get("/api/v1/messages", headers=LOOKS)).json()
        unknown = await v.web.post("/api/v1/messages/NOBODY/seen", headers=RUNS)
    assert refused.status_code == 403
    assert (done["outcome"], again["outcome"]) == ("done", "already")
    assert then["seen_by"] == "robot"
    assert unknown.status_code == 422
