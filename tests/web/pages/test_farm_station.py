"""A station told to a running watch: pasted, looked at, kept, and heard at once."""

import json
from collections.abc import AsyncIterator
from html import unescape
from pathlib import Path

import pytest

from tests.support.farm_files import written
from tests.support.farm_forms import filled, keep
from tests.support.visiting import Visited, visited
from watcher.farm.load import load
from watcher.farm.stations import PushStation
from watcher.web.auth.users import Role

pytestmark = pytest.mark.long

PATH = "/farm/add/station"
SENT = json.dumps({"windspeedmph": 4.3, "winddir": 200, "temp": 68.4, "humidity": 55})


@pytest.fixture
def file(tmp_path: Path) -> Path:
    return written(tmp_path)


@pytest.fixture
async def site(tmp_path: Path, file: Path) -> AsyncIterator[Visited]:
    async with visited(tmp_path, farm_file=file, calm=False) as v:
        v.log_in(Role.ADMINISTER)
        yield v


async def test_what_it_sends_is_looked_at_then_shown_as_a_change_and_kept(
    site: Visited, file: Path
) -> None:
    assert PATH in (await site.web.get("/farm")).text
    looked = await site.send(PATH, PATH, sent=SENT)
    assert looked.status_code == 200
    assert "4.3 mph" in looked.text
    assert "It does not tell: gust" in unescape(looked.text)
    form = filled(looked.text) | {"sent": SENT, "height": "2 m", "unit:temperature": "degF"}
    asked = await site.web.post(PATH, data=form)
    assert "sources.station" in asked.text
    await keep(site, asked)
    for farm in (load(file), site.service.watch.transactions.plan.farm):
        station = farm.config.sources["station"]
        assert isinstance(station, PushStation)
        assert station.heights.wind == 2
        assert station.quantities["wind"].unit == "mph"


async def test_another_feed_is_chosen_of_those_that_cover_the_place(site: Visited) -> None:
    page = await site.web.get("/farm/feed")
    assert 'value="nws"' in page.text  # the fields lie in Nebraska
    looked = await site.web.post("/farm/feed", data=filled(page.text) | {"feed": "open_meteo"})
    assert "sources.feed.kind: met_norway → open_meteo" in unescape(looked.text)
    await keep(site, looked)
    assert site.service.watch.transactions.plan.farm.config.sources["feed"].kind == "open_meteo"


async def test_what_cannot_be_is_said_in_place(site: Visited, file: Path) -> None:
    before = file.read_bytes()  # noqa: ASYNC240
    for sent, found in (("", "nothing came yet"), ("hello", "paste one whole message")):
        answer = await site.send(PATH, PATH, sent=sent)
        assert answer.status_code == 422
        assert found in unescape(answer.text)
    looked = await site.send(PATH, PATH, sent=SENT)
    form = filled(looked.text) | {"sent": SENT, "height": "", "unit:temperature": "degF"}
    answer = await site.web.post(PATH, data=form)
    assert answer.status_code == 422
    assert "measure it" in unescape(answer.text)
    assert file.read_bytes() == before  # noqa: ASYNC240


@pytest.mark.parametrize("role", [Role.LOOK, Role.RUN])
async def test_only_who_administers_may(site: Visited, role: Role) -> None:
    site.web.cookies.clear()
    site.log_in(role)
    assert (await site.web.get(PATH)).status_code == 403
    assert (await site.web.post(PATH, data={"sent": SENT})).status_code == 403
