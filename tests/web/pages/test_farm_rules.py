"""Rules and buffers on pages: added, changed, copied, taken out; a label's is never loosened."""

from collections.abc import AsyncIterator, Mapping
from html import unescape
from pathlib import Path
from typing import Any, get_args

import pytest

from tests.support.farm_files import written
from tests.support.farm_forms import filled, keep, look
from tests.support.farms import watched_tables
from tests.support.visiting import Visited, visited
from watcher.farm import Farm
from watcher.farm.load import load
from watcher.farm.origin import Origin
from watcher.farm.rules.kinds import Rule
from watcher.web.auth.users import Role
from watcher.web.pages.rule_forms import KIND_WORDS, MODELS, rule_form

pytestmark = pytest.mark.long

LABEL_RULE = {"kind": "wind", "high": "9 mph", "origin": "label"}
OWN_RULE = {"kind": "humidity", "low": "40 %", "origin": "own"}
PRODUCT = "/farm/products/a"


@pytest.fixture
def file(tmp_path: Path) -> Path:
    tables = watched_tables()
    tables["products"] = {
        "a": {"name": "Product A (invented)", "registration": "0-0", "rules": [LABEL_RULE]},
        "b": {"name": "Product B (invented)", "registration": "0-1"},
    }
    tables["fields"]["hill"]["products"] = ["a"]
    tables["neighbours"]["orchard"]["kinds"] = ["orchard"]
    return written(tmp_path, tables)


@pytest.fixture
async def site(tmp_path: Path, file: Path) -> AsyncIterator[Visited]:
    async with visited(tmp_path, farm_file=file) as v:
        v.log_in(Role.ADMINISTER)
        yield v


def farm(site: Visited) -> Farm:
    return site.service.watch.transactions.plan.farm


def rules(site: Visited) -> list[tuple[str, Origin]]:
    return [(rule.kind, rule.origin) for rule in farm(site).config.products["a"].rules]


# Of each kind the least that makes it a rule, as it is typed.
TYPED: Mapping[str, Mapping[str, str]] = {
    "wind": {"low": "2 mph", "height": "boom", "averaging": "10 min", "gusts": "counted"},
    "calm duty": {"below": "3 mph"},
    "temperature": {"high": "86 degF"},
    "day high": {"high": "85 degF", "inclusive": ""},
    "humidity": {"low": "35 %"},
    "Delta T": {"high": "9 delta_degC"},
    "inversion": {"effect": "deemed hours", "before_sunset": "2 h", "after_sunrise": "1 h"},
    "rain now": {"most": "0.1 in/h"},
    "rain ahead": {"within": "24 h", "amount": "0.2 in"},
    "soil": {"not_at": "saturated"},
    "clock": {"opens": "1 h after sunrise", "closes": "2 h before sunset"},
    "dates": {"last": "2026-10-01"},
    "stage": {"days_after_planting": "60", "last": "2026-09-01"},
    "droplets": {"finest": "medium"},
    "boom height": {"most": "24 in"},
    "speed": {"most": "15 mph"},
    "carrier": {"least": "10 gal/acre"},
    "nozzles": {"nozzles": "Tip one; 2 bar; 4 bar\nTip two", "seen_on": "2026-06-01"},
    "additive": {"additive": "oil", "needed": "barred"},
    "points": {"required": "3"},
    "bulletin": {"looked_up_on": "2026-06-01", "good_for_days": "100"},
    "direction": {"towards": "orchard", "nearness": "100 ft"},
}


@pytest.mark.parametrize("kind", MODELS)
async def test_a_rule_of_every_kind_is_added_as_the_models_read_it(
    site: Visited, file: Path, kind: str
) -> None:
    path = f"/farm/add/products/b/rules?kind={kind}"
    looked = await look(site, path, **TYPED[kind], origin="own", force="advice")
    kept = await keep(site, looked)
    assert (kept.status_code, kept.headers["location"]) == (303, "/farm/products/b?saved=2")
    for now in (farm(site), load(file)):
        [rule] = now.config.products["b"].rules
        assert (rule.kind, rule.origin, rule.force.value) == (kind, Origin.OWN, "advice")
        for key in TYPED[kind]:
            assert key in rule.model_fields_set


def test_the_kinds_on_the_page_are_those_of_the_models() -> None:
    kinds = {
        kind
        for model in get_args(get_args(Rule)[0])
        for kind in get_args(model.model_fields["kind"].annotation)
    }
    assert set(MODELS) == set(KIND_WORDS) == set(TYPED) == kinds


@pytest.mark.parametrize("kind", MODELS)
def test_every_key_is_asked_for_with_its_choices_worded(kind: str) -> None:
    model = MODELS[kind]
    fields = [f for _, _, group in rule_form(model, ("x",), "us") for f in group]
    assert {f.name for f in fields} == set(model.model_fields) - {"kind", "margin"}
    for one in fields:
        assert str(one.label)
        if one.kind == "choice" and one.default:
            assert one.default in [word for word, _ in one.choices]


async def test_whose_word_it_is_must_be_said_of_a_new_one(site: Visited) -> None:
    answer = await look(site, "/farm/add/products/a/rules?kind=speed", most="15 mph")
    assert answer.status_code == 422
    assert "say whether the label, a law or you ask for it" in answer.text
    assert filled(answer.text)["most"] == "15 mph"


async def test_a_tighter_label_is_added_with_its_effect_said_first(site: Visited) -> None:
    typed = {"high": "6 mph", "height": "boom", "origin": "label", "citation": "page 4"}
    looked = await look(site, "/farm/add/windows/contact/rules?kind=wind", **typed)
    assert "would close now" in looked.text
    assert "Not yours to loosen" not in looked.text
    await keep(site, looked)
    [rule] = farm(site).config.windows["contact"].rules
    assert rule.citation == "page 4"


async def test_a_rule_of_a_label_is_changed_and_taken_out_only_where_the_label_did(
    site: Visited,
) -> None:
    one = f"{PRODUCT}/rules/1"
    assert "The wind must not be over this" in (await site.web.get(one)).text
    looked = await look(site, one, high="12 mph")
    assert (await keep(site, looked)).status_code == 409
    mine = await look(site, one, origin="own")
    assert "Not yours to loosen" in mine.text
    form = filled((await site.web.get(one)).text)
    gone = await site.web.post("/farm/remove/products/a/rules/1", data=form)
    assert "Not yours to loosen" in gone.text
    assert (await keep(site, gone)).status_code == 409
    assert rules(site) == [("wind", Origin.LABEL)]
    await keep(site, gone, label_changed="yes")
    assert rules(site) == []


async def test_ones_own_is_copied_changed_and_taken_out_freely(site: Visited) -> None:
    typed = {key: value for key, value in OWN_RULE.items() if key != "kind"}
    await keep(site, await look(site, "/farm/add/products/a/rules?kind=humidity", **typed))
    await keep(site, await look(site, "/farm/copy/products/a/rules/2"))
    await keep(site, await look(site, f"{PRODUCT}/rules/3", low="30 %"))
    found = farm(site).config.products["a"].rules
    assert [getattr(rule, "low", None) for rule in found] == [None, 40.0, 30.0]
    form = filled((await site.web.get(f"{PRODUCT}/rules/2")).text)
    await keep(site, await site.web.post("/farm/remove/products/a/rules/2", data=form))
    found = farm(site).config.products["a"].rules
    assert [getattr(rule, "low", None) for rule in found] == [None, 30.0]
    page = unescape((await site.web.get(PRODUCT)).text)
    assert "Rule: humidity, 30 %" in page


async def test_a_buffer_is_added_towards_a_neighbour_and_kept_by_its_label(
    site: Visited, file: Path
) -> None:
    typed = {"protects": "orchard", "base": "60 ft", "sides": "downwind", "inside": "anything"}
    path = "/farm/add/windows/contact/buffers"
    await keep(site, await look(site, path, **typed, origin="label"))
    for now in (farm(site), load(file)):
        [buffer] = now.config.windows["contact"].buffers
        assert (buffer.protects, buffer.inside) == (("orchard",), "anything")
        assert buffer.base == pytest.approx(18.288)
    looked = await look(site, "/farm/windows/contact/buffers/1", base="30 ft")
    assert (await keep(site, looked)).status_code == 409


async def test_what_another_did_meanwhile_is_shown_and_nothing_else_changed(
    site: Visited,
) -> None:
    one = f"{PRODUCT}/rules/1"
    form = filled((await site.web.get(one)).text)
    await keep(site, await look(site, one, high="8 mph"), label_changed="yes")
    late = await site.web.post(one, data=form | {"high": "9 mph"})
    assert late.status_code == 422
    assert "was changed meanwhile: this is how it is now" in late.text
    assert filled(late.text)["high"] == "8 mph"


@pytest.mark.parametrize(
    ("path", "typed", "said"),
    [
        ("/farm/add/products/a/rules?kind=wind", {"high": "fast"}, "does not start with a number"),
        ("/farm/add/products/a/rules?kind=wind", {}, "names no bound"),
        ("/farm/add/products/a/rules?kind=soil", {}, "is missing"),
        ("/farm/add/products/a/rules?kind=clock", {"opens": "dawn"}, "is not a time of the day"),
        ("/farm/add/products/a/rules?kind=direction", {"towards": "moon"}, "is of this kind"),
        ("/farm/add/products/a/buffers", {"protects": "orchard"}, "base"),
    ],
)
async def test_what_cannot_be_is_answered_in_place(
    site: Visited, path: str, typed: dict[str, Any], said: str
) -> None:
    answer = await look(site, path, **typed, origin="own")
    assert answer.status_code == 422
    assert said in unescape(answer.text)
    assert "What you typed is all still here" in answer.text
    assert rules(site) == [("wind", Origin.LABEL)]


@pytest.mark.parametrize(
    "path",
    [
        "/farm/add/products/nothing/rules?kind=wind",
        "/farm/products/a/rules/9",
        "/farm/copy/products/a/buffers/1",
        "/farm/add/sprayers/boom/rules",
    ],
)
async def test_what_is_not_there_is_said_to_be_so(site: Visited, path: str) -> None:
    assert (await site.web.get(path)).status_code in {404, 422}


async def test_what_a_neighbour_is_to_labels_is_said_on_its_page(site: Visited) -> None:
    typed = {"kinds": "orchard\nsensitive", "adjacent": "false", "between": "grass strip"}
    await keep(site, await look(site, "/farm/neighbours/orchard", **typed))
    orchard = farm(site).config.neighbours["orchard"]
    assert orchard.kinds == ("orchard", "sensitive")
    assert (orchard.adjacent, orchard.between) == (False, ("grass strip",))
    await keep(site, await look(site, "/farm/neighbours/orchard", adjacent=""))
    assert farm(site).config.neighbours["orchard"].adjacent is None
