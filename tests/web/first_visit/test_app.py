"""The first visit: screen by screen to a farm that passes the check, or told in place what not."""

import gzip
import json
import math
import re
from collections.abc import Mapping
from html import unescape
from pathlib import Path

import httpx
import pytest

from tests.support.first_visit import CORNERS, PLACE, SPRAYER, TOKEN
from tests.web.first_visit.conftest import NOON, Site
from watcher.farm.load import load
from watcher.i18n.message import say
from watcher.service.first_farm import FirstFarm
from watcher.web.auth.users import Role, User

TOLD: Mapping[str, Mapping[str, str]] = {
    "place": PLACE,
    "field": {"name": "Hill piece", "corners": CORNERS},
    "crop": {"crop": "soybeans", "canopy": "12 in", "weeds": "clean", "target": "mixed"},
    "sides?field=hill_piece": {"north:minds": "susceptible", "north:grows": "grapes"},
    "sprayer": SPRAYER,
    "label": {
        "product": "Product A (invented)",
        "registration": "0-0",
        "wind:low": "3 mph",
        "wind:high": "10 mph",
        "wind:origin": "label",
        "gust:high": "15 mph",
        "gust:origin": "own",
    },
    "feed": {"feed": "met_norway"},
    "station": {"later": "yes"},
    "phone": {},
}


async def tell_all(site: Site, *, but: str = "") -> None:
    for screen, found in TOLD.items():
        if screen != but:
            answer = await site.tell(screen, **found)
            assert answer.status_code == 303, (screen, re.sub(r"<[^>]+>", " ", answer.text))


async def test_told_screen_by_screen_it_is_a_farm_that_passes_the_check(site: Site) -> None:
    leads_to = [f"/first/{screen}" for screen in [*TOLD][1:]] + ["/first"]
    for (screen, found), after in zip(TOLD.items(), leads_to, strict=True):
        answer = await site.tell(screen, **found)
        assert (answer.status_code, answer.headers["location"]) == (303, after)
    end = await site.web.get("/first")
    assert "Start watching" in end.text
    assert "Not judged: temperature" in end.text
    token = TOKEN.search(end.text)
    assert token
    started = await site.web.post("/first/start", data={"form_token": unescape(token[1])})
    assert started.status_code == 200
    assert site.visit.written.is_set()
    farm = load(site.file)
    hill = farm.config.fields["hill_piece"]
    assert farm.config.farm.time_zone == "America/Chicago"
    assert (hill.crop, hill.products, hill.window) == ("soybeans", ("product",), "label")
    assert farm.config.windows["label"].wind.high == pytest.approx(4.4704)
    assert farm.config.neighbours["hill_piece_north"].grows == "grapes"
    assert farm.ground.area_m2("hill_piece") == pytest.approx(830 * 1111, rel=0.01)


async def test_each_screen_may_wait_and_the_end_says_what_for(site: Site) -> None:
    assert (await site.web.get("/")).headers["location"] == "/first"
    assert (await site.web.get("/first")).headers["location"] == "/first/place"
    await site.tell("place", **TOLD["place"])
    at = "/first/field"
    seen = []
    while at != "/first":
        seen.append(at)
        page = await site.web.get(at)
        assert 'class="without"' in page.text
        answer = await site.tell(at.removeprefix("/first/"), later="yes")
        at = answer.headers["location"]
    assert seen == [
        f"/first/{key}" for key in ("field", "crop", "sprayer", "label", "feed", "station", "phone")
    ]
    end = await site.web.get("/first")
    assert "Still to tell" in end.text
    assert "Start watching" not in end.text


async def test_a_sprayer_of_which_nothing_is_told_is_asked_for_in_plain_words(site: Site) -> None:
    await site.tell("place", **TOLD["place"])
    answer = await site.tell("sprayer")
    assert answer.status_code == 422
    assert "nothing is filled in" in answer.text
    assert "sprayers." not in answer.text


async def test_the_end_says_what_is_missing_in_the_words_of_its_questions(site: Site) -> None:
    await site.tell("place", place=PLACE["place"], units="us", language="en")
    await site.tell("field", **TOLD["field"])
    await site.tell("sprayer", width="90 ft")
    await site.tell("station", later="yes")
    end = unescape((await site.web.get("/first")).text)
    for said in (
        "○ Where is the farm? (needed)",
        "✓ Where is the first field? (answered)",
        "… Is there a weather station? (for later)",
        "What the farm is called: is missing",
        "Crop: is missing",
        "Speed while spraying: is missing",
        "nothing is answered yet",
    ):
        assert said in end, said
    for key in ("farm.", "fields.", "sprayers.", "windows.", "setups.", "sources"):
        assert f"<li>{key}" not in end, key


@pytest.mark.parametrize("but", ["crop", "sprayer", "label"])
async def test_without_what_must_be_told_it_does_not_start(site: Site, but: str) -> None:
    await tell_all(site, but=but)
    end = await site.web.get("/first")
    assert "Start watching" not in end.text
    token = TOKEN.search((await site.web.get("/first/feed")).text)
    assert token
    await site.web.post("/first/start", data={"form_token": unescape(token[1])})
    assert not site.visit.written.is_set()
    assert not site.file.exists()


async def test_what_the_settings_lack_is_said_at_the_end(site: Site) -> None:
    await tell_all(site)
    site.visit.unfit = lambda _farm: [say("there is none")]
    end = (await site.web.get("/first")).text
    assert "there is none" in end
    assert "Start watching" not in end


async def test_what_was_told_outlives_a_restart(site: Site, tmp_path: Path) -> None:
    await site.tell("place", **TOLD["place"])
    await site.tell("field", **TOLD["field"])
    again = FirstFarm(tmp_path / "first.json", site.file)
    assert again.place == (41.625, -96.945)
    assert list(again.shapes) == ["hill_piece"]
    site.visit.farm = again
    page = (await site.web.get("/first/place")).text
    assert 'value="Invented"' in page
    assert "41.62500, -96.94500" in page


async def test_a_bound_of_nobody_is_the_labels(site: Site) -> None:
    await site.tell("label", **{"wind:low": "3 mph", "wind:high": "10 mph", "gust:origin": "own"})
    window = site.visit.farm.raw["windows"]["label"]
    assert window == {"wind": {"low": "3 mph", "high": "10 mph", "origin": "label"}}


async def test_a_field_drawn_anew_keeps_what_was_told_of_it(site: Site) -> None:
    await tell_all(site)
    moved = CORNERS.replace("41.63", "41.64")
    await site.tell("field", name="Hill piece", corners=moved)
    assert site.visit.farm.raw["fields"]["hill_piece"]["crop"] == "soybeans"
    assert not site.visit.farm.raw.get("neighbours")  # the strips were those of the old edge


async def test_fields_of_a_file_are_told_together_and_asked_about_one_by_one(site: Site) -> None:
    def square(west: float) -> dict[str, object]:
        east = west + 0.01
        ring = [[west, 41.62], [east, 41.62], [east, 41.63], [west, 41.63], [west, 41.62]]
        return {"type": "Polygon", "coordinates": [ring]}

    features = [
        {"type": "Feature", "properties": {"Name": name}, "geometry": square(west)}
        for name, west in (("North 40", -96.95), ("Creek", -96.93))
    ]
    await site.tell("place", **TOLD["place"])
    text = json.dumps({"type": "FeatureCollection", "features": features})
    await site.tell("field", corners=text)
    answer = await site.tell("crop", **TOLD["crop"])
    assert answer.headers["location"] == "/first/sides?field=north_40"
    answer = await site.tell(
        "sides?field=north_40", **{"east:minds": "tolerant", "east:grows": "oats"}
    )
    assert answer.headers["location"] == "/first/sides?field=creek"
    answer = await site.tell("sides?field=creek", later="yes")
    assert answer.headers["location"] == "/first/sprayer"
    fields = site.visit.farm.raw["fields"]
    assert [plan["crop"] for plan in fields.values()] == ["soybeans", "soybeans"]
    assert list(site.visit.farm.raw["neighbours"]) == ["north_40_east"]
    # A side that is taken back goes with its boundary.
    await site.tell("sides?field=north_40", **{"east:minds": "", "east:grows": ""})
    assert not site.visit.farm.raw.get("neighbours")
    assert list(site.visit.farm.shapes) == ["north_40", "creek"]


async def test_a_feed_of_another_country_is_refused_in_place(site: Site) -> None:
    await site.tell("place", **(dict(TOLD["place"]) | {"place": "48.1, 11.5"}))
    moved = "48.10, 11.50\n48.10, 11.51\n48.11, 11.51\n48.11, 11.50"
    await site.tell("field", name="Feld", corners=moved)
    assert site.visit.farm.raw["farm"]["time_zone"] == "Europe/Berlin"
    answer = await site.tell("feed", feed="nws")
    assert answer.status_code == 422
    assert "sources" not in site.visit.farm.raw


async def test_a_large_file_is_taken_and_one_too_large_said(site: Site) -> None:
    await site.tell("place", **TOLD["place"])
    corners = [
        (-96.95 + 0.01 * math.cos(a / 955), 41.62 + 0.01 * math.sin(a / 955)) for a in range(6000)
    ]
    ring = [[round(lon, 6), round(lat, 6)] for lon, lat in corners]
    text = json.dumps({"type": "Polygon", "coordinates": [ring]})
    assert len(text) > 100_000
    assert (await site.tell("field", corners=text)).status_code == 303
    answer = await site.tell("field", corners=text + " " * 400_000)
    assert answer.status_code in {403, 413}


async def test_nobody_else_tells_it(site: Site) -> None:
    token = site.web.cookies["watcher"]
    for path in ("/first", "/first/place"):
        site.web.cookies.clear()
        assert (await site.web.get(path)).status_code == 401
    assert (await site.web.post("/first/place", data=dict(TOLD["place"]))).status_code == 401
    assert (await site.web.post("/first/start")).status_code == 401
    sessions = site.visit.auth.sessions
    looker = sessions.open(User("looker", Role.LOOK), NOON, by_link=True)
    site.web.cookies.set("watcher", looker, domain="127.0.0.1")
    assert (await site.web.get("/first")).status_code == 403
    site.web.cookies.set("watcher", token, domain="127.0.0.1")
    assert (await site.web.post("/first/place", data=dict(TOLD["place"]))).status_code == 403


async def test_one_link_lets_one_phone_in(site: Site) -> None:
    site.web.cookies.clear()
    link = site.visit.auth.sessions.make_link(User("owner", Role.ADMINISTER), NOON)
    page = await site.web.get(f"/login/{link}")
    token = TOKEN.search(page.text)
    assert token
    form = {"form_token": unescape(token[1])}
    entered = await site.web.post(f"/login/{link}", data=form)
    assert (entered.status_code, entered.headers["location"]) == (303, "/first")
    assert (await site.web.get("/first/place")).status_code == 200
    site.web.cookies.clear()
    token = TOKEN.search((await site.web.get(f"/login/{link}")).text)
    assert token
    again = await site.web.post(f"/login/{link}", data={"form_token": unescape(token[1])})
    assert again.status_code == 403
    assert "used already" in again.text


async def test_it_speaks_spanish_and_every_page_is_small(site: Site) -> None:
    site.web.headers["accept-language"] = "es"
    await tell_all(site)
    assert "¿Dónde está la finca?" in unescape((await site.web.get("/first/place")).text)
    total = 0
    for path in ("/first/field", "/static/page.css", "/static/map.js"):
        answer = await site.web.get(path, headers={"accept-encoding": "gzip"})
        total += int(answer.headers["content-length"])
    assert total < 60_000
    for path in ("/first/nowhere", "/static/other", "/first/sides?field=nowhere"):
        assert (await site.web.get(path)).status_code == 404


async def look(site: Site, corners: str) -> httpx.Response:
    found = TOKEN.search((await site.web.get("/first/field")).text)
    assert found
    form = {"form_token": unescape(found[1]), "corners": corners}
    return await site.web.post("/first/field/look", data=form)


async def test_a_shape_is_looked_at_while_it_is_drawn(site: Site) -> None:
    await site.tell("place", **PLACE)
    answer = (await look(site, CORNERS)).json()
    assert answer["area"] == "229 acre"
    crossing = await look(site, "41.62, -96.95\n41.63, -96.94\n41.63, -96.95\n41.62, -96.94")
    assert crossing.status_code == 422
    assert "crosses or touches itself" in crossing.json()["wrong"]
    assert crossing.json()["at"] == pytest.approx([-96.945, 41.625])


async def test_a_file_with_one_field_becomes_corners(site: Site) -> None:
    ring = "-96.95,41.62 -96.94,41.62 -96.94,41.63 -96.95,41.62"
    kml = f"<kml><Placemark><name>Creek</name><Polygon><outerBoundaryIs><coordinates>{ring}"
    kml += "</coordinates></outerBoundaryIs></Polygon></Placemark></kml>"
    answer = (await look(site, kml)).json()
    assert answer["name"] == "Creek"
    assert answer["corners"].splitlines()[0] == "41.6200000, -96.9500000"


def _two(east: float) -> str:
    """Two fields, the second so many degrees east of the first."""
    box = [[0.0, 0.0], [0.01, 0.0], [0.01, 0.01], [0.0, 0.01], [0.0, 0.0]]
    features = [
        {
            "type": "Feature",
            "properties": {"name": name},
            "geometry": {
                "type": "Polygon",
                "coordinates": [[[-96.95 + off + x, 41.62 + y] for x, y in box]],
            },
        }
        for name, off in (("hill", 0.0), ("creek", east))
    ]
    return json.dumps({"type": "FeatureCollection", "features": features})


async def test_fields_that_come_together_and_overlap_are_told_and_kept_by_saying_so(
    site: Site,
) -> None:
    await site.tell("place", **PLACE)
    overlapping = _two(0.0099)
    answer = (await look(site, overlapping)).json()
    assert answer["near"] == ["Fields: 2"]
    assert answer["overlaps"] == ["hill overlaps creek by 2.29 acre, 1.0 % of the smaller"]
    refused = await site.tell("field", corners=overlapping)
    assert refused.status_code == 422
    assert "hill overlaps creek by 2.29 acre" in refused.text
    assert site.visit.farm.shapes == {}
    kept = await site.tell("field", corners=overlapping, overlap_ok="yes")
    assert kept.status_code == 303
    assert list(site.visit.farm.shapes) == ["hill", "creek"]


async def test_who_has_no_link_looks_at_no_shape_and_no_tile(site: Site) -> None:
    site.web.cookies.clear()
    assert (await site.web.post("/first/field/look", data={})).status_code == 401
    assert (await site.web.get("/map/tiles/1/0/0")).status_code == 401


async def test_without_an_address_of_tiles_the_page_says_so(site: Site) -> None:
    page = (await site.web.get("/first/field")).text
    assert "Plain grid: no pictures of the ground are set." in page
    assert (await site.web.get("/map/tiles/1/0/0")).status_code == 404


_BESIDE = re.compile(r'(?:href|src)="(/static/[^"]+)"')
_MOST_BYTES = 60_000


async def _weight(site: Site, paths: Mapping[str, None]) -> int:
    """Bytes that come over the line for pages, and once for each file beside them."""
    files: dict[str, None] = {}
    total = 0
    for path in paths:
        async with site.web.stream("GET", path, headers={"accept-encoding": "gzip"}) as answer:
            body = b"".join([part async for part in answer.aiter_raw()])
        assert answer.status_code == 200, path
        total += len(body) + sum(len(k) + len(v) + 4 for k, v in answer.headers.raw)
        text = gzip.decompress(body) if body[:2] == b"\x1f\x8b" else body
        files |= dict.fromkeys(_BESIDE.findall(text.decode()))
    return total + (await _weight(site, files) if files else 0)


async def test_the_whole_visit_is_light(site: Site) -> None:
    """Every screen once, with style and scripts, headers counted."""
    await tell_all(site)
    weight = await _weight(site, dict.fromkeys([*(f"/first/{s}" for s in TOLD), "/first"]))
    print(f"the first visit: {weight / 1000:.1f} kB")
    assert weight < _MOST_BYTES


async def draw_neighbour(site: Site, **given: str) -> httpx.Response:
    found = TOKEN.search((await site.web.get("/first/neighbour")).text)
    assert found
    return await site.web.post("/first/neighbour", data=given | {"form_token": unescape(found[1])})


_VINES = "41.631, -96.95\n41.631, -96.94\n41.633, -96.94\n41.633, -96.95"


async def test_who_lies_beside_a_field_is_drawn_as_they_lie(site: Site) -> None:
    await tell_all(site, but="sides?field=hill_piece")
    silent = "No drift onto neighbours is judged beside hill piece"
    assert silent in (await site.web.get("/first")).text
    content = {"name": "Old vines", "grows": "grapes", "minds": "very susceptible"}
    answer = await draw_neighbour(site, **content, corners=_VINES)
    assert answer.status_code == 303
    vines = site.visit.farm.raw["neighbours"]["old_vines"]
    assert vines == {"grows": "grapes", "susceptibility": "very susceptible"}
    end = (await site.web.get("/first")).text
    assert "Start watching" in end
    # 111 m north of its edge: further than what is asked about.
    assert silent in end
    page = (await site.web.get("/first/neighbour")).text
    assert "old vines: grapes" in page
    near = _VINES.replace("41.631", "41.6305")
    await draw_neighbour(site, grows="peaches", minds="susceptible", corners=near)
    assert silent not in (await site.web.get("/first")).text


async def test_a_neighbour_that_overlaps_the_field_is_kept_by_saying_so(site: Site) -> None:
    await tell_all(site, but="sides?field=hill_piece")
    content = {"grows": "grapes", "minds": "susceptible"}
    over = _VINES.replace("41.631", "41.62999")
    answer = await draw_neighbour(site, **content, corners=over)
    assert answer.status_code == 422
    assert "overlaps hill piece by 0.23 acre" in answer.text
    assert "neighbours" not in site.visit.farm.raw
    answer = await draw_neighbour(site, **content, corners=over, overlap_ok="yes")
    assert answer.status_code == 303
    assert list(site.visit.farm.raw["neighbours"]) == ["grapes"]


async def test_a_drawn_neighbour_is_taken_off_again(site: Site) -> None:
    await tell_all(site, but="sides?field=hill_piece")
    await draw_neighbour(site, grows="grapes", minds="susceptible", corners=_VINES)
    found = TOKEN.search((await site.web.get("/first/neighbour")).text)
    assert found
    form = {"form_token": unescape(found[1]), "neighbour": "grapes"}
    await site.web.post("/first/neighbour/remove", data=form)
    assert "grapes" not in site.visit.farm.raw.get("neighbours", {})
    assert "grapes" not in site.visit.farm.shapes


@pytest.mark.parametrize(
    ("expected", "says"),
    [
        ({"grows": "", "minds": "susceptible", "corners": _VINES}, "write what grows or lives"),
        ({"grows": "grapes", "minds": "", "corners": _VINES}, "susceptibility"),
        ({"grows": "grapes", "minds": "susceptible", "corners": ""}, "there is no boundary yet"),
    ],
)
async def test_what_a_neighbour_lacks_is_answered_in_place(
    site: Site, expected: Mapping[str, str], says: str
) -> None:
    await tell_all(site, but="sides?field=hill_piece")
    answer = await draw_neighbour(site, **expected)
    assert answer.status_code == 422
    assert says in unescape(answer.text)
    assert "neighbours" not in site.visit.farm.raw
