"""The station's screen: what it sends is shown as it is read, guesses are asked about."""

import json
from html import unescape

import pytest

from tests.support.first_visit import PLACE
from tests.web.first_visit.conftest import NOON, Site
from watcher.farm.stations import PushStation

OURS = {
    "time": "2026-06-10T16:00:00Z",
    "windspeedmph": 4.3,
    "windgustmph": 6.9,
    "winddir": 200,
    "tempf": 68.4,
    "humidity": 55,
}
BARE = {"time": NOON, "wind": 4.3, "wind_dir": 200, "temp": 68.4, "humidity": 55, "battery": 12.1}


def line(page: str) -> tuple[str, str]:
    """Where the page says that the station posts, and with what token."""
    text = unescape(page)
    address = text.split("POST ")[1].split("<")[0]
    return address, text.split("Bearer ")[1].split("<")[0]


async def test_what_is_pasted_is_shown_by_rows_before_it_is_kept(site: Site) -> None:
    await site.tell("place", **PLACE)
    looked = await site.tell("station", sent=json.dumps(OURS))
    text = unescape(looked.text)
    assert looked.status_code == 200
    for said in ("windspeedmph", "4.3", "4.3 mph", "68.4 °F", "gust"):
        assert said in text, said
    assert not site.visit.farm.raw.get("sources")
    kept = await site.tell_on(looked, height="10 ft")
    assert (kept.status_code, kept.headers["location"]) == (303, "/first/phone")
    entry = site.visit.farm.raw["sources"]["yard"]
    assert entry["quantities"]["wind"] == {"at": "windspeedmph", "unit": "mph"}
    assert entry["heights"] == {"wind": "10 ft"}
    assert PushStation.model_validate(entry).heights.wind == pytest.approx(3.048)


async def test_what_the_station_posts_is_what_is_looked_at(site: Site) -> None:
    await site.tell("place", **PLACE)
    address, token = line((await site.web.get("/first/station")).text)
    for shown, answered in (("a wrong one", 401), (token, 202)):
        headers = {"Authorization": f"Bearer {shown}"}
        sent = await site.web.post(address, json=OURS, headers=headers)
        assert sent.status_code == answered
    assert "Something came from the station" in (await site.web.get("/first/station")).text
    looked = await site.tell("station")
    assert "4.3 mph" in looked.text
    # What comes meanwhile does not take the place of what was looked at.
    await site.web.post(address, json=OURS | {"tempf": 70}, headers=headers)
    assert (await site.tell_on(looked, height="2 m", stands="41.62, -96.94")).status_code == 303
    assert site.visit.farm.raw["sources"]["yard"]["place"] == [41.62, -96.94]


async def test_what_is_only_guessed_is_asked_and_what_is_missing_said(site: Site) -> None:
    await site.tell("place", **PLACE)
    looked = await site.tell("station", sent=json.dumps(BARE))
    text = unescape(looked.text)
    assert "Unit of wind (wind)" in text
    assert "It does not tell: gust" in text
    assert "Not read: battery" in text
    missing = await site.tell_on(looked, height="2 m", **{"unit:wind": ""})
    assert missing.status_code == 422
    assert "is only guessed" in unescape(missing.text)
    wrong = await site.tell_on(looked, height="2 m", **{"unit:wind": "furlongs"})
    assert wrong.status_code == 422
    assert 'value="furlongs"' in wrong.text
    assert "write it as the station's manual does" in unescape(wrong.text)
    kept = await site.tell_on(looked, height="2 m", **{"unit:wind": "m/s"})
    assert kept.status_code == 303
    assert site.visit.farm.raw["sources"]["yard"]["quantities"]["wind"]["unit"] == "m/s"


@pytest.mark.parametrize(
    ("sent", "said"),
    [
        ("", "nothing came yet"),
        ("good morning", "see that this is what the station sends"),
        ("{", "it looks like JSON and is none"),
        ("[]", "object that holds values"),
        ('{"color": "blue"}', "none of its names is known as weather"),
        ("time,wind\n2026-06-10 12:00,3\n", "is a table at an address"),
    ],
)
async def test_what_cannot_be_read_is_said_in_place(site: Site, sent: str, said: str) -> None:
    await site.tell("place", **PLACE)
    before = site.visit.farm.texts
    answer = await site.tell("station", sent=sent)
    text = unescape(answer.text)
    assert answer.status_code == 422
    assert said in text, text
    assert sent.strip() in text
    assert site.visit.farm.texts == before


@pytest.mark.parametrize(
    ("name", "value", "said"),
    [
        ("height", "", "measure it"),
        ("height", "10", "write a number with its unit"),
        ("height", "9 miles", "is outside what is believed"),
        ("stands", "by the barn", "write latitude, longitude"),
    ],
)
async def test_what_is_told_of_it_wrongly_is_said_in_place(
    site: Site, name: str, value: str, said: str
) -> None:
    await site.tell("place", **PLACE)
    looked = await site.tell("station", sent=json.dumps(OURS))
    answer = await site.tell_on(looked, **({"height": "2 m"} | {name: value}))
    assert answer.status_code == 422
    assert said in unescape(answer.text)
    assert "sources" not in site.visit.farm.raw


async def test_the_settings_token_is_never_shown(site: Site) -> None:
    site.visit.tokens_in_settings = frozenset({"mast"})
    page = (await site.web.get("/first/station")).text
    assert "/stations/mast/readings" in page
    assert "Bearer" not in page


async def test_left_for_later_the_end_says_what_is_not_judged(site: Site) -> None:
    await site.tell("place", **PLACE)
    await site.tell("station", later="yes")
    assert "there is no station" in (await site.web.get("/first")).text
