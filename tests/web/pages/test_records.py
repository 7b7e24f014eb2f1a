"""Records on the pages and by the API: typed in, closed, put right, and taken out."""

import json
import re
from html import unescape
from pathlib import Path

import httpx
import pytest

from tests.support.visiting import LOOKER, Visited, farm, visited
from watcher.records.document import check_document
from watcher.web.auth.users import Role

pytestmark = pytest.mark.long


async def _sprayed(v: Visited) -> None:
    """Spray a field from start to end."""
    v.log_in(Role.RUN)
    await v.send("/fields/hill", "/jobs", field="hill", setup="coarse")
    v.service.clock.at += 1200
    await v.send("/jobs/1", "/jobs/1/finish", note="calm")


async def _save(v: Visited, **given: str) -> httpx.Response:
    """Change some values in the form of the record and send the whole of it."""
    form = shown((await v.web.get("/records/1")).text)
    changed = {f"value:{key}": text for key, text in given.items() if key not in {"why", "step"}}
    plain = {key: given[key] for key in ("why", "step") if key in given}
    return await v.web.post("/records/1/save", data=form | changed | plain)


def shown(page: str) -> dict[str, str]:
    """What a browser would send of the checklist as it stands on a page."""
    form = page[page.index('class="checklist"') :].partition("</form>")[0]
    found = {}
    for tag in re.findall(r"<input [^>]*>", form):
        name = re.search(r' name="([^"]+)"', tag)
        value = re.search(r' value="([^"]*)"', tag)
        if name:
            found[name[1]] = unescape(value[1]) if value else ""
    for name, options in re.findall(r'<select [^>]*name="([^"]+)"[^>]*>(.*?)</select>', form):
        chosen = re.search(r'value="([^"]*)" selected', options)
        found[name] = unescape(chosen[1]) if chosen else ""
    return found


async def _entered(v: Visited) -> int:
    """How many entries of typed-in values there are."""
    v.web.cookies.clear()
    bearer = {"Authorization": f"Bearer {LOOKER}"}
    document = (await v.web.get("/api/v1/records.json", headers=bearer)).json()
    v.log_in(Role.RUN)
    return sum(entry["kind"] == "told" for entry in document["document"]["entries"])


async def test_a_record_is_typed_in_closed_and_put_right(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        await _sprayed(v)
        assert 'href="/records/1"' in (await v.web.get("/jobs/1")).text
        assert "/records/1" in (await v.web.get("/records")).text
        assert (await _save(v, location="section 12")).status_code == 303
        assert "section 12" in (await v.web.get("/records/1")).text
        refused = await v.send("/records/1", "/records/1/close")
        assert refused.status_code == 409  # the rules ask for more
        closed = await v.send("/records/1", "/records/1/close", why="papers are elsewhere")
        assert closed.status_code == 303
        assert (await _save(v, location="section 13", why="misread")).status_code == 303
        page = (await v.web.get("/records/1")).text
        assert "section 12" in page
        assert "section 13" in page


async def test_what_is_missing_stands_first_and_what_is_filled_in_says_where_from(
    tmp_path: Path,
) -> None:
    async with visited(tmp_path) as v:
        await _sprayed(v)
        page = (await v.web.get("/records/1")).text
        needed, there = page.index("Still needed"), page.index("Filled in: look it over")
        assert needed < page.index('id="v-registration"') < there < page.index('id="v-crop"')
        crop = page[page.index('id="v-crop"') :]
        assert crop.index("farm file") < crop.index("</div>")
        assert "area treated (acre)" in page


async def test_several_values_are_saved_at_once(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        await _sprayed(v)
        content = {
            "applicator": "A. Grower",
            "area": "39.5",
            "product": "Soap",
            "rate": "1 pt/acre",
        }
        assert (await _save(v, **content)).status_code == 303
        form = shown((await v.web.get("/records/1")).text)
        assert {key: form[f"was:{key}"] for key in content} == content
        assert form["was:total"] == "39.50 pt"  # rate times area
        assert await _entered(v) == 1


async def test_a_tank_of_ten_products_fits_the_form(tmp_path: Path) -> None:
    products = {
        f"p{n}": {"name": f"Product {n}", "registration": f"0-{n}", "rate": "1 pt/acre"}
        for n in range(10)
    }
    on_hill = {"crop": "soybeans", "weeds": "clean", "window": "contact"}
    tank = farm(products=products, fields={"hill": on_hill | {"products": list(products)}})
    async with visited(tmp_path, of=tank) as v:
        await _sprayed(v)
        assert (
            await _save(v, location="section 12", **{"rate.10": "2 pt/acre"})
        ).status_code == 303
        assert shown((await v.web.get("/records/1")).text)["was:rate.10"] == "2 pt/acre"


async def test_a_mistake_in_one_value_loses_none_and_saves_nothing(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        await _sprayed(v)
        answer = await _save(v, applicator="A. Grower", rate="a lot", ended="2030-01-01T09:00")
        assert answer.status_code == 422
        form = shown(answer.text)
        assert form["value:applicator"] == "A. Grower"
        assert form["value:rate"] == "a lot"
        at = answer.text.index('id="e-rate"')
        assert "write amount, unit and area" in answer.text[at : at + 200]
        assert await _entered(v) == 0


async def test_the_same_form_sent_twice_is_one_entry(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        await _sprayed(v)
        form = shown((await v.web.get("/records/1")).text) | {"value:location": "section 12"}
        for _ in range(2):
            assert (await v.web.post("/records/1/save", data=form)).status_code == 303
        assert await _entered(v) == 1


async def test_what_another_wrote_meanwhile_is_shown_and_not_overwritten(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        await _sprayed(v)
        mine = shown((await v.web.get("/records/1")).text)
        assert (await _save(v, location="section 12")).status_code == 303
        changed = {"value:location": "section 13", "value:applicator": "A. Grower"}
        answer = await v.web.post("/records/1/save", data=mine | changed)
        assert answer.status_code == 422
        at = answer.text.index('id="e-location"')
        assert "meanwhile grower wrote &#34;section 12&#34;" in answer.text[at : at + 200]
        again = await v.web.post("/records/1/save", data=shown(answer.text))
        assert again.status_code == 303
        assert shown((await v.web.get("/records/1")).text)["was:location"] == "section 13"
        assert await _entered(v) == 2


async def test_a_job_left_open_for_days_is_put_right_on_its_page(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        v.log_in(Role.RUN)
        await v.send("/fields/hill", "/jobs", field="hill", setup="coarse")
        v.service.clock.at += 60 * 3600
        await v.send("/jobs/1", "/jobs/1/finish", note="")
        page = (await v.web.get("/records/1")).text
        assert "was open for 60 h" in page
        assert (await _save(v, ended="2026-06-10T12:00")).status_code == 303
        assert "was open for" not in (await v.web.get("/records/1")).text


async def test_who_may_only_look_writes_nothing(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        await _sprayed(v)
        v.log_in(Role.LOOK)
        answer = await v.send("/more", "/records/1/save", **{"value:location": "elsewhere"})
        assert answer.status_code == 403


async def test_what_is_typed_in_stays_text(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        await _sprayed(v)
        script = "<script>alert(1)</script>"
        await _save(v, location=script)
        page = (await v.web.get("/records/1")).text
        assert script not in page
        assert "&lt;script&gt;" in page


async def test_records_come_out_as_a_document_that_checks(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        await _sprayed(v)
        await v.send("/records/1", "/records/1/close", why="papers are elsewhere")
        v.web.cookies.clear()
        v.web.headers["Authorization"] = f"Bearer {LOOKER}"
        document = await v.web.get("/api/v1/records.json")
        assert check_document(document.content, None).broken is None
        changed = document.text.replace("papers are", "papers were")
        json.loads(changed)
        assert check_document(changed.encode(), None).broken is not None
        assert "hill" in (await v.web.get("/api/v1/records.csv")).text
        printed = await v.web.get("/api/v1/records/1/page.pdf")
        assert printed.content.startswith(b"%PDF-")
