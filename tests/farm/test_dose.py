"""Doses in the label's own units, and products in the farm file."""

import shutil
from pathlib import Path

import pytest

from watcher.farm.dose import Dose, UnlikeDosesError, UnreadableDoseError
from watcher.farm.load import FarmFileError, load

ACRE_M2, HECTARE_M2 = 4046.8564224, 10_000.0  # the international acre, by definition


@pytest.mark.parametrize(
    ("rate", "area_m2", "total"),
    [
        ("22 fl oz/acre", 40 * ACRE_M2, "880.0 fl oz"),  # 22 × 40
        ("1.5 L/ha", 10 * HECTARE_M2, "15.00 L"),
        ("2 pt/acre", HECTARE_M2, "4.942 pt"),  # 2 × 2.47105 acre to the hectare
        ("0.75 KG / ha", 250 * HECTARE_M2, "187.5 kg"),
        ("100 g/ha", 200 * HECTARE_M2, "20000 g"),
        ("0.5 L/ha", HECTARE_M2, "0.5000 L"),
        ("1 L/ha", HECTARE_M2, "1.000 L"),
        ("0 L/ha", HECTARE_M2, "0.000 L"),
    ],
)
def test_the_total_is_the_rate_times_the_area_in_the_rates_own_unit(
    rate: str, area_m2: float, total: str
) -> None:
    assert Dose.read(rate).on(area_m2) == total


@pytest.mark.parametrize(
    "text", ["22", "22 fl oz", "22/acre", "fl oz/acre", "22 cups/acre", "1 L/m"]
)
def test_what_is_no_dose_is_refused_with_an_example(text: str) -> None:
    with pytest.raises(UnreadableDoseError, match=r'such as "22 fl oz/acre"'):
        Dose.read(text)


# 128 fl oz are a US gallon of 231 cubic inches, 16 oz a pound of 453.59237 g; an acre is
# 0.40468564 ha (NIST Handbook 44, appendix C).
@pytest.mark.parametrize(
    ("rate", "most", "over"),
    [
        ("8 fl oz/acre", "8 fl oz/acre", False),
        ("9 fl oz/acre", "8 fl oz/acre", True),
        ("0.0625 gal/acre", "8 fl oz/acre", False),
        ("0.07 gal/acre", "8 fl oz/acre", True),
        ("0.5846 L/ha", "8 fl oz/acre", False),
        ("0.586 L/ha", "8 fl oz/acre", True),
        ("17 oz/acre", "1 lb/acre", True),
        ("1.12 kg/ha", "1 lb/acre", False),
    ],
)
def test_doses_are_compared_whatever_their_units(rate: str, most: str, over: bool) -> None:
    assert Dose.read(rate).over(Dose.read(most)) is over


@pytest.mark.parametrize(
    ("amount", "unit", "same"),
    [
        (16, "fl oz", "1 pt/acre"),
        (2, "pt", "1 qt/acre"),
        (4, "qt", "1 gal/acre"),
        (1000, "mL", "1 L/acre"),
        (0.25, "gal", "0.946353 L/acre"),
        (16, "oz", "1 lb/acre"),
        (1000, "g", "1 kg/acre"),
        (1, "lb", "0.453592 kg/acre"),
    ],
)
def test_equal_doses_are_equal_to_a_thousandth(amount: float, unit: str, same: str) -> None:
    most = Dose.read(same)

    def over(times: float) -> bool:
        return Dose.read(f"{amount * times:.6f} {unit}/acre").over(most)

    assert [over(times) for times in (0.999, 1.0, 1.0009, 1.0011)] == [False, False, False, True]


@pytest.mark.parametrize("rate", ["8 oz/acre", "0.5 kg/ha"])
def test_a_weight_is_not_compared_with_a_volume(rate: str) -> None:
    with pytest.raises(UnlikeDosesError):
        Dose.read(rate).over(Dose.read("8 fl oz/acre"))


@pytest.mark.parametrize(
    ("written", "in_place", "says"),
    [
        ('rate = "22 fl oz/acre"', 'rate = "22"', "products.contact_a.rate .*an amount an area"),
        ('["contact_a"]', '["contact_b"]', r"no \[products.contact_b\]"),
        ('["72', '["7 CFR 111", "72', "record_rules .*not one of the choices"),
        ("# eppo =", "eppo = 5 #", "fields.west_bottom.eppo"),
        ('# eppo = "ZEAMX"', 'eppo = "maize"', "must be a code of the EPPO database"),
    ],
)
def test_a_slip_in_what_records_need_is_told(
    example_path: Path, tmp_path: Path, written: str, in_place: str, says: str
) -> None:
    text = example_path.read_text(encoding="utf-8")
    assert written in text
    (tmp_path / "farm.toml").write_text(text.replace(written, in_place, 1), encoding="utf-8")
    shutil.copy(example_path.with_name("fields.geojson"), tmp_path)
    with pytest.raises(FarmFileError, match=says):
        load(tmp_path / "farm.toml")
