"""A farm read in on a page: shown first, kept, undone, and bad archives answered in place."""

import asyncio
import io
import json
import zipfile
from collections.abc import AsyncIterator
from hashlib import sha256
from html import unescape
from pathlib import Path
from typing import Any

import httpx
import pytest
from pydantic import SecretStr

from tests.support.farm_files import written
from tests.support.farm_forms import keep
from tests.support.farms import watched_tables
from tests.support.new_log import new_log
from tests.support.visiting import NOON, Visited, visited
from watcher.farm.editing.texts import FarmTexts
from watcher.service.farm_moving import take_out
from watcher.service.farm_versions import FarmVersions
from watcher.web.auth.users import Role
from watcher.web.lanes import MOST_ARCHIVE_BYTES
from watcher.web.pages.held_entries import HELD_S

PAGE = "/farm/read-in"


@pytest.fixture
async def site(tmp_path: Path) -> AsyncIterator[Visited]:
    async with visited(tmp_path, farm_file=written(tmp_path)) as v:
        v.log_in(Role.ADMINISTER)
        yield v


def archive(folder: Path, **changes: Any) -> bytes:
    """An archive of a farm elsewhere, whose hill grows something else."""
    folder.mkdir()
    tables = watched_tables()
    tables["fields"]["hill"]["crop"] = "maize"
    for table, change in changes.items():
        tables[table] = tables.get(table, {}) | change
    texts = FarmTexts.of_files(written(folder, tables))
    into = io.BytesIO()
    log = new_log(folder / "watch.db")
    take_out(into, log, texts, FarmVersions(folder / "versions"), now=NOON)
    return into.getvalue()


async def sent(site: Visited, data: bytes) -> httpx.Response:
    token = site.form_token((await site.web.get(PAGE)).text)
    files = {"archive": ("farm.zip", data, "application/zip")}
    return await site.web.post(PAGE, data={"form_token": token}, files=files)


def crop(site: Visited) -> str:
    return site.service.watch.transactions.plan.farm.config.fields["hill"].crop


async def test_what_it_would_change_is_shown_kept_and_undone(site: Visited, tmp_path: Path) -> None:
    looked = await sent(site, archive(tmp_path / "there"))
    assert looked.status_code == 200
    assert "fields.hill.crop: soybeans → maize" in looked.text
    assert crop(site) == "soybeans"
    kept = await keep(site, looked)
    assert (kept.status_code, kept.headers["location"]) == (303, "/farm?saved=2")
    assert crop(site) == "maize"
    undone = await site.send("/farm?saved=2", "/farm/versions/2/undo")
    assert undone.status_code == 303
    assert crop(site) == "soybeans"


async def test_whoever_changed_the_farm_meanwhile_is_told_of(site: Visited, tmp_path: Path) -> None:
    looked = await sent(site, archive(tmp_path / "there"))
    file = tmp_path / "farm.toml"
    file.write_text(file.read_text() + "# a remark\n")
    late = await keep(site, looked)
    assert late.status_code == 409
    assert "was changed by hand meanwhile" in late.text
    assert (await keep(site, late)).status_code == 303


async def test_a_label_is_loosened_by_no_archive_unasked(site: Visited, tmp_path: Path) -> None:
    windows = watched_tables()["windows"]
    windows["contact"]["wind"]["high"] = "14 mph"
    looked = await sent(site, archive(tmp_path / "there", windows=windows))
    assert "Not yours to loosen" in looked.text
    refused = await keep(site, looked)
    assert refused.status_code == 409
    assert crop(site) == "soybeans"


BUOY = {"kind": "mqtt", "host": "broker.example", "topic": "farm/mast"}


async def test_what_has_no_secret_here_is_told(tmp_path: Path) -> None:
    tables = watched_tables()
    tables["sources"]["buoy"] = BUOY
    urls = {name: SecretStr("json://127.0.0.1:9/x") for name in ("grower", "operator")}
    sources = {"buoy": BUOY | {"user": "watch"}}
    found = archive(tmp_path / "there", sources=sources, recipients={"ana": {}})
    async with visited(tmp_path, farm_file=written(tmp_path, tables), urls=urls) as v:
        v.log_in(Role.ADMINISTER)
        looked = unescape((await sent(v, found)).text)
    assert "ana hears nothing: no push address is set" in looked
    assert "buoy waits for its secret (broker's password)" in looked


def _other_form(data: bytes) -> bytes:
    into = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as whole, zipfile.ZipFile(into, "w") as other:
        for name in whole.namelist():
            other.writestr(name, whole.read(name).replace(b"farm bundle 1", b"farm bundle 9"))
    return into.getvalue()


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "No file was chosen"),
        (b"words", "this is no whole zip archive"),
        (bytes(MOST_ARCHIVE_BYTES), "This archive is over 290 kB"),
        ("cut", "this is no whole zip archive"),
        ("other", "of a form that is not known"),
        ("machine", "names a file or a machine"),
        ("mistake", "is not one of the choices"),
    ],
)
async def test_a_bad_archive_is_answered_in_place(
    site: Visited, tmp_path: Path, data: bytes | str, said: str
) -> None:
    there = tmp_path / "there"
    if data in {"cut", "other"}:
        whole = archive(there)
        data = whole[:-200] if data == "cut" else _other_form(whole)
    elif data == "machine":
        data = archive(there, sources={"x": {"kind": "met_norway", "base_url": "http://10.0.0.1"}})
    elif data == "mistake":
        whole = archive(there)
        data = _with_mistake(whole)
    assert isinstance(data, bytes)
    answer = await sent(site, data)
    assert answer.status_code == 422
    assert said in unescape(answer.text)
    assert 'type="file"' in answer.text
    assert "Nothing was changed." in answer.text
    assert crop(site) == "soybeans"


def _with_mistake(whole: bytes) -> bytes:
    """The archive with a word that no model knows, and sums that fit it."""
    with zipfile.ZipFile(io.BytesIO(whole)) as opened:
        parts = {name: opened.read(name) for name in opened.namelist()}
    farm = parts["farm.toml"].replace(b'"clean"', b'"spotless"')
    contents = json.loads(parts["contents.json"])
    contents["files"]["farm.toml"] = {"bytes": len(farm), "sha256": sha256(farm).hexdigest()}
    parts |= {"farm.toml": farm, "contents.json": json.dumps(contents).encode()}
    into = io.BytesIO()
    with zipfile.ZipFile(into, "w") as made:
        for name, part in parts.items():
            made.writestr(name, part)
    return into.getvalue()


async def test_an_archive_is_held_for_a_while_only(site: Visited, tmp_path: Path) -> None:
    looked = await sent(site, archive(tmp_path / "there"))
    site.service.clock.at += HELD_S + 1
    late = await keep(site, looked)
    assert late.status_code == 422
    assert "choose it again" in late.text


async def test_a_form_from_elsewhere_is_refused(site: Visited, tmp_path: Path) -> None:
    data = await asyncio.to_thread(archive, tmp_path / "there")
    files = {"archive": ("farm.zip", data, "application/zip")}
    answer = await site.web.post(PAGE, data={"form_token": "x.y"}, files=files)
    assert answer.status_code == 403
