"""Texts as data: what stands in the gaps, in English and in another language."""

from zoneinfo import ZoneInfo

import pytest

from watcher.i18n.language import ENGLISH, language
from watcher.i18n.message import (
    NOTHING,
    Message,
    Name,
    Number,
    Sentence,
    ShownQuantity,
    Template,
    WallTime,
    all_of,
    any_of,
    joined,
    say,
    say_n,
)
from watcher.units import Kind

SPANISH = language("es")
ZONE = ZoneInfo("America/Chicago")
NOON = 1_767_204_000  # 31 Dec 2025 12:00 in Chicago


@pytest.mark.parametrize(
    ("text", "english"),
    [
        (say("wind"), "wind"),
        (say("up to {share}", share=Number("0.012%")), "up to 0.012%"),
        (say("{n} of {whole}", n=3, whole="7"), "3 of 7"),
        (joined([say("wind"), say("gust")]), "wind, gust"),
        (joined([say("wind"), "x"], "; "), "wind; x"),
        (any_of([Name("A"), Name("B"), Name("C")]), "A or B or C"),
        (all_of([Name("A"), Name("B")]), "A and B"),
        (any_of([Name("A")]), "A"),
        (Sentence(say("wind")), "Wind."),
        (Sentence(say("wind"), stop=""), "Wind"),
        (Sentence(Name("Sure?")), "Sure."),
        (ShownQuantity(4.4704, Kind.SPEED, "us"), "10 mph"),
        (ShownQuantity(2.5, Kind.SPEED, "metric", 1), "9.0 km/h"),
        (Name("a *bold* {name}"), "a bold name"),
        (Name("x" * 40), "x" * 27 + "…"),
        (NOTHING, ""),
    ],
)
def test_a_text_is_its_english(text: Message, english: str) -> None:
    assert str(text) == english == text.render(ENGLISH)


def test_a_text_inside_a_text_is_translated_with_it() -> None:
    text = any_of([say("wind"), say("gust"), Name("wind")])
    assert text.render(SPANISH) == "viento o ráfaga o wind"


@pytest.mark.parametrize(
    ("n", "english", "spanish"), [(1, "swath", "pasada"), (3, "swaths", "pasadas")]
)
def test_words_that_go_with_a_number_follow_it(n: int, english: str, spanish: str) -> None:
    text = say_n("leave {n} swath", "leave {n} swaths", n)
    assert str(text) == f"leave {n} {english}"
    assert text.render(SPANISH) == f"deje {n} {spanish}"


def test_what_nobody_translated_is_said_in_english() -> None:
    assert Template("Something new").render(SPANISH) == "Something new"
    assert Template("{n} thing", (("n", 2),), "{n} things", 2).render(SPANISH) == "2 things"


def test_a_wrong_entry_of_a_catalogue_costs_no_alert(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(type(SPANISH), "translate", lambda *_: "viento de {velocidad}")
    assert say("wind {speed}", speed="9 mph").render(SPANISH) == "wind 9 mph"


def test_names_are_not_translated_and_can_be_shortened() -> None:
    text = joined([Name("wind"), Name("A long name of a field", 16), Name("x" * 90, 200)])
    assert text.render(SPANISH) == "wind, A long name of…, " + "x" * 90
    assert text.render(SPANISH, names=8).startswith("wind, A long…, xxxxxxxxx")


@pytest.mark.parametrize(
    ("days", "english", "spanish"),
    [
        (0, "12:00", "12:00"),
        (1, "tomorrow 12:00", "mañana 12:00"),
        (-1, "yesterday 12:00", "ayer 12:00"),
        (3, "Sat 12:00", "sáb 12:00"),
        (-9, "22 Dec 12:00", "22 dic 12:00"),
    ],
)
def test_a_clock_says_the_day_in_the_language(days: int, english: str, spanish: str) -> None:
    at = WallTime(NOON + days * 86_400, NOON, ZONE)
    assert str(at) == english
    assert at.render(SPANISH) == spanish


def test_the_hour_a_clock_change_repeats_is_named_with_its_zone() -> None:
    first = 1_762_065_000  # 2 Nov 2025, 01:30 CDT
    assert str(WallTime(first, first, ZONE)) == "01:30 CDT"
    assert str(WallTime(first + 3600, first, ZONE)) == "01:30 CST"
