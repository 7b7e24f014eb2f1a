"""Records filled in by a program: the same steps as on their page."""

from pathlib import Path

from tests.support.visiting import LOOKER, PROGRAM, Visited, visited

VALUES = "/api/v1/records/1/values"


async def _sprayed(v: Visited) -> None:
    v.web.headers["Authorization"] = f"Bearer {PROGRAM}"
    await v.web.post("/api/v1/jobs", json={"field": "hill", "setup": "coarse"})
    v.service.clock.at += 1200
    assert (await v.web.post("/api/v1/jobs/1/finish", json={})).status_code == 200


async def test_values_are_written_once_under_a_key(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        await _sprayed(v)
        asked = {"values": {"location": "section 12", "rate": "1 pt/acre"}}
        first, again = [
            (await v.web.post(VALUES, json=asked, headers={"Idempotency-Key": "abc"})).json()
            for _ in range(2)
        ]
        assert first["values"]["location"] == "section 12"
        assert again["entries"] == first["entries"]


async def test_each_value_that_cannot_be_is_named_and_none_is_written(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        await _sprayed(v)
        asked = {"values": {"location": "section 12", "rate": "a lot", "nothing": "1"}}
        answer = await v.web.post(VALUES, json=asked)
        assert answer.status_code == 422
        assert set(answer.json()["values"]) == {"rate", "nothing"}
        assert "location" not in (await v.web.post(VALUES, json={"values": {}})).json()["values"]


async def test_a_record_of_a_job_that_goes_on_is_not_written(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        v.web.headers["Authorization"] = f"Bearer {PROGRAM}"
        await v.web.post("/api/v1/jobs", json={"field": "hill", "setup": "coarse"})
        answer = await v.web.post(VALUES, json={"values": {"location": "section 12"}})
        assert answer.status_code == 409
        assert "is not ended" in answer.json()["wrong"]


async def test_who_may_only_look_writes_nothing(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        await _sprayed(v)
        v.web.headers["Authorization"] = f"Bearer {LOOKER}"
        assert (await v.web.post(VALUES, json={"values": {}})).status_code == 403


async def test_a_record_is_listed_read_and_closed(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        v.web.headers["Authorization"] = f"Bearer {PROGRAM}"
        await v.web.post("/api/v1/jobs", json={"field": "hill", "setup": "coarse"})
        running = await v.web.get("/api/v1/records/1")
        v.service.clock.at += 1800
        await v.web.post("/api/v1/jobs/1/finish", json={})
        await v.web.post(VALUES, json={"values": {"applicator": "A. Name"}})
        one = (await v.web.get("/api/v1/records/1")).json()
        every = (await v.web.get("/api/v1/records")).json()
        missing = await v.web.post("/api/v1/records/1/close")
        closed = await v.web.post("/api/v1/records/1/close", json={"incomplete": "a test"})
        again = await v.web.post("/api/v1/records/1/close")
        none = await v.web.get("/api/v1/records/9")
    assert running.json()["closed"] is False
    assert [(found["job"], found["values"]) for found in every] == [(1, {"applicator": "A. Name"})]
    assert one["values"]["applicator"] == "A. Name"
    assert one["values"]["setup"] == "coarse"
    assert (missing.status_code, closed.json()["closed"]) == (409, True)
    assert (again.status_code, none.status_code) == (409, 404)
