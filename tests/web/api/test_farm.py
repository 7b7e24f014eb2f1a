"""The farm's files through the API: by ETag, checked, undone, refused as problem details."""

from collections.abc import AsyncIterator
from pathlib import Path
from typing import Any

import httpx
import pytest

from tests.support.farm_files import written
from tests.support.visiting import LOOKER, OWNER, PROGRAM, Visited, visited
from watcher.farm.load import load
from watcher.limits.status import Status

pytestmark = pytest.mark.long


@pytest.fixture
def file(tmp_path: Path) -> Path:
    return written(tmp_path)


@pytest.fixture
async def site(tmp_path: Path, file: Path) -> AsyncIterator[Visited]:
    async with visited(tmp_path, farm_file=file) as v:
        v.web.headers["Authorization"] = f"Bearer {OWNER}"
        yield v


async def patch(site: Visited, body: Any, query: str = "", etag: str = "*") -> httpx.Response:
    return await site.web.patch(f"/api/v1/farm{query}", json=body, headers={"If-Match": etag})


async def test_it_is_read_as_it_is_written_with_its_etag(site: Visited) -> None:
    answer = await site.web.get("/api/v1/farm")
    assert answer.json()["windows"]["contact"]["wind"]["high"] == "10 mph"
    assert answer.headers["etag"].startswith('"')


async def test_a_merge_patch_changes_it_and_is_judged(site: Visited, file: Path) -> None:
    etag = (await site.web.get("/api/v1/farm")).headers["etag"]
    body = {"fields": {"hill": {"limits": {"wind": {"high": "4 mph"}}, "latest": "2026-07-01"}}}
    looked = await patch(site, body, "?dry_run=true", etag)
    assert looked.json()["version"] is None
    assert "1 field would close now: hill" in looked.json()["effect"]
    answer = await patch(site, body, etag=etag)
    content = answer.json()
    assert content["version"]["by"] == "owner"
    assert [c["key"] for c in content["changes"]] == ["fields.hill.limits", "fields.hill.latest"]
    assert site.service.watch.snapshot is not None
    assert site.service.watch.snapshot.ranking.every["hill"].status is Status.UNSUITABLE
    assert f"{load(file).config.fields['hill'].latest}" == "2026-07-01"
    assert answer.headers["etag"] == (await site.web.get("/api/v1/farm")).headers["etag"] != etag


async def test_the_second_of_two_is_refused_with_how_it_is_now(site: Visited) -> None:
    etag = (await site.web.get("/api/v1/farm")).headers["etag"]
    first = await patch(site, {"fields": {"hill": {"weeds": "weedy"}}}, etag=etag)
    second = await patch(site, {"fields": {"hill": {"weeds": "moderate"}}}, etag=etag)
    assert second.status_code == 412
    assert second.headers["content-type"] == "application/problem+json"
    assert f'"{second.json()["etag"]}"' == first.headers["etag"]
    unnamed = await site.web.patch("/api/v1/farm", json={})
    assert unnamed.status_code == 428


async def test_a_mistake_is_named_with_key_and_mend(site: Visited, file: Path) -> None:
    before = file.read_bytes()  # noqa: ASYNC240
    body = {"fields": {"hill": {"weeds": "claen", "window": "contakt"}}}
    answer = await patch(site, body)
    assert answer.status_code == 422
    assert answer.headers["content-type"] == "application/problem+json"
    mistakes = {m["key"]: m["mend"] for m in answer.json()["mistakes"]}
    assert mistakes['fields.hill.weeds = "claen"'].startswith('did you mean "clean"?')
    assert file.read_bytes() == before  # noqa: ASYNC240
    site.web.headers["accept-language"] = "es"
    assert (await patch(site, body)).json()["title"] == "La finca no se cambió"


async def test_a_labels_bound_needs_the_word_that_it_changed(site: Visited) -> None:
    body = {"windows": {"contact": {"wind": {"high": "12 mph"}}}}
    answer = await patch(site, body)
    assert answer.status_code == 409
    assert answer.json()["loosens"] == [
        "windows.contact.wind.high is not yours (label): it would allow more than before"
    ]
    assert (await patch(site, body, "?label_changed=true")).status_code == 200
    [newest, *_] = (await site.web.get("/api/v1/farm/versions")).json()
    assert newest["loosened"] == ["windows.contact.wind.high"]


async def test_a_field_comes_with_its_boundary_and_goes_with_it(site: Visited) -> None:
    ring = [[-95.9, 41.0], [-95.89, 41.0], [-95.89, 41.01], [-95.9, 41.0]]
    shape = {"type": "Polygon", "coordinates": [ring]}
    entry = {"crop": "oats", "weeds": "clean", "window": "contact"}
    alone = await patch(site, {"fields": {"new": entry}})
    assert alone.status_code == 422
    both = {"fields": {"new": entry}, "boundaries": {"new": {"role": "field", "geometry": shape}}}
    assert "Ranked from now on: new" in (await patch(site, both)).json()["effect"]
    collection = (await site.web.get("/api/v1/farm/boundaries.geojson")).json()
    found = {f["id"]: f for f in collection["features"]}
    assert found["new"]["geometry"] == shape
    assert found["orchard"]["properties"]["role"] == "neighbour"
    gone = await site.web.delete("/api/v1/farm/fields/new", headers={"If-Match": "*"})
    assert gone.status_code == 200
    collection = (await site.web.get("/api/v1/farm/boundaries.geojson")).json()
    assert "new" not in {f["id"] for f in collection["features"]}


async def test_an_entry_is_written_whole(site: Visited) -> None:
    entry = {"hears": ["job"], "quiet_hours": {"start": "21:00", "end": "05:00"}}
    answer = await site.web.put(
        "/api/v1/farm/recipients/helper", json=entry, headers={"If-Match": "*"}
    )
    assert answer.status_code == 200
    assert (await site.web.get("/api/v1/farm")).json()["recipients"]["helper"]["hears"] == ["job"]


async def test_versions_are_listed_told_and_gone_back_to(site: Visited, file: Path) -> None:
    before = load(file)
    await patch(site, {"fields": {"hill": {"weeds": "weedy"}}})
    await patch(site, {"fields": {"hill": {"weeds": "moderate"}}})
    listed = (await site.web.get("/api/v1/farm/versions")).json()
    assert [v["number"] for v in listed] == [3, 2, 1]
    assert [v["by"] for v in listed] == ["owner", "owner", ""]
    assert len((await site.web.get("/api/v1/farm/versions?limit=1")).json()) == 1
    answer = (await site.web.get("/api/v1/farm/versions/3")).json()
    assert answer["changes"] == [
        {"key": "fields.hill.weeds", "before": "weedy", "after": "moderate"}
    ]
    back = await site.web.post("/api/v1/farm/versions/1/restore", headers={"If-Match": "*"})
    assert back.json()["version"]["number"] == 4
    assert load(file) == before
    assert (await site.web.get("/api/v1/farm/versions/99")).status_code == 404


@pytest.mark.parametrize(
    "body", [b"", b"{", b"[]", b"1", b'{"a": NaN}', b'{"a": "\\ud800"}', b"[" * 5000]
)
async def test_what_no_file_can_hold_is_refused(site: Visited, body: bytes) -> None:
    answer = await site.web.patch("/api/v1/farm", content=body, headers={"If-Match": "*"})
    assert answer.status_code == 422


async def test_only_an_administrator_changes_it(site: Visited) -> None:
    for token, status in ((LOOKER, 403), (PROGRAM, 403), ("nobody-known-to-anyone", 401)):
        site.web.headers["Authorization"] = f"Bearer {token}"
        assert (await patch(site, {})).status_code == status
        path = "/api/v1/farm/versions/1/restore"
        answer = await site.web.post(path, headers={"If-Match": "*"})
        assert answer.status_code == status
    site.web.headers["Authorization"] = f"Bearer {LOOKER}"
    assert (await site.web.get("/api/v1/farm")).status_code == 200


async def test_files_and_machines_are_not_named_over_the_network(site: Visited) -> None:
    answer = await patch(site, {"farm": {"fields_file": "/etc/passwd"}})
    assert answer.status_code == 422
    assert "not changed over the network" in answer.json()["wrong"]
    for named in ({"files": "/etc/passwd"}, {"url": "http://10.0.0.1/"}, {"host": "10.0.0.1"}):
        answer = await patch(site, {"sources": {"other": {"kind": "csv"} | named}})
        assert answer.status_code == 422
        assert "not changed over the network" in answer.json()["wrong"]
