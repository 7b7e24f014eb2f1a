"""The first page with many fields: what comes first, groups, a search; without script."""

import re
from pathlib import Path

import pytest

from tests.support.farms import tables
from tests.support.visiting import farm, visited
from watcher.farm import Farm

pytestmark = pytest.mark.long

LINK = re.compile(r'<ul class="rows">(.*?)</ul>', re.S)


def many() -> Farm:
    field = tables()["fields"]["hill"]
    corn = {f"corn_{i:03}": field | {"crop": "corn", "location": "Mill <lane>"} for i in range(38)}
    return farm(fields=corn)


def listed(page: str) -> list[str]:
    return [f for part in LINK.findall(page) for f in re.findall(r'href="/fields/(\w+)"', part)]


async def test_a_small_farm_has_neither_search_nor_groups(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        v.log_in()
        page = (await v.web.get("/")).text
        assert 'role="search"' not in page
        assert 'class="group"' not in page


async def test_groups_are_closed_and_say_how_many_and_why(tmp_path: Path) -> None:
    async with visited(tmp_path, of=many()) as v:
        v.log_in()
        page = (await v.web.get("/")).text
        snapshot = v.service.watch.snapshot
        assert snapshot is not None
        counts = [seen.status.word for seen in snapshot.ranking.every.values()]
        for word in set(counts):
            assert f"{word}, {counts.count(word)} " in page
        assert "decides: " in page
        assert listed(page) == []
        assert page.count('class="card"') == 3
        first = [seen.field for seen in snapshot.ranking.spray[:3]]
        assert re.findall(r'class="card" href="/fields/(\w+)"', page) == first


@pytest.mark.parametrize(
    ("by", "of", "wanted"),
    [("crop", "corn", 38), ("crop", "soybeans", 2), ("place", "Mill <lane>", 38), ("place", "", 2)],
)
async def test_a_group_opens_page_by_page(tmp_path: Path, by: str, of: str, wanted: int) -> None:
    async with visited(tmp_path, of=many()) as v:
        v.log_in()
        found: list[str] = []
        for number in (1, 2):
            page = (await v.web.get("/", params={"by": by, "of": of, "page": number})).text
            assert len(listed(page)) <= 20
            assert "<lane>" not in page
            found += listed(page) if number == 1 or wanted > 20 else []
        assert len(found) == len(set(found)) == wanted


async def test_fields_are_found_by_name_crop_and_place(tmp_path: Path) -> None:
    async with visited(tmp_path, of=many()) as v:
        v.log_in()
        for q, wanted in (("corn 007", 1), ("CREEK", 1), ("soybeans", 2), ("mill corn_01", 10)):
            page = (await v.web.get("/", params={"q": q})).text
            assert len(listed(page)) == wanted, q
        nothing = (await v.web.get("/", params={"q": '"><script>x'})).text
        assert "No field is called so." in nothing
        assert "<script>x" not in nothing


@pytest.mark.parametrize(
    "asked", ["by=colour", "of=nobody", "page=999", "page=-3", "q=" + "x" * 500]
)
async def test_what_cannot_be_understood_is_no_fault(tmp_path: Path, asked: str) -> None:
    async with visited(tmp_path, of=many()) as v:
        v.log_in()
        for page in ("/", "/hours"):
            assert (await v.web.get(f"{page}?{asked}")).status_code == 200


async def test_a_field_that_was_looked_for_is_shown_while_a_job_runs(tmp_path: Path) -> None:
    async with visited(tmp_path, of=many()) as v:
        v.log_in()
        await v.send("/fields/hill", "/jobs", field="hill", setup="coarse")
        assert listed((await v.web.get("/", params={"q": "corn 007"})).text) == ["corn_007"]
