"""Mistakes in rules and buffers: each one error with its key and its mend."""

from datetime import date
from pathlib import Path
from typing import Any

import pytest

from watcher.farm.load import load
from watcher.farm.validation.rules import expired

PRODUCT = """
[products.a]
name = "A"
registration = "0-0"
"""


def ruled(farm: Any, *rules: str, more: str = "") -> Any:
    farm.edit('window = "contact"', 'window = "contact"\nproducts = ["a"]')
    farm.add(PRODUCT + more)
    for rule in rules:
        farm.add("\n[[products.a.rules]]\n" + rule.replace("; ", "\n") + "\n")
    return farm


@pytest.mark.parametrize(
    ("rule", "key", "wrong", "mend"),
    [
        ('kind = "wnd"', "rules (item 1).kind", "not one of the choices", "wind"),
        ('high = "10 mph"', "rules (item 1).kind", "is missing", "calm duty"),
        (
            'kind = "wind"; high = "10 mph"; hight = "boom"',
            "rules (item 1).hight",
            "not known",
            "height",
        ),
        ('kind = "wind"; high = "10 bar"', "rules (item 1).high", "does not fit", "mph"),
        ('kind = "wind"; height = "boom"', "rules (item 1)", "names no bound", "low or high"),
        ('kind = "humidity"; high = "140 %"', "rules (item 1).high", "outside", "check"),
        ('kind = "clock"; closes = "25:00"', "rules (item 1).closes", "time of the day", "sunset"),
        (
            'kind = "clock"; closes = "2 pounds before sunset"',
            "rules (item 1).closes",
            "not known",
            "2 h before sunset",
        ),
        ('kind = "clock"; opens = "09:00"; closes = "09:00"', "rules (item 1)", "at once", "two"),
        (
            'kind = "dates"; first = 2026-06-30; last = 2026-04-01',
            "fields.north",
            "contradicts itself",
            "correct it",
        ),
        ('kind = "points"; required = 12', "rules (item 1).required", "9", "check"),
        ('kind = "rain ahead"; within = "48 h"', "rules (item 1)", "neither", "amount"),
        ('kind = "inversion"; effect = "deemed hours"', "rules (item 1)", "no hours", "sunset"),
        (
            'kind = "stage"; days_after_planting = 45',
            "fields.north",
            "planted is missing",
            "add planted",
        ),
        (
            'kind = "wind"; low = "10 mph"; high = "3 mph"; height = "boom"',
            "fields.north",
            "contradicts itself",
            "correct it",
        ),
        (
            'kind = "boom height"; most = "12 in"',
            "fields.north.setups",
            "no setup keeps",
            "boom no higher than 12 in",
        ),
        ('kind = "wind"; high = "9 mph"; force = "law"', "rules (item 1).force", "choices", "ban"),
    ],
)
def test_one_mistake_is_one_error(farm: Any, rule: str, key: str, wrong: str, mend: str) -> None:
    problem = ruled(farm, rule).problem()
    assert problem.file == farm.file
    assert key in problem.key
    assert wrong in problem.wrong
    assert mend in problem.mend


def test_two_labels_that_leave_nothing_are_both_named(farm: Any) -> None:
    farm.edit('window = "contact"', 'window = "contact"\nproducts = ["a", "b"]')
    farm.add(PRODUCT + '[[products.a.rules]]\nkind = "droplets"\ncoarsest = "medium"\n')
    farm.add(
        PRODUCT.replace("s.a]", "s.b]")
        + '[[products.b.rules]]\nkind = "droplets"\nfinest = "coarse"\n'
    )
    problem = farm.problem()
    assert "product a" in problem.wrong
    assert "product b" in problem.wrong
    assert "coarse" in problem.wrong


@pytest.mark.parametrize(
    "rule",
    [
        'kind = "wind"; high = "10 mph"',
        'kind = "wind"; low = "2 mph"',
        'kind = "clock"; opens = "09:00"; closes = "10:00"',
        'kind = "clock"; closes = "2 h before sunset"',
        'kind = "inversion"',
        'kind = "inversion"; effect = "duty"',
        'kind = "inversion"; effect = "deemed hours"; before_sunset = "1 h"; after_sunrise = "1 h"',
        'kind = "rain ahead"; within = "48 h"; amount = "6 mm"',
        'kind = "rain ahead"; within = "48 h"; chance = "40 %"',
        'kind = "speed"; most = "9 mph"; valid_from = 2026-06-01',
        'kind = "speed"; most = "9 mph"; valid_until = 2026-06-01',
        'kind = "speed"; most = "9 mph"; valid_from = 2026-06-01; valid_until = 2026-06-01',
        'kind = "stage"; until_stage = "V7"',
        'kind = "dates"; first = 2026-06-01',
    ],
)
def test_a_rule_that_says_enough_is_taken(farm: Any, rule: str) -> None:
    load(ruled(farm, rule).write())


@pytest.mark.parametrize(
    ("rule", "wrong", "mend"),
    [
        (
            'kind = "inversion"; effect = "deemed hours"; before_sunset = "1 h"',
            "names no hours",
            "write before_sunset and after_sunrise",
        ),
        ('kind = "inversion"; after_sunrise = "1 h"', "mean nothing", "take them out"),
        (
            'kind = "speed"; most = "9 mph"; valid_from = 2026-06-02; valid_until = 2026-06-01',
            "is never valid",
            "check valid_from",
        ),
        ('kind = "clock"', "names no bound", "opens or closes"),
        ('kind = "stage"', "names no bound", "last or until_stage or days_after_planting"),
        ('kind = "dates"', "names no bound", "first or last"),
        ('kind = "carrier"', "names no bound", "least or most"),
        ('kind = "droplets"', "names no bound", "finest or coarsest"),
        ('kind = "temperature"', "names no bound", "low or high"),
        ('kind = "humidity"', "names no bound", "low or high"),
        ('kind = "Delta T"', "names no bound", "low or high"),
    ],
)
def test_a_rule_that_says_too_little_or_too_much_is_told(
    farm: Any, rule: str, wrong: str, mend: str
) -> None:
    problem = ruled(farm, rule).problem()
    assert problem.key == "products.a.rules (item 1)"
    assert wrong in problem.wrong
    assert mend in problem.mend


@pytest.mark.parametrize("days", [0, 45])
def test_days_after_planting_need_the_day_of_planting(farm: Any, days: int) -> None:
    ruled(farm, f'kind = "stage"; days_after_planting = {days}')
    assert farm.problem().key == "fields.north"
    farm.edit('weeds = "weedy"', 'weeds = "weedy"\nplanted = 2026-04-20')
    load(farm.write())


BLAST = """
[sprayers.blast]
kind = "air-blast"
boom_width = "6 ft"
boom_height = "20 in"
speed = "2 mph"
tank = "50 gal"
field_efficiency = "65 %"
fill_time = "20 min"

[setups.mist]
sprayer = "blast"
nozzle = "hollow cone"
droplets = "fine"
carrier = "15 gal/acre"
"""


@pytest.mark.parametrize(("kind", "noticed"), [("boom", False), ("air-blast", True)])
def test_only_rules_of_a_sprayer_that_may_be_used_can_shut_a_field(
    farm: Any, kind: str, noticed: bool
) -> None:
    rules = ('kind = "carrier"; least = "20 gal/acre"', 'kind = "carrier"; most = "10 gal/acre"')
    ruled(farm, *(f'{rule}; sprayers = ["{kind}"]' for rule in rules))
    farm.add(BLAST).edit('weeds = "weedy"', 'weeds = "weedy"\nsetups = ["mist"]')
    if noticed:
        assert "contradicts itself: carrier" in farm.problem().wrong
    else:
        load(farm.write())


@pytest.mark.parametrize(
    "buffer",
    [
        'base = "5 m"',
        'table = [{ base = "3 m" }]',
        'base = "5 m"\nother_sides = "1 m"',
        'base = "5 m"\nsides = "all round"',
        'base = "5 m"\ncombine = "replace"\nreductions = [{ needs = ["x"], to = "1 m" }]',
        'base = "5 m"\ncombine = "add and cap"\nreductions = [{ needs = ["x"], percent = "5 %" }]',
    ],
)
def test_a_buffer_that_says_enough_is_taken(farm: Any, buffer: str) -> None:
    farm.edit('grows = "apples"', 'grows = "apples"\nkinds = ["fruit"]')
    ruled(farm).add(f'\n[[products.a.buffers]]\nprotects = ["fruit"]\n{buffer}\n')
    load(farm.write())


def test_a_farm_without_neighbours_needs_none_of_a_kind(farm: Any) -> None:
    start = farm.text.index("[neighbours.orchard]")
    farm.text = farm.text[:start] + farm.text[farm.text.index("[sources.forecast]") :]
    farm.shapes["features"].remove(farm.feature("orchard"))
    ruled(farm).add('\n[[products.a.buffers]]\nprotects = ["water"]\nbase = "5 m"\n')
    load(farm.write())


def test_a_neighbour_that_cannot_be_read_may_be_of_any_kind(farm: Any) -> None:
    farm.edit('grows = "apples"', 'kinds = ["fruit"]')
    farm.add('\n[neighbours.creek]\ngrows = "fish"\nsusceptibility = "tolerant"\nkinds = ["f"]\n')
    creek = dict(farm.feature("orchard"), id="creek")
    farm.shapes["features"].append(creek)
    farm.draw("creek", farm.square(0.006, 0))
    ruled(farm).add('\n[[products.a.buffers]]\nprotects = ["water"]\nbase = "5 m"\n')
    assert farm.problem().key == "neighbours.orchard.grows"


@pytest.mark.parametrize(
    ("added", "kind"),
    [
        ('[[products.a.rules]]\nkind = "direction"\ntowards = ["vines"]\n', "water"),
        ('[[products.a.buffers]]\nprotects = ["fish", "bees"]\nbase = "5 m"\n', "bees"),
    ],
)
def test_whatever_protects_a_kind_needs_the_neighbours_kinds(
    farm: Any, added: str, kind: str
) -> None:
    problem = ruled(farm).add("\n" + added).problem()
    assert problem.key == "neighbours.orchard"
    assert f'kinds = ["{kind}"]' in problem.mend


def test_a_law_that_protects_a_kind_needs_the_neighbours_kinds(farm: Any) -> None:
    farm.edit('units = "us"', 'units = "us"\npresets = ["DE water"]')
    assert farm.problem().key == "neighbours.orchard"


@pytest.mark.parametrize(
    ("buffer", "wrong"),
    [
        ('protects = ["fruit"]', "has no distance"),
        ('protects = ["fruit"]\nbase = "5 m"\ntable = [{ base = "3 m" }]', "both base and table"),
        (
            'protects = ["fruit"]\nbase = "5 m"\nreductions = [{ needs = ["x"], to = "1 m" }]',
            "how they combine",
        ),
        (
            'protects = ["fruit"]\nbase = "5 m"\ncombine = "replace"\n'
            'reductions = [{ needs = ["x"] }]',
            "one of percent and to",
        ),
        (
            'protects = ["fruit"]\nbase = "5 m"\ncombine = "replace"\n'
            'reductions = [{ needs = ["x"], to = "1 m", percent = "5 %" }]',
            "one of percent and to",
        ),
        (
            'protects = ["fruit"]\nbase = "5 m"\ncombine = "add and cap"\n'
            'reductions = [{ needs = ["x"], to = "1 m" }]',
            "percents are added",
        ),
        ('protects = ["fruit"]\nbase = "5 m"\nsides = "all round"\nother_sides = "1 m"', "means"),
        ('protects = ["friut"]\nbase = "5 m"', "no neighbour is of this kind"),
    ],
)
def test_a_buffer_that_is_none_is_told(farm: Any, buffer: str, wrong: str) -> None:
    farm.edit('grows = "apples"', 'grows = "apples"\nkinds = ["fruit"]')
    farm.edit('window = "contact"', 'window = "contact"\nproducts = ["a"]')
    farm.add(PRODUCT + "\n[[products.a.buffers]]\n" + buffer + "\n")
    assert wrong in farm.problem().wrong


def test_a_neighbour_without_kind_beside_a_buffer(farm: Any) -> None:
    farm.edit('window = "contact"', 'window = "contact"\nproducts = ["a"]')
    farm.add(PRODUCT + '\n[[products.a.buffers]]\nprotects = ["water"]\nbase = "5 m"\n')
    problem = farm.problem()
    assert problem.key == "neighbours.orchard"
    assert 'kinds = ["water"]' in problem.mend


def test_a_percentage_over_100(farm: Any) -> None:
    farm.edit('grows = "apples"', 'grows = "apples"\nkinds = ["water"]')
    reductions = 'reductions = [{ needs = ["hood"], percent = "120 %" }]'
    farm.add(
        PRODUCT
        + '\n[[products.a.buffers]]\nprotects = ["water"]\nbase = "5 m"\ncombine = "add and cap"\n'
        + reductions
    )
    problem = farm.problem()
    assert "percent" in problem.key
    assert "outside what is believed" in problem.wrong


def test_an_unknown_preset_is_told(farm: Any) -> None:
    farm.edit('units = "us"', 'units = "us"\npresets = ["FR wind"]')
    problem = farm.problem()
    assert 'did you mean "FR wind and rain"' in problem.mend


def test_a_window_may_leave_the_wind_to_its_rules(farm: Any) -> None:
    farm.edit('wind = { low = "3 mph", high = "10 mph", origin = "label" }\n', "")
    farm.edit('units = "us"', 'units = "us"\npresets = ["FR wind and rain"]')
    load(farm.write())


def test_without_any_bound_on_the_wind_it_is_told(farm: Any) -> None:
    farm.edit('wind = { low = "3 mph", high = "10 mph", origin = "label" }\n', "")
    assert farm.problem().key == "windows.contact.wind"


class TestExpired:
    def test_a_label_is_good_on_its_last_day(self, farm: Any) -> None:
        config = load(ruled(farm, more="valid_until = 2026-06-30\n").write()).config
        assert list(expired(config, date(2026, 6, 30))) == []

    def test_and_told_the_day_after(self, farm: Any) -> None:
        config = load(ruled(farm, more="valid_until = 2026-06-30\n").write()).config
        ((key, wrong, mend),) = expired(config, date(2026, 7, 1))
        assert key == "products.a.valid_until = 2026-06-30"
        assert "no longer valid" in str(wrong)
        assert "new label" in str(mend)

    def test_a_rule_of_its_own_too(self, farm: Any, tmp_path: Path) -> None:
        rule = 'kind = "wind"; high = "9 mph"; height = "boom"; valid_until = 2026-01-31'
        config = load(ruled(farm, rule).write()).config
        assert list(expired(config, date(2026, 1, 31))) == []
        ((key, _, _),) = expired(config, date(2026, 2, 1))
        assert str(key).startswith("products.a.rules (item 1).valid_until")


def test_who_counts_from_planting_is_named_and_no_other_rule_on_stages(farm: Any) -> None:
    ruled(farm, 'kind = "stage"; days_after_planting = 45')
    farm.add('\n[[windows.contact.rules]]\nkind = "stage"\nlast = 2026-07-01\n')
    assert farm.problem().wrong.startswith("product a counts days after planting")


def test_a_last_day_alone_needs_no_day_of_planting(farm: Any) -> None:
    load(ruled(farm, 'kind = "stage"; last = 2026-07-01').write())
