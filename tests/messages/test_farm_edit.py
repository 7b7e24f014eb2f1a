"""What a change of the farm would come to, in words."""

import pytest

from watcher.i18n.language import language
from watcher.judge.farm_effect import Effect, FieldEffect
from watcher.limits.status import Status
from watcher.messages.farm_edit import effect_lines

OPEN, NEAR, SHUT, UNKNOWN = Status.SUITABLE, Status.MARGINAL, Status.UNSUITABLE, Status.UNKNOWN


def said(*fields: FieldEffect, first: tuple[str | None, str | None] = ("a", "a")) -> list[str]:
    return [str(line) for line in effect_lines(Effect(fields, *first))]


CASES = [
    (FieldEffect("a", OPEN, OPEN, 5.0, 5.0), ["Nothing would open or close in the next two days"]),
    (FieldEffect("a", SHUT, OPEN, 5.0, 5.0), ["1 field would open now: a"]),
    (FieldEffect("a", NEAR, SHUT, 5.0, 5.0), ["1 field would close now: a"]),
    (
        FieldEffect("a", OPEN, UNKNOWN, 5.0, 5.0),
        ["a would be unknown now instead of suitable"],  # never worded as closed
    ),
    (FieldEffect("a", OPEN, NEAR, 5.0, 5.0), ["a would be marginal now instead of suitable"]),
    (
        FieldEffect("a", OPEN, OPEN, 5.0, 7.5),
        ["a: 2.5 h more in the next two days, 7.5 h instead of 5 h"],
    ),
    (
        FieldEffect("a", OPEN, OPEN, 5.0, 0.0),
        ["a: 5 h less in the next two days, 0 h instead of 5 h"],
    ),
    (FieldEffect("a", OPEN, None, 5.0, None), ["No longer ranked: a"]),
    (FieldEffect("a", None, OPEN, None, 5.0), ["Ranked from now on: a"]),
    # Nothing foretold is never worded as no change.
    (
        FieldEffect("a", UNKNOWN, UNKNOWN, None, None),
        ["What it would change is not known: nothing is foretold"],
    ),
]


@pytest.mark.parametrize(("field", "lines"), CASES)
def test_what_would_be_otherwise_is_said(field: FieldEffect, lines: list[str]) -> None:
    assert said(field) == lines


def test_the_gravest_comes_first_and_who_comes_first_is_said() -> None:
    shuts = FieldEffect("a", OPEN, SHUT, 5.0, 1.0)
    opens = FieldEffect("b", SHUT, OPEN, 1.0, 1.0)
    assert said(shuts, opens, first=("a", "b")) == [
        "1 field would close now: a",
        "1 field would open now: b",
        "a: 4 h less in the next two days, 1 h instead of 5 h",
        "b would come first",
    ]


def test_it_is_said_in_spanish() -> None:
    found = effect_lines(Effect((FieldEffect("a", SHUT, OPEN, 1.0, 1.5),), "a", "a"))
    assert [line.render(language("es")) for line in found] == [
        "1 parcela se abriría ahora: a",
        "a: 0.5 h más en los próximos dos días, 1.5 h en vez de 1 h",
    ]
