"""Everyday edits on the pages: looked at first, kept, undone, and answered in place."""

import random
from collections.abc import AsyncIterator
from html import unescape
from pathlib import Path

import pytest

from tests.support.farm_files import written
from tests.support.farm_forms import filled, keep, look
from tests.support.farms import watched_tables
from tests.support.visiting import Visited, visited
from watcher.farm import Farm
from watcher.farm.load import load
from watcher.limits.farm_arrays import FarmArrays
from watcher.limits.status import Status
from watcher.service.snapshot import take
from watcher.web.auth.users import Role

pytestmark = pytest.mark.long


@pytest.fixture
def file(tmp_path: Path) -> Path:
    tables = watched_tables()
    tables["products"] = {
        "a": {"name": "Product A (invented)", "registration": "0-0"},
        "b": {"name": "Product B (invented)", "registration": "0-1"},
    }
    return written(tmp_path, tables)


@pytest.fixture
async def site(tmp_path: Path, file: Path) -> AsyncIterator[Visited]:
    async with visited(tmp_path, farm_file=file) as v:
        v.log_in(Role.ADMINISTER)
        yield v


def farm(site: Visited) -> Farm:
    return site.service.watch.transactions.plan.farm


def status(site: Visited, field: str) -> Status:
    assert site.service.watch.snapshot is not None
    return site.service.watch.snapshot.ranking.every[field].status


async def test_weeds_height_and_last_day_are_changed_on_the_field(
    site: Visited, file: Path
) -> None:
    assert "/fields/hill/change" in (await site.web.get("/fields/hill")).text
    path = "/fields/hill/change"
    looked = await look(site, path, weeds="weedy", canopy="30 in", latest="2026-06-20")
    assert "fields.hill.weeds: clean → weedy" in looked.text
    assert farm(site).config.fields["hill"].weeds.value == "clean"
    answer = await keep(site, looked)
    assert answer.headers["location"] == "/fields/hill?saved=2"
    for now in (farm(site), load(file)):
        hill = now.config.fields["hill"]
        assert (hill.weeds.value, hill.canopy) == ("weedy", pytest.approx(0.762))
        assert f"{hill.latest}" == "2026-06-20"


async def test_products_and_setups_are_chosen(site: Visited) -> None:
    path = "/fields/hill/change"
    looked = await look(site, path, **{"products:b": "on", "setups:fine": "on"})
    await keep(site, looked)
    hill = farm(site).config.fields["hill"]
    assert (hill.products, hill.setups) == (("b",), ("fine",))
    await keep(site, await look(site, path, without="products:b"))
    assert farm(site).config.fields["hill"].products == ()


async def test_a_field_left_out_or_done_is_not_ranked(site: Visited) -> None:
    path = "/fields/hill/change"
    looked = await look(site, path, left_out="on")
    assert "No longer ranked: hill" in looked.text
    await keep(site, looked)
    snapshot = site.service.watch.snapshot
    assert snapshot is not None
    assert [f.field for f in snapshot.ranking.done] == ["hill"]
    assert "until you take that back" in (await site.web.get("/fields/hill")).text
    await keep(site, await look(site, path, without="left_out", done_on="2026-06-09"))
    assert site.service.watch.snapshot is not None
    assert [f.field for f in site.service.watch.snapshot.ranking.done] == ["hill"]


async def test_what_a_bound_would_close_is_said_before_it_is_kept(site: Visited) -> None:
    assert status(site, "hill") > Status.UNSUITABLE
    path = "/fields/hill/bound/wind"
    looked = await look(site, path, **{"field:high": "4 mph"})
    assert "1 field would close now: hill" in looked.text
    assert "h less in the next two days" in looked.text
    assert status(site, "hill") > Status.UNSUITABLE
    await keep(site, looked)
    assert status(site, "hill") is Status.UNSUITABLE
    back = await look(site, path, **{"field:high": ""})
    assert "1 field would open now: hill" in back.text
    await keep(site, back)
    assert "wind" not in farm(site).config.fields["hill"].limits.model_fields_set


async def test_a_labels_bound_is_loosened_only_where_the_label_changed(site: Visited) -> None:
    looked = await look(site, "/fields/hill/bound/wind", **{"window:high": "12 mph"})
    assert "windows.contact.wind.high is not yours (label)" in looked.text
    unsaid = await keep(site, looked)
    assert unsaid.status_code == 409
    assert "it is kept only if this is so" in unsaid.text
    assert farm(site).config.windows["contact"].wind.high == pytest.approx(4.4704)
    await keep(site, unsaid, label_changed="yes")
    assert farm(site).config.windows["contact"].wind.high == pytest.approx(5.3645, rel=1e-4)
    versions = await site.web.get("/farm/versions/2")
    assert "the label or law changed: windows.contact.wind.high" in versions.text


async def test_one_tap_undoes_and_an_undone_tightening_asks_too(site: Visited, file: Path) -> None:
    before = load(file)
    kept = await keep(site, await look(site, "/fields/hill/change", weeds="weedy"))
    page = await site.web.get(kept.headers["location"])
    undone = await site.web.post("/farm/versions/2/undo", data=filled(page.text))
    assert undone.headers["location"] == "/farm?saved=3"
    assert load(file) == before
    await keep(site, await look(site, "/fields/hill/bound/wind", **{"window:high": "9 mph"}))
    asks = await site.send("/farm/versions/4", "/farm/versions/4/undo")
    assert asks.status_code == 409
    assert "windows.contact.wind.high is not yours (label)" in asks.text
    assert farm(site).config.windows["contact"].wind.high == pytest.approx(4.0234, rel=1e-4)


async def test_an_undo_takes_nothing_back_that_came_after_unseen(site: Visited) -> None:
    mine = await keep(site, await look(site, "/fields/hill/change", weeds="weedy"))
    page = await site.web.get(mine.headers["location"])
    await keep(site, await look(site, "/fields/creek_side/change", canopy="20 in"))
    asks = await site.web.post("/farm/versions/2/undo", data=filled(page.text))
    assert "fields.creek_side.canopy: 20 in → nothing" in asks.text
    assert farm(site).config.fields["hill"].weeds.value == "weedy"


async def test_a_file_that_is_no_toml_is_said_and_not_changed(many: Visited, file: Path) -> None:
    text = file.read_text()  # noqa: ASYNC240
    file.write_text(text + "\n[fields\n")  # noqa: ASYNC240
    for path in ("/fields/hill/change", "/farm/people/grower"):
        answer = await many.web.get(path)
        assert answer.status_code == 409
        assert "this is not TOML" in unescape(answer.text)


async def test_of_two_who_edit_at_once_the_second_sees_the_first(site: Visited) -> None:
    mine = await look(site, "/fields/hill/change", weeds="weedy")
    theirs = await look(site, "/fields/hill/change", canopy="20 in")
    await keep(site, theirs)
    late = await keep(site, mine)
    assert late.status_code == 409
    assert "grower changed the farm at" in late.text
    await keep(site, late)
    hill = farm(site).config.fields["hill"]
    assert (hill.weeds.value, hill.canopy) == ("weedy", pytest.approx(0.508))


@pytest.fixture
async def many(tmp_path: Path, file: Path) -> AsyncIterator[Visited]:
    async with visited(tmp_path, farm_file=file, calm=False) as v:
        v.log_in(Role.ADMINISTER)
        yield v


async def test_who_hears_what_and_when_it_is_quiet(site: Visited) -> None:
    path = "/farm/people/grower"
    looked = await look(site, path, start="21:30", end="05:00", language="es", backup="operator")
    await keep(site, looked)
    grower = farm(site).config.recipients["grower"]
    assert grower.quiet_hours is not None
    assert f"{grower.quiet_hours.start:%H:%M}" == "21:30"
    assert (grower.language, grower.backup) == ("es", "operator")
    assert site.service.watch.transactions.post.people.language_of("grower").code == "es"
    await keep(site, await look(site, path, start="", end=""))
    assert farm(site).config.recipients["grower"].quiet_hours is None


@pytest.mark.parametrize("role", [Role.LOOK, Role.RUN])
async def test_only_who_administers_may_change_the_farm(many: Visited, role: Role) -> None:
    many.web.cookies.clear()
    many.log_in(role)
    assert "/change" not in (await many.web.get("/fields/hill")).text
    assert (await many.web.get("/farm")).status_code == 200
    for path in ("/fields/hill/change", "/fields/hill/bound/wind", "/farm/people/grower"):
        assert (await many.web.get(path)).status_code == 403
        assert (await many.web.post(path, data={"weeds": "weedy"})).status_code == 403
    assert (await many.web.post("/farm/versions/1/undo")).status_code == 403


async def test_a_form_from_elsewhere_is_refused(many: Visited) -> None:
    answer = await many.web.post("/fields/hill/change", data={"weeds": "weedy", "keep": "yes"})
    assert answer.status_code == 403


async def test_what_is_not_there_is_not_found(many: Visited) -> None:
    for path in (
        "/fields/nowhere/change",
        "/fields/hill/bound/feelings",
        "/farm/people/stranger",
        "/farm/versions/99",
    ):
        assert (await many.web.get(path)).status_code == 404, path


async def test_a_mistake_in_the_file_stands_on_the_first_page(many: Visited, file: Path) -> None:
    text = file.read_text()  # noqa: ASYNC240
    file.write_text(text.replace('weeds = "clean"', 'weeds = "claen"'))  # noqa: ASYNC240
    in_use = many.service.watch.farm_in_use
    assert in_use is not None
    await in_use.look()
    await in_use.look()
    for path in ("/", "/sources", "/farm"):
        assert "The farm file has a mistake" in (await many.web.get(path)).text
    assert "claen" in (await many.web.get("/farm")).text


async def test_random_edits_and_undoing_keep_file_page_and_judgement_equal(
    many: Visited, file: Path
) -> None:
    """Whatever is edited and undone in whichever order, all three tell of one farm."""
    dice = random.Random(7)
    in_use, watch = many.service.watch.farm_in_use, many.service.watch
    assert in_use is not None
    for _ in range(12):
        field = dice.choice(["hill", "creek_side"])
        name, value = dice.choice(
            [
                ("weeds", dice.choice(["clean", "moderate", "weedy"])),
                ("canopy", f"{dice.randint(1, 40)} in"),
                ("latest", f"2026-06-{dice.randint(10, 30)}"),
                ("products:a", "on"),
            ]
        )
        newest = in_use.editor.versions.newest()
        if newest is not None and newest.number > 1 and dice.random() < 0.4:
            await many.send("/farm/versions/2", f"/farm/versions/{newest.number}/undo")
        elif dice.random() < 0.3:
            high = f"{dice.randint(5, 10)} mph"
            looked = await look(many, f"/fields/{field}/bound/wind", **{"field:high": high})
            await keep(many, looked) if looked.status_code == 200 else None
        else:
            looked = await look(many, f"/fields/{field}/change", **{name: value})
            await keep(many, looked) if looked.status_code == 200 else None
        written_farm = load(file)
        assert farm(many) == written_farm
        assert watch.snapshot is not None
        with watch.transactions.store.reading() as session:
            anew = take(session, FarmArrays.of(written_farm), watch.clock.now())
        for name, seen in anew.ranking.every.items():
            assert watch.snapshot.ranking.every[name].status is seen.status
            shown = filled((await many.web.get(f"/fields/{name}/change")).text)
            assert shown["weeds"] == written_farm.config.fields[name].weeds.value
    assert in_use.editor.versions.numbers()[0] > 6


async def test_it_speaks_spanish(many: Visited) -> None:
    many.web.headers["accept-language"] = "es"
    page = await many.web.get("/fields/hill/change")
    assert "Ver qué cambiaría esto" in page.text
    form = filled(page.text) | {"canopy": "30"}
    answer = await many.web.post("/fields/hill/change", data=form)
    assert "escriba un número con su unidad" in unescape(answer.text)
