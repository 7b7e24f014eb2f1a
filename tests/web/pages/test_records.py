"""Records on the pages and by the API: typed in, closed, put right, and taken out."""

import json
from pathlib import Path

from tests.support.visiting import LOOKER, Visited, visited
from watcher.records.document import check_document
from watcher.web.auth.users import Role


async def _sprayed(v: Visited) -> None:
    """Spray a field from start to end."""
    v.log_in(Role.RUN)
    await v.send("/fields/hill", "/jobs", field="hill", setup="coarse")
    v.service.clock.at += 1200
    await v.send("/jobs/1", "/jobs/1/finish", note="calm")


async def test_a_record_is_typed_in_closed_and_put_right(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        await _sprayed(v)
        assert 'href="/records/1"' in (await v.web.get("/jobs/1")).text
        assert "/records/1" in (await v.web.get("/records")).text
        typed = await v.send("/records/1", "/records/1/set", key="location", value="section 12")
        assert typed.status_code == 303
        assert "section 12" in (await v.web.get("/records/1")).text
        refused = await v.send("/records/1", "/records/1/close")
        assert refused.status_code == 409  # the rules ask for more
        closed = await v.send("/records/1", "/records/1/close", why="papers are elsewhere")
        assert closed.status_code == 303
        told = {"key": "location", "value": "section 13", "why": "misread"}
        assert (await v.send("/records/1", "/records/1/correct", **told)).status_code == 303
        page = (await v.web.get("/records/1")).text
        assert "section 12" in page
        assert "section 13" in page


async def test_who_may_only_look_writes_nothing(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        await _sprayed(v)
        v.log_in(Role.LOOK)
        answer = await v.send("/more", "/records/1/set", key="location", value="elsewhere")
        assert answer.status_code == 403


async def test_what_is_typed_in_stays_text(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        await _sprayed(v)
        script = "<script>alert(1)</script>"
        await v.send("/records/1", "/records/1/set", key="location", value=script)
        page = (await v.web.get("/records/1")).text
        assert script not in page
        assert "&lt;script&gt;" in page


async def test_records_come_out_as_a_document_that_checks(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        await _sprayed(v)
        await v.send("/records/1", "/records/1/close", why="papers are elsewhere")
        v.web.cookies.clear()
        v.web.headers["Authorization"] = f"Bearer {LOOKER}"
        document = await v.web.get("/api/records.json")
        assert check_document(document.content, None).broken is None
        changed = document.text.replace("papers are", "papers were")
        json.loads(changed)
        assert check_document(changed.encode(), None).broken is not None
        assert "hill" in (await v.web.get("/api/records.csv")).text
        printed = await v.web.get("/api/records/1/page.pdf")
        assert printed.content.startswith(b"%PDF-")
