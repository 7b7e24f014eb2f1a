"""The farm as a whole for programs: archive out and in, seasons that end, fields copied."""

import json
import zipfile
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from datetime import date
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest

from tests.support.farm_files import written
from tests.support.farms import watched_tables
from tests.support.visiting import LOOKER, OWNER, PROGRAM, Visited, visited
from watcher.farm.load import load

MATCH = {"If-Match": "*"}
BEGINS = {"hill": {"weeds": "clean", "crop": ""}, "creek_side": {"weeds": "weedy", "crop": "corn"}}


@asynccontextmanager
async def owned(folder: Path, tables: dict[str, Any] | None = None) -> AsyncIterator[Visited]:
    """A running watch over a farm file, asked by its owner."""
    async with visited(folder, farm_file=written(folder, tables)) as v:
        v.web.headers["Authorization"] = f"Bearer {OWNER}"
        yield v


def tables_with(**keys: Any) -> dict[str, Any]:
    tables = watched_tables()
    fields = tables["fields"]
    return tables | {"fields": fields | {"hill": fields["hill"] | keys}}


async def test_an_archive_is_for_its_owner(tmp_path: Path) -> None:
    async with owned(tmp_path) as v:
        for token, status in ((OWNER, 200), (PROGRAM, 403), (LOOKER, 403)):
            headers = {"Authorization": f"Bearer {token}"}
            answer = await v.web.get("/api/v1/farm/export.zip", headers=headers)
            assert answer.status_code == status
        whole = await v.web.get("/api/v1/farm/export.zip?readings=true")
    with zipfile.ZipFile(BytesIO(whole.content)) as archive:
        assert {"contents.json", "farm.toml", "log.json", "readings.csv"} <= {*archive.namelist()}


async def test_a_farm_taken_out_is_read_in_again_with_its_changes(tmp_path: Path) -> None:
    async with owned(tmp_path) as v:
        archive = (await v.web.get("/api/v1/farm/export.zip")).content
        changed = await v.web.patch(
            "/api/v1/farm", json={"fields": {"hill": {"weeds": "weedy"}}}, headers=MATCH
        )
        assert changed.status_code == 200
        looked = await v.web.post("/api/v1/farm/import?dry_run=true", content=archive)
        back = await v.web.post("/api/v1/farm/import", content=archive, headers=MATCH)
        refused = await v.web.post("/api/v1/farm/import", content=b"no archive", headers=MATCH)
        hill = (await v.web.get("/api/v1/farm")).json()["fields"]["hill"]
    assert [one["key"] for one in looked.json()["changes"]] == ["fields.hill.weeds"]
    assert looked.json()["version"] is None
    assert back.json()["version"]["by"] == "owner"
    assert (refused.status_code, hill["weeds"]) == (
        422,
        watched_tables()["fields"]["hill"]["weeds"],
    )
    assert "zip archive" in refused.json()["detail"]


async def test_an_archive_makes_the_watch_ask_no_other_machine(tmp_path: Path) -> None:
    (tmp_path / "other").mkdir()
    tables = watched_tables()
    tables["sources"]["feed"]["base_url"] = "https://elsewhere.example"
    async with owned(tmp_path / "other", tables) as v:
        archive = (await v.web.get("/api/v1/farm/export.zip")).content
    async with owned(tmp_path) as v:
        answer = await v.web.post("/api/v1/farm/import", content=archive, headers=MATCH)
    assert answer.status_code == 422
    assert "not changed over the network" in answer.text


async def test_a_season_is_kept_and_its_fields_begin_anew(tmp_path: Path) -> None:
    tables = tables_with(
        next_crop="wheat", latest=date(2026, 6, 20), done_on=date(2026, 6, 9), canopy="2 ft"
    )
    async with owned(tmp_path, tables) as v:
        asked = {"season": "2026", "fields": BEGINS}
        looked = await v.web.post("/api/v1/farm/seasons?dry_run=true", json=asked)
        done = await v.web.post("/api/v1/farm/seasons", json=asked, headers=MATCH)
        [kept] = (await v.web.get("/api/v1/farm/seasons")).json()
        text = await v.web.get(f"/api/v1/farm/versions/{kept['number']}/farm.toml")
        shapes = await v.web.get(f"/api/v1/farm/versions/{kept['number']}/fields.geojson")
    fields = load(tmp_path / "farm.toml").config.fields
    assert looked.json()["version"] is None
    assert done.status_code == 200, done.text
    assert kept["season"] == "2026"
    assert (fields["hill"].crop, fields["hill"].weeds.value) == ("wheat", "clean")
    assert (fields["creek_side"].crop, fields["creek_side"].weeds.value) == ("corn", "weedy")
    hill = fields["hill"]
    assert (hill.latest, hill.done_on, hill.next_crop, hill.canopy) == (None, None, None, 0.12)
    assert 'next_crop = "wheat"' in text.text
    assert "done_on" in text.text
    assert len(json.loads(shapes.text)["features"]) == 3


async def test_no_season_ends_while_it_is_not_said_how_weedy_a_field_is(tmp_path: Path) -> None:
    async with owned(tmp_path) as v:
        before = (tmp_path / "farm.toml").read_bytes()
        asked = {"season": "2026", "fields": {"hill": BEGINS["hill"]}}
        answer = await v.web.post("/api/v1/farm/seasons", json=asked, headers=MATCH)
        kept = (await v.web.get("/api/v1/farm/seasons")).json()
        assert (tmp_path / "farm.toml").read_bytes() == before
    assert answer.status_code == 422
    assert [one["key"] for one in answer.json()["mistakes"]] == ["fields.creek_side.weeds"]
    assert kept == []


@pytest.mark.parametrize("side", ["north", "east", "south", "west"])
async def test_a_copy_is_like_its_field_and_beside_it(tmp_path: Path, side: str) -> None:
    async with owned(tmp_path, tables_with(done_on=date(2026, 6, 9))) as v:
        path, asked = "/api/v1/farm/fields/hill/copy", {"name": "hill_two", "side": side}
        done = await v.web.post(path, json=asked, headers=MATCH)
        again = await v.web.post(path, json=asked, headers=MATCH)
        unknown = await v.web.post(path.replace("hill", "nowhere"), json=asked, headers=MATCH)
    assert done.status_code == 200, done.text
    assert (again.status_code, unknown.status_code) == (422, 404)
    farm = load(tmp_path / "farm.toml")
    one, two = farm.config.fields["hill"], farm.config.fields["hill_two"]
    assert two == one.model_copy(update={"done_on": None})
    assert farm.ground.area_m2("hill_two") == pytest.approx(farm.ground.area_m2("hill"), rel=1e-3)
    assert 5 < farm.ground.fields["hill"].distance(farm.ground.fields["hill_two"]) < 15
