"""Setups that cannot be meant."""

from typing import Any

import pytest

from watcher.farm.load import load
from watcher.farm.models import Setup, Sprayer
from watcher.farm.validation.setups import needed_pressure_pa

SPRAYER = {
    "boom_width": "90 ft",
    "boom_height": "20 in",
    "tank": "1000 gal",
    "field_efficiency": "65 %",
    "fill_time": "20 min",
}
SETUP = {"sprayer": "boom", "nozzle": "flat fan", "droplets": "medium"}


# domain.md section 6: rate formula GPA = 5940 GPM / (mph x in), UF/IFAS WG013, checks [C]: 0.4 gpm
# at 10 mph and 20 in is 11.88 GPA; 15 GPA at 12 mph and 20 in takes 0.60606 gpm; and 1.2 L/min at
# 8 km/h and 50 cm is 180 L/ha. Sizes are rated at 3 bar (43.5 psi) in L/min, or 40 psi in gpm,
# which differ by up to 4.5 % in flow, 9 % in pressure.
@pytest.mark.parametrize(
    ("carrier", "speed", "spacing", "size", "bar", "rel"),
    [
        ("180 L/ha", "8 km/h", "50 cm", "03", 3.0, 0.001),
        ("160 L/ha", "12 km/h", "50 cm", "04", 3.0, 0.001),
        ("11.88 gal/acre", "10 mph", "20 in", "04", 2.758, 0.03),
        ("15 gal/acre", "12 mph", "20 in", "06", 2.758 * (0.60606 / 0.6) ** 2, 0.03),
        ("5.94 gal/acre", "10 mph", "20 in", "04", 2.758 / 4, 0.03),
        ("45 L/ha", "8 km/h", "50 cm", "0075", 3.0, 0.001),
        ("150 L/ha", "8 km/h", "50 cm", "025", 3.0, 0.001),
        ("600 L/ha", "8 km/h", "50 cm", "10", 3.0, 0.001),
    ],
)
def test_the_pressure_a_rate_takes(
    carrier: str, speed: str, spacing: str, size: str, bar: float, rel: float
) -> None:
    setup = Setup.model_validate(SETUP | {"carrier": carrier, "nozzle_size": size})
    sprayer = Sprayer.model_validate(SPRAYER | {"speed": speed, "nozzle_spacing": spacing})
    assert needed_pressure_pa(setup, sprayer) == pytest.approx(bar * 1e5, rel=rel)


def test_a_pressure_that_does_not_give_the_rate_is_told(farm: Any) -> None:
    problem = farm.edit('pressure = "41 psi"', 'pressure = "60 psi"').problem()
    assert problem.key == 'setups.coarse.pressure = "60 psi"'
    assert "takes 4" in problem.wrong


@pytest.mark.parametrize("size", ["01", "10"])
def test_a_size_that_needs_a_pressure_no_sprayer_gives_is_told(farm: Any, size: str) -> None:
    problem = farm.edit('nozzle_size = "03"', f'nozzle_size = "{size}"').problem()
    assert problem.key == "setups.coarse.nozzle_size"


# From the same formula: at 6 mph and 20 in, a size 03 gives 70.9 L/ha at 0.7 bar and 239.7 at 8.
@pytest.mark.parametrize(
    ("carrier", "noticed"), [("70 L/ha", True), ("72 L/ha", False), ("238 L/ha", False),
                          ("242 L/ha", True)],
)  # fmt: skip
def test_a_sprayer_gives_from_seven_tenths_of_a_bar_to_eight(
    farm: Any, carrier: str, noticed: bool
) -> None:
    farm.edit('pressure = "41 psi"\n', "")
    _, _, coarse = farm.text.partition("[setups.coarse]")
    farm.edit(coarse, coarse.replace("15 gal/acre", carrier, 1))
    if noticed:
        assert farm.problem().key == "setups.coarse.nozzle_size"
    else:
        load(farm.write())


# 15 gal/acre take 2.74 bar; a quarter more and a quarter less than the pressure written is slack.
@pytest.mark.parametrize(
    ("pressure", "noticed"), [("2.15 bar", True), ("2.2 bar", False), ("3.6 bar", False),
                           ("3.7 bar", True)],
)  # fmt: skip
def test_a_pressure_within_a_quarter_is_taken(farm: Any, pressure: str, noticed: bool) -> None:
    farm.edit('pressure = "41 psi"', f'pressure = "{pressure}"')
    if noticed:
        assert farm.problem().key == f'setups.coarse.pressure = "{pressure}"'
    else:
        load(farm.write())


@pytest.mark.parametrize(("units", "takes"), [("us", "takes 40 psi"), ("metric", "takes 2.7 bar")])
def test_the_pressure_is_told_in_the_farms_units(farm: Any, units: str, takes: str) -> None:
    farm.edit('pressure = "41 psi"', 'pressure = "60 psi"').edit('"us"', f'"{units}"')
    assert farm.problem().wrong.endswith(takes)


def test_without_a_size_nothing_is_told_of_pressure(farm: Any) -> None:
    load(farm.edit('nozzle_size = "03"\npressure = "41 psi"', 'pressure = "90 psi"').write())


@pytest.mark.parametrize(
    ("was", "now", "setup"),
    [
        ('droplets = "coarse"', 'droplets = "very fine"', "coarse"),
        ('droplets = "fine"', 'droplets = "ultra coarse"', "fan"),
    ],
)
def test_drops_a_nozzle_does_not_make_are_told(farm: Any, was: str, now: str, setup: str) -> None:
    problems = farm.edit(was, now).problems()
    assert problems[0].key.startswith(f"setups.{setup}.droplets")


def test_tips_of_another_sprayers_setup_are_told(farm: Any) -> None:
    other = farm.text.split("[sprayers.boom]")[1].split("[setups.fan]")[0].strip()
    problem = farm.add(f'\n[sprayers.other]\n{other}\ntips = ["fan"]\n').problem()
    assert problem.key == 'sprayers.other.tips = "fan"'
    assert "another sprayer" in problem.wrong


OTHER = """
[sprayers.other]
kind = "{kind}"
boom_width = "{width}"
boom_height = "20 in"
speed = "{speed}"
tank = "50 gal"
field_efficiency = "65 %"
fill_time = "20 min"
{more}
"""


def other(kind: str, width: str = "6 ft", speed: str = "2 mph", more: str = "") -> str:
    return OTHER.format(kind=kind, width=width, speed=speed, more=more)


@pytest.mark.parametrize("kind", ["boom", "hooded boom", "hand-held", "air-blast"])
def test_every_kind_of_ground_sprayer_is_taken(farm: Any, kind: str) -> None:
    load(farm.add(other(kind)).write())


@pytest.mark.parametrize("kind", ["aerial", "Drone", "helicopter", "aircraft"])
def test_spraying_from_the_air_is_refused_in_plain_words(farm: Any, kind: str) -> None:
    problem = farm.add(other(kind)).problem()
    assert problem.key == f'sprayers.other.kind = "{kind}"'
    assert problem.wrong == "spraying from the air is not judged here"
    assert "say nothing of a spray let go in the air: take it out" in problem.mend


@pytest.mark.parametrize(
    ("changes", "key"),
    [({"speed": "9 mph"}, "speed"), ({"width": "60 ft"}, "boom_width")],
)
def test_nobody_carries_a_sprayer_so_fast_or_so_wide(farm: Any, changes: Any, key: str) -> None:
    problem = farm.add(other("hand-held", **changes)).problem()
    assert problem.key.startswith(f"sprayers.other.{key}")
    assert "by hand" in problem.wrong


@pytest.mark.parametrize(
    ("changes", "most"),
    [
        ({"speed": "2.5 m/s"}, None),
        ({"speed": "2.6 m/s"}, "5.6 mph at most"),
        ({"width": "6 m"}, None),
        ({"width": "6.1 m"}, "19.7 ft at most"),
    ],
)
def test_a_brisk_walk_and_a_long_lance_are_believed(
    farm: Any, changes: dict[str, str], most: str | None
) -> None:
    farm.add(other("hand-held", **changes))
    if most is None:
        load(farm.write())
    else:
        assert most in farm.problem().wrong


def test_a_lowest_boom_without_a_boom_is_told(farm: Any) -> None:
    problem = farm.add(other("air-blast", more='lowest_boom = "15 in"')).problem()
    assert problem.key == "sprayers.other.lowest_boom"


def test_rules_of_two_kinds_of_sprayers_do_not_shut_each_other_out(farm: Any) -> None:
    rule = '[[windows.contact.rules]]\nkind = "droplets"\n'
    boom = f'{rule}finest = "coarse"\nsprayers = ["boom"]\n'
    blast = f'{rule}coarsest = "fine"\nsprayers = ["air-blast"]\n'
    load(farm.add(f"\n{boom}\n{blast}").write())
    both = blast.replace('"air-blast"', '"air-blast", "boom"')
    problems = farm.add(f"\n{boom}\n{both}").problems()
    assert any("contradicts itself: droplets" in str(p.wrong) for p in problems)


RETARDANT = """
[products.slow]
name = "Slow (invented)"
registration = "none"
rate = "{rate}"
[products.slow.retardant]
kind = "guar"
most = "8 fl oz/acre"
"""


@pytest.mark.parametrize(
    ("rate", "wrong", "mend"),
    [
        ("12 fl oz/acre", "over its label's maximum, retardant.most = 8 fl oz/acre", "lower it"),
        ("1 L/ha", "over its label's maximum", "lower it"),
        ("4 oz/acre", "cannot be compared with retardant.most", "both as a volume"),
    ],
)
def test_a_retardant_over_its_label_s_maximum_is_one_error(
    farm: Any, rate: str, wrong: str, mend: str
) -> None:
    problem = farm.add(RETARDANT.format(rate=rate)).problem()
    assert problem.key == f'products.slow.rate = "{rate}"'
    assert wrong in problem.wrong
    assert mend in problem.mend


def test_a_retardant_at_its_label_s_maximum_is_in_order(farm: Any) -> None:
    farm.add(RETARDANT.format(rate="0.5 pt/acre"))
    assert load(farm.write()).config.products["slow"].rate == "0.5 pt/acre"
