"""Sprayers, setups, windows and products: added, changed, copied, taken out, on pages alone."""

from collections.abc import AsyncIterator
from html import unescape
from pathlib import Path
from typing import Any

import pytest

from tests.support.farm_files import written
from tests.support.farm_forms import filled, keep, look
from tests.support.farms import watched_tables
from tests.support.visiting import Visited, visited
from watcher.farm import Farm
from watcher.farm.load import load
from watcher.web.auth.users import Role

pytestmark = pytest.mark.long

SPRAYER = {
    "called": "Small one",
    "boom_width": "30 ft",
    "boom_height": "20 in",
    "speed": "5 mph",
    "tank": "200 gal",
    "field_efficiency": "60 %",
    "fill_time": "10 min",
}
LABEL_RULE = {"kind": "wind", "high": "9 mph", "origin": "label", "citation": "page 3 (invented)"}


def tables() -> dict[str, Any]:
    """The farm with two products, one of which nobody uses."""
    config = watched_tables()
    config["products"] = {
        "a": {"name": "Product A (invented)", "registration": "0-0", "rules": [LABEL_RULE]},
        "spare": {"name": "Product B (invented)", "registration": "0-1"},
    }
    config["fields"]["hill"]["products"] = ["a"]
    return config


@pytest.fixture
def file(tmp_path: Path) -> Path:
    return written(tmp_path, tables())


@pytest.fixture
async def site(tmp_path: Path, file: Path) -> AsyncIterator[Visited]:
    async with visited(tmp_path, farm_file=file) as v:
        v.log_in(Role.ADMINISTER)
        yield v


def farm(site: Visited) -> Farm:
    return site.service.watch.transactions.plan.farm


async def test_a_sprayer_and_a_setup_of_it_are_added_and_chosen_on_the_field(
    site: Visited, file: Path
) -> None:
    looked = await look(site, "/farm/add/sprayers", **SPRAYER)
    assert "sprayers.small_one" in looked.text
    assert (await keep(site, looked)).headers["location"] == "/farm?saved=2"
    found = {
        "called": "Small coarse",
        "sprayer": "small_one",
        "nozzle": "air induction",
        "droplets": "coarse",
        "carrier": "15 gal/acre",
    }
    await keep(site, await look(site, "/farm/add/setups", **found))
    await keep(site, await look(site, "/fields/hill/change", **{"setups:small_coarse": "on"}))
    for now in (farm(site), load(file)):
        assert now.config.sprayers["small_one"].boom_width == pytest.approx(9.144)
        assert now.config.setups["small_coarse"].sprayer == "small_one"
        assert now.config.fields["hill"].setups == ("small_coarse",)
    page = (await site.web.get("/farm")).text
    for link in ("/farm/sprayers/small_one", "/farm/setups/small_coarse", "/farm/add/products"):
        assert f'href="{link}"' in page


async def test_an_entry_is_changed_where_it_stands_and_its_effect_said_first(
    site: Visited,
) -> None:
    looked = await look(site, "/farm/windows/contact", **{"gust:high": "6 mph"})
    assert "windows.contact.gust.high: 15 mph → 6 mph" in unescape(looked.text)
    assert "would close now" in looked.text
    await keep(site, looked)
    assert farm(site).config.windows["contact"].gust.high == pytest.approx(2.6822, rel=1e-4)


async def test_each_bound_says_whose_it_is_and_a_labels_is_not_loosened(site: Visited) -> None:
    path = "/farm/windows/contact"
    mine = {"humidity:low": "40 %", "humidity:origin": "own", "droplets:low": "medium"}
    await keep(site, await look(site, path, **mine, **{"droplets:origin": "label"}))
    window = farm(site).config.windows["contact"]
    assert window.droplets is not None
    assert (window.humidity.origin.value, window.droplets.origin.value) == ("own", "label")
    looked = await look(site, path, **{"droplets:low": "fine"})
    assert "windows.contact.droplets.low is not yours (label)" in looked.text
    assert (await keep(site, looked)).status_code == 409
    own = await keep(site, await look(site, path, **{"humidity:low": "20 %"}))
    assert own.status_code == 303


async def test_a_rule_of_a_label_is_changed_on_its_product_and_guarded(site: Visited) -> None:
    path = "/farm/products/a"
    page = (await site.web.get(path)).text
    assert filled(page)["rules:0:high"] == "9 mph"
    tighter = await look(site, path, **{"rules:0:high": "8 mph"})
    assert "is not yours (label)" in tighter.text  # of a rule nobody can say which asks for more
    assert (await keep(site, tighter)).status_code == 409
    await keep(site, tighter, label_changed="yes")
    [rule] = farm(site).config.products["a"].rules
    assert rule.high == pytest.approx(3.5763, rel=1e-4)  # type: ignore[union-attr]


async def test_a_copy_is_the_same_and_then_changed_on_its_own_page(site: Visited) -> None:
    await keep(site, await look(site, "/farm/copy/windows/contact", called="Contact, calm"))
    windows = farm(site).config.windows
    assert windows["contact_calm"] == windows["contact"]
    # A label's word that was copied is the label's still.
    looser = await look(site, "/farm/windows/contact_calm", **{"wind:high": "20 mph"})
    assert "is not yours (label)" in looser.text
    await keep(site, await look(site, "/farm/copy/products/a", called="Contact, calm"))
    assert farm(site).config.products["contact_calm"].rules == farm(site).config.products["a"].rules


@pytest.mark.parametrize(
    ("entry", "used_by"),
    [
        ("sprayers/boom", "setup fine; setup coarse"),
        ("windows/contact", "field creek side; field hill"),
        ("products/a", "field hill"),
    ],
)
async def test_what_is_used_is_not_taken_out_and_by_what_is_said_in_place(
    site: Visited, file: Path, entry: str, used_by: str
) -> None:
    before = file.read_bytes()  # noqa: ASYNC240
    answer = await site.send(f"/farm/{entry}", f"/farm/remove/{entry}")
    text = unescape(answer.text)
    assert answer.status_code == 422
    assert f"is used by {used_by}" in text.replace(", field", "; field").replace(
        ", setup", "; setup"
    )
    assert "choose another there first" in text
    assert f'action="/farm/{entry}"' in text  # its form stands there still
    assert file.read_bytes() == before  # noqa: ASYNC240


async def test_what_nobody_uses_is_taken_out_and_undone_in_a_tap(site: Visited, file: Path) -> None:
    before = load(file)
    asked = await site.send("/farm/products/spare", "/farm/remove/products/spare")
    assert "products.spare" in asked.text
    kept = await keep(site, asked)
    assert "spare" not in farm(site).config.products
    undone = await site.web.get(kept.headers["location"])
    await site.web.post("/farm/versions/2/undo", data=filled(undone.text))
    assert load(file) == before


async def test_the_last_one_is_not_taken_out(site: Visited) -> None:
    await keep(site, await look(site, "/fields/hill/change", **{"setups:coarse": "on"}))
    answer = await site.send("/farm/setups/coarse", "/farm/remove/setups/coarse")
    assert answer.status_code == 422
    assert "is used by field hill" in unescape(answer.text)


async def test_of_two_who_edit_at_once_the_second_sees_the_first(site: Visited) -> None:
    mine = await look(site, "/farm/sprayers/boom", speed="10 mph")
    await keep(site, await look(site, "/farm/sprayers/boom", tank="1000 gal"))
    late = await keep(site, mine)
    assert late.status_code == 409
    assert "grower changed the farm at" in late.text
    await keep(site, late)
    boom = farm(site).config.sprayers["boom"]
    assert (boom.speed, boom.tank) == (pytest.approx(4.4704), pytest.approx(3785.4, rel=1e-4))


async def test_a_reason_leads_to_what_decides_it(site: Visited) -> None:
    page = (await site.web.get("/fields/hill")).text
    for link in ("/fields/hill/bound/delta_t", "/farm/windows/contact", "/farm/products/a"):
        assert f'href="{link}"' in page, link
        assert (await site.web.get(link)).status_code == 200


@pytest.mark.parametrize("role", [Role.LOOK, Role.RUN])
async def test_only_who_administers_may(site: Visited, role: Role) -> None:
    site.web.cookies.clear()
    site.log_in(role)
    assert "/farm/add/" not in (await site.web.get("/farm")).text
    for path in ("/farm/add/windows", "/farm/copy/windows/contact", "/farm/windows/contact"):
        assert (await site.web.get(path)).status_code == 403
        assert (await site.web.post(path, data={"called": "x"})).status_code == 403
    assert (await site.web.post("/farm/remove/products/spare")).status_code == 403


async def test_what_is_not_there_is_not_found(site: Visited) -> None:
    for path in ("/farm/windows/none", "/farm/copy/setups/none", "/farm/add/farms"):
        assert (await site.web.get(path)).status_code == 404
