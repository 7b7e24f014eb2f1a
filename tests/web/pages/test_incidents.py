"""Accounts of incidents on the pages and by the API."""

import json
from pathlib import Path

import pytest

from tests.support.visiting import LOOKER, NOON, PROGRAM, visited
from watcher.records.document import check_document
from watcher.web.auth.users import Role

pytestmark = pytest.mark.long

_FORM = {"suspected": "from us", "place": "orchard", "from": "2026-06-10T11:00", "seen": "cupped"}


async def test_an_account_is_written_on_the_page_and_shown_as_sealed(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        v.log_in(Role.RUN)
        answer = await v.send("/incidents", "/incidents", **_FORM)
        assert answer.status_code == 303
        shown = (await v.web.get(answer.headers["location"])).text
        for wanted in (
            "Drift suspected from one of our jobs",
            "cupped",
            'class="cone"',
            "creek_side",
        ):
            assert wanted in shown, wanted
        assert "/incidents/1" in (await v.web.get("/incidents")).text
        assert (await v.web.get("/incidents/2")).status_code == 404


async def test_what_cannot_be_is_said_and_what_was_typed_is_still_there(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        v.log_in(Role.RUN)
        answer = await v.send("/incidents", "/incidents", **(_FORM | {"place": "nowhere"}))
        assert answer.status_code == 422
        assert "neither a field nor a neighbour" in answer.text
        assert 'value="cupped"' in answer.text
        assert "No account of an incident is written" in answer.text


async def test_who_may_only_look_writes_none(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        v.log_in(Role.LOOK)
        assert "Seal the account" not in (await v.web.get("/incidents")).text
        asked = {"suspected": "from us", "place": "orchard", "start": NOON}
        bearer = {"Authorization": f"Bearer {LOOKER}"}
        assert (
            await v.web.post("/api/v1/incidents", json=asked, headers=bearer)
        ).status_code == 403


async def test_a_program_writes_reads_and_checks_an_account(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        v.web.headers["Authorization"] = f"Bearer {PROGRAM}"
        asked = {"suspected": "onto us", "place": "hill", "start": NOON - 600, "end": NOON}
        key = {"Idempotency-Key": "one"}
        first, again = [
            (await v.web.post("/api/v1/incidents", json=asked, headers=key)).json()
            for _ in range(2)
        ]
        assert first == again
        assert first["account"]["suspected"] == "onto us"
        assert (await v.web.get("/api/v1/incidents")).json() == [first]
        assert (await v.web.get("/api/v1/incidents/1")).json() == first
        document = (await v.web.get("/api/v1/incidents/1/document.json")).content
        assert check_document(document, first["hash"]).broken is None
        assert json.loads(document)["document"]["entries"][0]["content"]["number"] == 1
        printed = await v.web.get("/api/v1/incidents/1/page.pdf")
        assert printed.content.startswith(b"%PDF")
        wrong = await v.web.post("/api/v1/incidents", json=asked | {"place": "nowhere"})
        assert wrong.status_code == 409
        assert (await v.web.get("/api/v1/incidents/9")).status_code == 404
