"""The screen of the place: what a place comes to, what the device suggests, what answers."""

import re
from html import unescape

import httpx
import pytest

from tests.support.first_visit import PLACE, TOKEN
from tests.web.first_visit.conftest import Site


async def look(site: Site, typed: str) -> httpx.Response:
    found = TOKEN.search((await site.web.get("/first/place")).text)
    assert found
    form = {"form_token": unescape(found[1]), "corners": typed}
    return await site.web.post("/first/place/look", data=form)


@pytest.mark.parametrize(
    "typed", ["41.625, -96.945", "41° 37' 30\" N, 96° 56' 42\" W", "geo:41.625,-96.945"]
)
async def test_a_place_in_any_notation_comes_to_its_clock(site: Site, typed: str) -> None:
    answer = (await look(site, typed)).json()
    assert answer["place"] == pytest.approx([41.625, -96.945])
    assert answer["area"] == "America/Chicago"


async def test_what_is_no_place_is_said_with_its_mend(site: Site) -> None:
    answer = await look(site, "by the river")
    assert answer.status_code == 422
    assert answer.json() == {"wrong": "is no place; write latitude, longitude: 41.6278, -96.9588"}


async def test_nobody_else_looks_at_it_but_anybody_may_ask_whether_it_is_there(site: Site) -> None:
    site.web.cookies.clear()
    answer = await site.web.post("/first/place/look", data={"corners": "41, -96"})
    assert answer.status_code == 401
    assert (await site.web.get("/first/here")).status_code == 204


def chosen(page: str, name: str) -> str:
    """What a list shows first."""
    [block] = re.findall(rf'<select id="f-{name}".*?</select>', page, re.DOTALL)
    return "".join(re.findall(r'<option value="([^"]*)" selected>', block))


@pytest.mark.parametrize(
    ("speaks", "units", "language"),
    [
        ("en-US,en;q=0.9", "us", "en"),
        ("es-US,es;q=0.9", "us", "es"),
        ("es-AR,en-US;q=0.8", "metric", "es"),
        ("", "metric", "en"),
    ],
)
async def test_the_device_suggests_units_and_language_which_count_once_they_are_sent(
    site: Site, speaks: str, units: str, language: str
) -> None:
    site.web.headers["accept-language"] = speaks
    page = (await site.web.get("/first/place")).text
    assert (chosen(page, "units"), chosen(page, "language")) == (units, language)
    assert "farm" not in site.visit.farm.raw
    content = {"place": PLACE["place"], "farm_name": "Invented"}
    await site.tell("place", **content, units=units, language=language)
    farm = site.visit.farm.raw["farm"]
    assert (farm["units"], farm["language"]) == (units, language)


async def test_told_units_stand_before_those_of_the_device(site: Site) -> None:
    site.web.headers["accept-language"] = "en-US"
    await site.tell("place", **(dict(PLACE) | {"units": "metric"}))
    assert chosen((await site.web.get("/first/place")).text, "units") == "metric"
    assert "with its unit: km/h" in (await site.web.get("/first/label")).text


async def test_the_map_begins_with_the_world_and_then_with_the_place(site: Site) -> None:
    page = unescape((await site.web.get("/first/place")).text)
    assert '"place": null' in page
    land = re.search(r'"land": "(/static/land\.svg[^"]*)"', page)
    assert land
    assert (await site.web.get(land[1])).headers["content-type"].startswith("image/svg+xml")
    await site.tell("place", **PLACE)
    assert '"place": [41.625, -96.945]' in unescape((await site.web.get("/first/place")).text)
