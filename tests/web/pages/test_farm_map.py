"""The map of the farm: drawn anew, drawn for the first time, told what it overlaps, answered."""

import re
from collections.abc import AsyncIterator
from html import unescape
from pathlib import Path

import httpx
import numpy as np
import pytest
import shapely

from tests.support.farm_files import written
from tests.support.tile_server import ATTRIBUTION, TileServer, tile_server
from tests.support.visiting import Visited, visited
from tests.web.pages.test_farm_edit import filled, keep
from watcher.farm import Farm
from watcher.farm.geometry.importing import typed_corners
from watcher.sources.tile_address import MapPictures
from watcher.sources.tiles import TileClient
from watcher.units import Kind
from watcher.web.auth.users import Role

pytestmark = pytest.mark.long

_CORNERS = re.compile(r'<textarea id="f-corners"[^>]*>([^<]*)</textarea>')


@pytest.fixture
async def site(tmp_path: Path) -> AsyncIterator[Visited]:
    async with visited(tmp_path, farm_file=written(tmp_path)) as v:
        v.log_in(Role.ADMINISTER)
        yield v


def farm(site: Visited) -> Farm:
    return site.service.watch.transactions.plan.farm


def moved(site: Visited, name: str, north_deg: float = 0.0, east_deg: float = 0.0) -> str:
    """Corners of a field or neighbour, moved."""
    ground = farm(site).ground
    shape = {**ground.fields_deg, **ground.neighbours_deg}[name]
    return typed_corners(shapely.transform(shape, lambda at: at + np.array([east_deg, north_deg])))


async def send(site: Visited, path: str, **typed: str) -> httpx.Response:
    """Send the form of a page, with the text of the corners that stands there unless another."""
    page = (await site.web.get(path)).text
    corners = _CORNERS.search(page)
    assert corners, page
    form = filled(page) | {"corners": unescape(corners[1]).strip()} | typed
    return await site.web.post(path, data=form)


async def look(site: Visited, **given: str) -> httpx.Response:
    page = (await site.web.get("/farm/map/field/hill")).text
    form = {"form_token": site.form_token(page), "role": "field"} | given
    return await site.web.post("/farm/map/look", data=form)


async def test_a_field_is_drawn_anew_and_undone(site: Visited) -> None:
    before = farm(site).ground.area_m2("hill")
    wider = moved(site, "hill").splitlines()
    wider[1:3] = [f"{line.split(',')[0]}, -95.9700000" for line in wider[1:3]]
    looked = await send(site, "/farm/map/field/hill", corners="\n".join(wider))
    kept = await keep(site, looked)
    assert kept.headers["location"].startswith("/farm/map?saved=")
    assert farm(site).ground.area_m2("hill") > 1.2 * before
    page = await site.web.get(kept.headers["location"])
    undo = re.search(r'action="(/farm/versions/\d+/undo)"', page.text)
    assert undo
    await site.web.post(undo[1], data={"form_token": site.form_token(page.text)})
    assert farm(site).ground.area_m2("hill") == pytest.approx(before, rel=1e-6)


async def test_corners_that_stay_as_they_are_change_nothing(site: Visited) -> None:
    answer = await send(site, "/farm/map/field/hill")
    assert (answer.status_code, answer.headers["location"]) == (303, "/farm/map")


async def test_an_overlap_is_told_with_how_much_and_kept_only_by_saying_so(site: Visited) -> None:
    a_little = moved(site, "creek_side", north_deg=0.00012)  # 13 m: over the 10 m to the orchard
    found = await send(site, "/farm/map/field/creek_side", corners=a_little)
    assert found.status_code == 422
    assert re.search(r"overlaps orchard by 0\.3\d acre, 0\.8 % of the smaller", found.text)
    assert a_little in found.text
    looked = await send(site, "/farm/map/field/creek_side", corners=a_little, overlap_ok="yes")
    assert (await keep(site, looked)).status_code == 303
    assert typed_corners(farm(site).ground.fields_deg["creek_side"]) == a_little


async def test_an_overlap_that_is_no_careless_line_is_refused_whatever_is_said(
    site: Visited,
) -> None:
    far = moved(site, "creek_side", north_deg=0.002)
    found = await send(site, "/farm/map/field/creek_side", corners=far, overlap_ok="yes")
    assert found.status_code == 422
    assert "cut a yard out of a field as a hole" in unescape(found.text)


@pytest.mark.parametrize(
    ("corners", "says"),
    [
        ("41.0, -96.0\n41.01, -95.99\n41.01, -96.0\n41.0, -95.99", "crosses or touches itself at"),
        ("41.0, -96.0\n41.01, -95.99", "a field has at least 3 corners"),
        ("41.0, -96.0\nnowhere\n41.01, -96.0", "line 2 is no corner"),
        ("", "there is no boundary yet"),
        ('{"type": "FeatureCollection", "features": []}', "it holds no boundary"),
    ],
)
async def test_what_cannot_be_is_refused_in_place(site: Visited, corners: str, says: str) -> None:
    answer = await send(site, "/farm/map/field/hill", corners=corners)
    assert answer.status_code == 422
    assert says in unescape(answer.text)
    assert 'aria-invalid="true"' in answer.text


async def test_a_neighbour_is_drawn_and_taken_off(site: Visited) -> None:
    beside = moved(site, "hill", north_deg=0.004)
    looked = await send(
        site,
        "/farm/map/new/neighbour",
        name="Old vines",
        grows="grapes",
        minds="very susceptible",
        corners=beside,
    )
    await keep(site, looked)
    vines = farm(site).config.neighbours["old_vines"]
    assert (vines.grows, vines.susceptibility.value) == ("grapes", "very susceptible")
    assert typed_corners(farm(site).ground.neighbours_deg["old_vines"]) == beside
    page = "/farm/map/neighbour/old_vines"
    token = site.form_token((await site.web.get(page)).text)
    await keep(site, await site.web.post(f"{page}/remove", data={"form_token": token}))
    assert "old_vines" not in farm(site).config.neighbours


async def test_a_field_is_drawn_for_the_first_time(site: Visited) -> None:
    looked = await send(
        site,
        "/farm/map/new/field",
        name="Far end",
        crop="corn",
        weeds="weedy",
        window="contact",
        corners=moved(site, "hill", north_deg=0.01),
    )
    await keep(site, looked)
    assert farm(site).config.fields["far_end"].crop == "corn"
    assert "far end" in (await site.web.get("/farm/map")).text


async def test_what_a_new_one_lacks_is_asked_for_in_place(site: Visited) -> None:
    corners = moved(site, "hill", north_deg=0.01)
    answer = await send(site, "/farm/map/new/field", name="Far end", crop="", corners=corners)
    assert answer.status_code == 422
    assert 'id="e-crop"' in answer.text


async def test_a_shape_is_looked_at_by_the_functions_of_the_watch(site: Visited) -> None:
    answer = (await look(site, name="creek_side", corners=moved(site, "creek_side"))).json()
    area = farm(site).ground.area_m2("creek_side")
    assert answer["area"] == Kind.AREA.show(area, "us", 1)
    assert answer["near"] == ["orchard: 33 ft away"]
    assert answer["overlaps"] == []
    assert answer["corners"] == moved(site, "creek_side")


async def test_a_shape_that_cannot_be_is_answered_with_where(site: Visited) -> None:
    crossing = "41.0, -96.0\n41.01, -95.99\n41.01, -96.0\n41.0, -95.99"
    answer = await look(site, name="hill", corners=crossing)
    assert answer.status_code == 422
    assert "crosses or touches itself" in answer.json()["wrong"]
    assert answer.json()["at"] == pytest.approx([-95.995, 41.005])


async def test_a_shape_is_looked_at_in_the_readers_language(site: Visited) -> None:
    site.web.headers["accept-language"] = "es"
    answer = (await look(site, name="new", corners=moved(site, "hill", 0.0001))).json()
    assert answer["overlaps"][0].startswith("se superpone a hill en 38")


async def test_who_may_look_may_not_draw(site: Visited) -> None:
    site.log_in(Role.LOOK)
    assert (await site.web.get("/farm/map")).status_code == 200
    assert (await site.web.get("/farm/map/field/hill")).status_code == 403
    assert (await site.web.post("/farm/map/look", data={})).status_code == 403
    assert (await site.web.post("/farm/map/field/hill/remove", data={})).status_code == 403


@pytest.mark.parametrize("path", ["field/nobody", "neighbour/hill", "new/pond", "field/new"])
async def test_what_is_not_there_is_not_drawn(site: Visited, path: str) -> None:
    assert (await site.web.get(f"/farm/map/{path}")).status_code in {404, 422}


async def test_the_position_may_be_asked_for_on_the_editor_only(site: Visited) -> None:
    editor = await site.web.get("/farm/map/field/hill")
    assert editor.headers["permissions-policy"] == "geolocation=(self)"
    assert "geolocation=()" in (await site.web.get("/farm/map")).headers["permissions-policy"]


async def test_without_an_address_of_tiles_it_is_the_plain_grid_and_says_so(site: Visited) -> None:
    for path in ("/farm/map", "/farm/map/field/hill"):
        page = (await site.web.get(path)).text
        assert "Plain grid: no pictures of the ground are set." in page
        assert "<image" not in page
    assert (await site.web.get("/map/tiles/1/0/0")).status_code == 404


@pytest.fixture
async def provider() -> AsyncIterator[TileServer]:
    async with tile_server() as served:
        yield served


@pytest.fixture
async def pictured(tmp_path: Path, provider: TileServer) -> AsyncIterator[Visited]:
    pictures = MapPictures(provider.template, ATTRIBUTION, 16)
    tiles = TileClient(pictures, contact="me@farm.example", cache=tmp_path / "tiles.db")
    async with visited(tmp_path, farm_file=written(tmp_path), tiles=tiles) as v:
        yield v


async def test_tiles_come_from_here_to_who_is_logged_in(
    pictured: Visited, provider: TileServer
) -> None:
    assert (await pictured.web.get("/map/tiles/3/1/2")).status_code in {303, 401}
    assert provider.asked == []
    pictured.log_in(Role.LOOK)
    page = (await pictured.web.get("/farm/map")).text
    assert ATTRIBUTION in page
    tiles = re.findall(r'href="(/map/tiles/[^"]+)"', page)
    assert 1 <= len(tiles) <= 16
    answer = await pictured.web.get(tiles[0])
    assert answer.headers["content-type"] == "image/png"
    assert answer.headers["cache-control"].startswith("private, max-age=")
    assert answer.headers["x-content-type-options"] == "nosniff"
    await pictured.web.get(tiles[0])
    assert len(provider.asked) == 1


async def test_a_tile_that_does_not_come_is_none(pictured: Visited, provider: TileServer) -> None:
    pictured.log_in(Role.LOOK)
    provider.status = 500
    answer = await pictured.web.get("/map/tiles/3/1/2")
    assert (answer.status_code, answer.headers["cache-control"]) == (404, "no-store")


@pytest.mark.parametrize("tile", ["17/0/0", "3/8/0", "3/-1/0", "3/0/999999999999", "x/0/0"])
async def test_only_tiles_there_are_can_be_asked_for(
    pictured: Visited, provider: TileServer, tile: str
) -> None:
    pictured.log_in(Role.LOOK)
    assert (await pictured.web.get(f"/map/tiles/{tile}")).status_code in {404, 422}
    assert provider.asked == []
