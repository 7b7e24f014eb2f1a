"""What ``watcher check`` asks: what labels leave open, once each, and how it is read until then."""

from typing import Any

import pytest

from tests.support.english import english
from tests.support.farms import build, tables
from watcher.service.farm_check import readings_to_settle

WIND = {"kind": "wind", "high": "10 mph"}
BAN = {"kind": "direction", "towards": ["crop"]}
BUFFER = {"protects": ["crop"], "base": "100 ft"}


def asked(*rules: Any, buffers: Any = (), **neighbour: Any) -> list[str]:
    farm = tables()
    farm["neighbours"]["orchard"] |= {"kinds": ["crop"], **neighbour}
    product = {"name": "A", "registration": "0-0", "rules": [*rules], "buffers": [*buffers]}
    farm["products"] = {"a": product}
    for field in farm["fields"].values():  # two fields, and each is asked about once
        field["products"] = ["a"]
    return [english(line) for line in readings_to_settle(build(farm))]


@pytest.mark.parametrize(
    ("rule", "wanted"),
    [
        (WIND | {"height": "boom"}, "gusts count, and they do until you write gusts"),
        (WIND | {"gusts": "counted"}, "the high bound is judged at 10 m, the low one at the boom"),
        (BAN, "every neighbour of its kinds in reach is, until you write adjacent"),
    ],
)
def test_what_a_text_leaves_open_is_asked_once(rule: dict[str, Any], wanted: str) -> None:
    [line] = asked(rule)
    assert line.startswith("product a: ")
    assert wanted in line


def test_what_may_lie_inside_a_buffer_is_asked() -> None:
    [line] = asked(buffers=[BUFFER])
    assert "what lies between counts for nothing, until you write inside" in line


def test_what_is_written_down_is_asked_no_more() -> None:
    wind = WIND | {"height": "boom", "gusts": "not counted"}
    buffer = BUFFER | {"inside": ["road"]}
    assert asked(wind, BAN, buffers=[buffer], adjacent=True) == []
