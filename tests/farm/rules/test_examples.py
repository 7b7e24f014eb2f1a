"""The rules in the example farm file's comments can be copied as they stand."""

import re
import tomllib
from pathlib import Path
from typing import get_args

from watcher.farm.products import Product
from watcher.farm.rules.calendar import CalendarRule
from watcher.farm.rules.equipment import EquipmentRule
from watcher.farm.rules.weather import WeatherRule

KINDS = {
    get_args(model.model_fields["kind"].annotation)[0]
    for union in (WeatherRule, CalendarRule, EquipmentRule)
    for model in get_args(union)
}


def _product(text: str) -> Product:
    start = text.index("# [[products.contact_a.rules]]")
    lines = text[start : text.index("# ----", start)].splitlines()
    kept = (line.removeprefix("# ") for line in lines)
    toml = "\n".join(line for line in kept if re.match(r"^(\[\[|[a-z_]+ = )", line))
    found = tomllib.loads(toml)["products"]["contact_a"]
    return Product.model_validate({"name": "A", "registration": "0-0"} | found)


def test_every_kind_of_rule_is_there_and_is_read(example_path: Path) -> None:
    product = _product(example_path.read_text(encoding="utf-8"))
    shown = {rule.kind for rule in product.rules}
    assert shown == KINDS - {"humidity", "Delta T", "speed"}  # named beside one of the same keys
    assert len(product.buffers) == 1
