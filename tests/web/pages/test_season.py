"""The pages between two seasons: ended after a look, refused in place, fields copied."""

from datetime import date
from pathlib import Path

from tests.support.farm_files import written
from tests.support.farms import watched_tables
from tests.support.visiting import Visited, visited
from watcher.farm.load import load
from watcher.web.auth.users import Role

BEGINS = {
    "season": "2026",
    "hill:crop": "wheat",
    "hill:weeds": "moderate",
    "hill:canopy": "",
    "creek_side:crop": "corn",
    "creek_side:weeds": "weedy",
    "creek_side:canopy": "1 ft",
}


def farm_file(folder: Path) -> Path:
    tables = watched_tables()
    hill = {"next_crop": "wheat", "done_on": date(2026, 6, 9)}
    tables["fields"]["hill"] = tables["fields"]["hill"] | hill
    return written(folder, tables)


async def send(v: Visited, page: str, **form: str) -> str:
    """Send a form, look at what it would change, keep it; returns the last page."""
    answer = await v.send(page, page, **form)
    assert answer.status_code == 200, answer.text
    etag = answer.text.split('name="based_on" value="')[1].split('"')[0]
    kept = await v.send(page, page, **form, keep="1", based_on=etag)
    assert kept.status_code == 303, kept.text
    return (await v.web.get(kept.headers["location"])).text


async def test_a_season_is_looked_at_and_ended(tmp_path: Path) -> None:
    file = farm_file(tmp_path)
    async with visited(tmp_path, farm_file=file) as v:
        v.log_in(Role.ADMINISTER)
        asked = (await v.web.get("/farm/season")).text
        await send(v, "/farm/season", **BEGINS)
        v.web.headers["Authorization"] = "Bearer an-owner's-token-long-enough"
        [season] = (await v.web.get("/api/v1/farm/seasons")).json()
    fields = load(file).config.fields
    assert 'value="wheat"' in asked, "the crop noted as next is offered"
    assert "selected" not in asked.split('name="hill:weeds"')[1].split("</select>")[0].replace(
        '<option value="" selected', ""
    ), "weeds are asked anew"
    assert season["season"] == "2026"
    assert (fields["hill"].crop, fields["hill"].done_on) == ("wheat", None)
    assert round(fields["creek_side"].canopy, 4) == 0.3048


async def test_what_is_not_said_is_asked_for_in_place(tmp_path: Path) -> None:
    file = farm_file(tmp_path)
    before = file.read_bytes()
    async with visited(tmp_path, farm_file=file) as v:
        v.log_in(Role.ADMINISTER)
        nameless = await v.send("/farm/season", "/farm/season", **BEGINS | {"season": " "})
        unsaid = await v.send("/farm/season", "/farm/season", **BEGINS | {"hill:weeds": ""})
        assert file.read_bytes() == before
    assert (nameless.status_code, unsaid.status_code) == (422, 422)
    assert "give the season a name" in nameless.text
    assert "say how weedy it is" in unsaid.text
    assert 'value="corn"' in unsaid.text, "what was typed is still there"


async def test_a_field_is_copied(tmp_path: Path) -> None:
    file = farm_file(tmp_path)
    form = {"field": "hill", "name": "hill_two", "side": "north"}
    async with visited(tmp_path, farm_file=file) as v:
        v.log_in(Role.ADMINISTER)
        await send(v, "/farm/copy", **form)
        taken = await v.send("/farm/copy", "/farm/copy", **form)
        empty = await v.send("/farm/copy", "/farm/copy", **form | {"name": "", "side": "up"})
    assert {"hill", "hill_two"} <= set(load(file).config.fields)
    assert (taken.status_code, empty.status_code) == (422, 422)
    assert "give the copy another name" in taken.text


async def test_who_may_not_administer_ends_no_season(tmp_path: Path) -> None:
    async with visited(tmp_path, farm_file=farm_file(tmp_path)) as v:
        v.log_in(Role.RUN)
        for page in ("/farm/season", "/farm/copy", "/farm/export.zip"):
            assert (await v.web.get(page)).status_code == 403, page
